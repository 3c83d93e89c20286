{% if sending %}import { send } from "{{ url_for('static', filename='field/outbox.js') }}";
{% endif %}// Keeps the field's shell on the phone, so that it opens without a network. It keeps no entries: those are in the
// page's own store, which this never touches.
const VERSION = {{ version | tojson }};
const FILES = {{ files | tojson }};
const NAME = `field-${VERSION}`;

self.addEventListener("install", (event) => {
  const asked = FILES.map((file) => new Request(file, { cache: "reload" }));
  event.waitUntil(caches.open(NAME).then((kept) => kept.addAll(asked)).then(() => self.skipWaiting()));
});

async function tidy() {
  for (const name of await caches.keys()) if (name.startsWith("field-") && name !== NAME) await caches.delete(name);
  await self.clients.claim();
}

self.addEventListener("activate", (event) => event.waitUntil(tidy()));

// Only what belongs to the shell is answered from here; packs, entries and everything else go to the network.
async function answer(request, path) {
  const kept = await caches.open(NAME);
  return (await kept.match(path)) ?? fetch(request);
}

self.addEventListener("fetch", (event) => {
  const { origin, pathname } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin || !FILES.includes(pathname)) return;
  event.respondWith(answer(event.request, pathname));
});
{% if sending %}
self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(send({ now: true }));
});
{% endif %}
