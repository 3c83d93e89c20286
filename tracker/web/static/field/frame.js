// What stands on every page of the field: who works here, what is not sent, the worker that keeps the pages, the sender.
import { $ } from "./dom.js";
import { fetchPack, onChange, start, tidy } from "./outbox.js";
import { entries, kept } from "./store.js";
import { barInWords } from "./words.js";

const PACK_AGE_MS = 60_000;

export async function showBar() {
  const [all, link, pack] = await Promise.all([entries(), kept("link"), kept("pack")]);
  const { words, kind } = barInWords(all, link);
  const bar = $("outbox");
  bar.textContent = words;
  bar.className = `outbox ${kind}`;
  $("who").textContent = pack ? pack.person.name : "";
}

async function keepPages() {
  if (!("serviceWorker" in navigator)) return;
  // Where the browser can wake it to send, the worker takes the sender along; those browsers all know module workers.
  const sending = "SyncManager" in window;
  const about = { scope: "/field/", type: sending ? "module" : "classic", updateViaCache: "none" };
  await navigator.serviceWorker.register(`/field/worker.js${sending ? "?sending=yes" : ""}`, about).catch(() => {});
}

// Draws the page from what the phone keeps, then asks the office for news and draws again if there were any.
export async function open(draw) {
  try {
    await showBar();
    await draw(await kept("pack"));
  } catch (error) {
    $("outbox").textContent = "This browser keeps nothing";
    $("outbox").className = "outbox stop";
    throw error;
  }
  // Until here a press would have gone nowhere.
  for (const waits of document.querySelectorAll("[data-wait]")) waits.disabled = false;
  onChange(showBar);
  setInterval(showBar, 30_000);
  keepPages();
  tidy();
  const pack = await kept("pack");
  if (!pack || Date.now() - pack.fetched_at > PACK_AGE_MS) {
    const before = pack?.version;
    if (await fetchPack()) await draw(await kept("pack"));
    const now = await kept("pack");
    if (before && now?.version !== before) (await navigator.serviceWorker?.getRegistration("/field/"))?.update().catch(() => {});
  }
  await start();
}
