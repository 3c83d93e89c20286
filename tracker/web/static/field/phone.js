// Is this phone ready for a trip? Each question has its answer in words, and each "no" one thing to do.
import { $, button, clockTime, h, once, play, put, sign } from "./dom.js";
import { clockInWords } from "./clock.js";
import { open } from "./frame.js";
import { fetchPack, onChange, waiting } from "./outbox.js";
import { hasReader } from "./reader.js";
import { change, device, entries, keep, kept } from "./store.js";

const LITTLE_BYTES = 50_000_000;
const PRIVATE_BYTES = 300_000_000;
const iPhone = /iPhone|iPad|iPod/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);
const installed = () => navigator.standalone === true || matchMedia("(display-mode: standalone)").matches;
let installing = null;
window.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  installing = event;
  draw();
});

const yes = (question, words) => ({ question, good: true, words });
const no = (question, words, todo, act = null) => ({ question, good: false, words, todo, act });

function secure() {
  if (isSecureContext) return yes("Secure address", "Yes");
  return no("Secure address", "No. Here the pages cannot be opened without a network, and there is no live camera. Entries made while this page is open are kept.",
    "Ask the office for its address that begins with https. Until then: keep this page open, scan by photo or type the code.");
}

async function opensOffline() {
  if (!isSecureContext || !("serviceWorker" in navigator)) return null;
  const ready = Boolean((await navigator.serviceWorker.getRegistration("/field/"))?.active);
  return ready ? yes("Opens without a network", "Yes, the pages are on this phone") : no("Opens without a network", "Not yet", "Stay on this page for a minute where there is a signal.");
}

function onHomeScreen() {
  if (installed()) return yes("On the home screen", "Yes, opened from there");
  if (iPhone) {
    return no("On the home screen", "No. In a browser tab an iPhone may wipe entries after 7 days of use in which this page was not opened.",
      "Press Share, then “Add to Home Screen”, and from now on open the pages from there. The tab and the home screen keep separate entries, so send what is in this tab first.");
  }
  if (!isSecureContext) return no("On the home screen", "No", "This needs the secure address first.");
  return installing
    ? no("On the home screen", "No", null, button("Put it on the home screen", async () => { await installing.prompt(); installing = null; await draw(); }))
    : no("On the home screen", "No", "In the browser's menu choose “Install” or “Add to home screen”.");
}

async function persisted() {
  if (!navigator.storage?.persisted) return no("Kept when the phone is short of space", "This browser does not say", "Send entries the same day.");
  if (await navigator.storage.persisted()) return yes("Kept when the phone is short of space", "Yes");
  return no("Kept when the phone is short of space", "Not promised by the browser", null, button("Ask the browser to keep it", async () => {
    const granted = await navigator.storage.persist();
    await draw();
    if (!granted) sign("caution", "The browser says no", "It decides by how often the pages are used. Put them on the home screen, and send entries the same day.");
  }, { id: "persist" }));
}

async function space() {
  const found = await navigator.storage?.estimate?.().catch(() => null);
  if (!found?.quota) return null;
  const left = found.quota - (found.usage ?? 0);
  const words = left > 1e9 ? `${(left / 1e9).toFixed(0)} GB for these pages` : `${Math.round(left / 1e6)} MB for these pages`;
  if (left < LITTLE_BYTES) return no("Space left", words, "Delete photos or apps you do not need before the trip.");
  if (found.quota < PRIVATE_BYTES) return no("Space left", `${words}. That is little: is this a private window?`, "Open the pages in an ordinary window; a private one forgets everything when it is closed.");
  return yes("Space left", words);
}

async function clock() {
  const found = await clockInWords();
  if (!found) return no("Clock", "Not compared yet", "Open this page once where there is a signal.");
  return found.good ? yes("Clock", found.words) : no("Clock", found.words, "Set date and time to automatic. Entries made meanwhile are put right by the office.");
}

async function packed() {
  const pack = await kept("pack");
  const fetchNow = button("Take along what is new", async () => {
    const had = await fetchPack();
    await draw();
    sign(had ? "good" : "caution", had ? "Packed" : "No answer", had ? "" : "The office cannot be reached from here, or wants you to sign in.");
  }, { id: "pack" });
  if (!pack) return no("Lots, plans and tags", "None on this phone", "Sign in where there is a signal.", h("a", { class: "next", href: "/field/signed-in?to=phone" }, "Sign in"));
  const free = pack.tags.filter((tag) => ["issued", "printed"].includes(tag.state)).length;
  return { question: "Lots, plans and tags", good: true, words: `Lots: ${pack.lots.length}. Free tags: ${free}. Fetched ${clockTime(pack.fetched_at)}`, act: fetchNow };
}

function scans() {
  if (isSecureContext && navigator.mediaDevices && hasReader()) return "By the camera, by a photo, by a hand scanner, or typed.";
  return hasReader() ? "By a photo, by a hand scanner, or typed." : "By a hand scanner, or typed. The office can install its reader for the rest.";
}

const row = ({ question, good, words, todo, act }) => [
  h("dt", {}, question), h("dd", { class: good ? "yes" : "no caution", "data-good": good ? "yes" : "no" }, words), todo ? h("dd", { class: "todo" }, todo) : null, act ? h("dd", {}, act) : null,
];

async function draw() {
  const all = [secure(), await opensOffline(), onHomeScreen(), await persisted(), await space(), await clock(), await packed()];
  put("checks", all.filter(Boolean).flatMap(row));
  $("scans").textContent = scans();
  const phone = await device();
  if (document.activeElement !== $("device")) $("device").value = phone.name;
  await signOutWords();
}

async function signOutWords() {
  const [pack, all, exported] = await Promise.all([kept("pack"), entries(), kept("exported")]);
  const left = all.filter(waiting);
  const saved = left.every((one) => one.seq <= (exported?.last ?? 0));
  $("sign-out").hidden = !pack;
  $("out-words").textContent = !pack ? "Nobody is signed in on this phone."
    : !left.length ? `${pack.person.name} is signed in. Everything is with the office.`
    : saved ? `${left.length} entries are not sent, and are saved in a file. They stay on this phone too.`
    : `${left.length} entries are not sent. Send them, or save them as a file, before signing out.`;
  return { left: left.length, saved };
}

$("sound").addEventListener("click", once(async () => {
  for (const kind of ["good", "caution", "stop"]) {
    play(kind);
    await new Promise((done) => setTimeout(done, 700));
  }
  sign("good", "Taken, look, refused", "If you heard nothing, turn the sound up; words and colours say the same.");
}));

$("naming").addEventListener("submit", once(async () => {
  const name = $("device").value.trim().slice(0, 60);
  await change("device", (phone) => ({ ...phone, name }));
  sign("good", "Saved on this phone", name);
}));

$("sign-out").addEventListener("click", once(async () => {
  const { left, saved } = await signOutWords();
  if (left && !saved) {
    sign("stop", "Not signed out", `${left} entries are not sent. Send them or save them as a file first.`);
    return location.assign("/field/unsent");
  }
  const pack = await kept("pack");
  const form = new URLSearchParams({ csrf_token: pack.csrf });
  const answer = await fetch("/sign-out", { method: "POST", body: form, redirect: "manual" }).catch(() => null);
  if (!answer) return sign("caution", "No answer", "Signing out needs a network. Nothing was changed.");
  await change("link", (link) => ({ ...link, sign_in: true }));
  await keep("pack", null);
  sign("good", "Signed out", "Entries stay on this phone until the office has them.");
  await draw();
}));

onChange(signOutWords);
open(draw);
