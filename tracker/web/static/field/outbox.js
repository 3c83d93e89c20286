// The outbox: what was done in the field and is on its way to the office. An entry is committed here before anybody is
// told that it is saved; it is sent until the office has answered for it by its id, and sending it twice does no harm.
import { heard, stateOfClock } from "./clock.js";
import { addEntry, change, changeEntries, device, entries, keep, kept } from "./store.js";
import { stamped } from "./ids.js";

export const MARKER = "hay-field-1";
const PACK = "/field/pack";
const DOOR = "/field/entries";
const MOST = 50;
const MOST_BYTES = 6_000_000;
const WAITS_S = [2, 5, 15, 60, 300];
const EVERY_MS = 30_000;
const LEASE_MS = 60_000;
const ANSWER_MS = 45_000;
const KEEP_MS = 14 * 86_400_000;
export const OLD_MS = 12 * 3_600_000;
export const VERY_OLD_MS = 24 * 3_600_000;
const JSON_TYPE = /^application\/(?:problem\+)?json\b/;

const news = "BroadcastChannel" in globalThis ? new BroadcastChannel("hay-field") : null;
const listeners = new Set();
let sending = new Set();
const tell = () => {
  news?.postMessage({ sending: [...sending] });
  for (const listener of listeners) listener();
};
news?.addEventListener("message", ({ data }) => {
  sending = new Set(data.sending);
  for (const listener of listeners) listener();
});
export const onChange = (listener) => listeners.add(listener);

export const waiting = (one) => one.state === "saved";
export const refused = (one) => one.state === "refused" && !one.settled;
export const unsent = (one) => waiting(one) || refused(one);
export const isSending = (one) => waiting(one) && sending.has(one.event_id);

// Keeps an entry and gives it back once it is on the medium. more: {source, paper, how}; draft: what it makes an end of.
export async function enter(kind, payload, more = {}, draft = null) {
  const pack = await kept("pack");
  if (!pack) throw new Error("This phone does not know who you are yet. Sign in once where there is a signal");
  const clock = await stateOfClock();
  const now = new Date();
  const made = await addEntry(
    () => ({
      kind, payload, who: pack.person.key, device_time: stamped(now), ...clock, source: "phone", paper: null, how: null,
      ...more, state: "saved", made_at: now.getTime(), tries: 0, answer: null,
    }),
    draft,
  );
  tell();
  askForSync();
  setTimeout(() => send(), 0);
  return made;
}

const SENT = ["event_id", "seq", "kind", "payload", "who", "device_time", "clock_offset_ms", "clock_jumped", "source", "paper", "how"];
const bare = (one) => Object.fromEntries(SENT.map((name) => [name, one[name]]));

// The body that goes to the office, and to the file that can be brought there instead.
export async function body(some) {
  const phone = await device();
  return { marker: MARKER, device: phone.id, device_name: phone.name, sent_at: stamped(), entries: some.map(bare) };
}

// One sender at a time on this phone, be it a page or the worker. patient: wait for the other's end, else leave it to him.
async function alone(act, patient) {
  if (globalThis.navigator?.locks) {
    return navigator.locks.request("hay-field-send", { ifAvailable: !patient }, (lock) => (lock ? act() : null));
  }
  const mine = crypto.getRandomValues(new Uint32Array(2)).join("-");
  const taken = async () => (await change("lease", (found) => (found?.until > Date.now() ? undefined : { mine, until: Date.now() + LEASE_MS })))?.mine === mine;
  while (!(await taken())) {
    if (!patient) return null;
    await new Promise((done) => setTimeout(done, 500));
  }
  try {
    return await act();
  } finally {
    await change("lease", (found) => (found?.mine === mine ? { mine: null, until: 0 } : undefined));
  }
}

// What the office answered, or {away: why}. A page of HTML, a redirect or an answer without our marker is somebody
// else's: a gate at a hotel, a router. It counts as no network.
async function ask(address, about = {}) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), ANSWER_MS);
  const sent = Date.now();
  try {
    const answer = await fetch(address, { credentials: "same-origin", redirect: "manual", cache: "no-store", signal: stop.signal, ...about });
    if (!JSON_TYPE.test(answer.headers.get("Content-Type") ?? "")) return { away: "not our office" };
    const said = await answer.json();
    if (said.marker !== MARKER) return { away: "not our office" };
    const got = Date.now();
    if (said.server_time) await heard(Date.parse(said.server_time), sent, got);
    return { status: answer.status, said };
  } catch {
    return { away: "no answer" };
  } finally {
    clearTimeout(timer);
  }
}

// Fetches lots, plans, tags and people for the next trip. True if the office gave them.
export async function fetchPack() {
  const [phone, all] = await Promise.all([device(), entries()]);
  const about = new URLSearchParams({ device: phone.id, name: phone.name, unsent: all.filter(waiting).length });
  const { status, said } = await ask(`${PACK}?${about}`);
  await noteLink(status);
  if (status !== 200) return false;
  await keep("pack", { ...said, fetched_at: Date.now() });
  tell();
  return true;
}

// link: what the last try found. {ok, at, sign_in, failures, next}
async function noteLink(status) {
  await change("link", (found) => {
    const was = found ?? { failures: 0 };
    if (status === 200) return { ok: true, at: Date.now(), sign_in: false, failures: 0, next: 0 };
    if (status === 401) return { ...was, ok: false, sign_in: true };
    const wait = WAITS_S[Math.min(was.failures, WAITS_S.length - 1)] * 1000 * (0.8 + 0.4 * Math.random());
    return { ...was, ok: false, failures: was.failures + 1, next: Date.now() + wait, sign_in: was.sign_in ?? false };
  });
}

function firstOf(pending) {
  const some = [];
  let bytes = 0;
  for (const one of pending) {
    bytes += JSON.stringify(one.payload).length;
    if (some.length && (some.length === MOST || bytes > MOST_BYTES)) break;
    some.push(one);
  }
  return some;
}

async function post(some) {
  const pack = await kept("pack");
  const headers = { "Content-Type": "application/json", "X-CSRFToken": pack?.csrf ?? "" };
  if (some.length === 1) headers["Idempotency-Key"] = `"${some[0].event_id}"`;
  return ask(DOOR, { method: "POST", headers, body: JSON.stringify(await body(some)) });
}

function answered(one, answer) {
  const about = { ...one, tries: one.tries + 1, answer: { ...answer, heard_at: Date.now() } };
  if (answer.answer === "later") return about;
  const no = answer.answer === "refused" || (answer.answer === "duplicate" && Boolean(answer.code));
  return { ...about, state: no ? "refused" : "office" };
}

// Sends one batch. True if the office answered for it, so that the next may go.
async function sendBatch(some) {
  sending = new Set(some.map((one) => one.event_id));
  tell();
  try {
    let { status, said } = await post(some);
    // The token of a form grows old while a phone is out of signal; a fresh one comes with the pack.
    if (status === 400 && (await fetchPack())) ({ status, said } = await post(some));
    if (status === 422 && some.length === 1) {
      const words = said.words ?? said.detail ?? "The office has another entry under this number.";
      said = { answers: [{ event_id: some[0].event_id, answer: "refused", code: said.code ?? "id-used-otherwise", words, remedy: said.remedy ?? "Keep it as a note and tell the office." }] };
      status = 200;
    }
    await noteLink(status);
    if (status !== 200) {
      await changeEntries([...sending], (one) => (waiting(one) ? { ...one, tries: one.tries + 1 } : one));
      return false;
    }
    const answers = new Map(said.answers.map((answer) => [answer.event_id, answer]));
    await changeEntries([...answers.keys()], (one) => (waiting(one) ? answered(one, answers.get(one.event_id)) : one));
    return some.every((one) => answers.has(one.event_id) && answers.get(one.event_id).answer !== "later");
  } finally {
    sending = new Set();
    tell();
  }
}

// Sends what waits. now: a person asked, or the phone found a network, so the waiting after failures is cut short.
export async function send({ now = false } = {}) {
  return alone(async () => {
    const link = await kept("link");
    if (!now && (link?.sign_in || link?.next > Date.now())) return;
    let pending = (await entries()).filter(waiting);
    while (pending.length && (await sendBatch(firstOf(pending)))) pending = (await entries()).filter(waiting);
  }, now);
}

async function askForSync() {
  const worker = await globalThis.navigator?.serviceWorker?.getRegistration?.("/field/");
  await worker?.sync?.register("send").catch(() => {});
}

// Lets go of what the office confirmed more than 14 days ago, and of nothing else.
export async function tidy(now = Date.now()) {
  const old = (one) => one.answer?.heard_at < now - KEEP_MS && (one.state === "office" || (one.state === "refused" && one.settled));
  const found = (await entries()).filter(old).map((one) => one.event_id);
  if (found.length) await changeEntries(found, (one) => (old(one) ? null : one));
  return found.length;
}

// A person has dealt with a refusal: by a new entry in its place, or by keeping it as a note.
export const settle = (id, how) => changeEntries([id], (one) => ({ ...one, settled: how })).then(tell);

// Begins to send: now, when the phone finds a network, when the page is looked at, and every half minute.
export function start() {
  const look = () => document.visibilityState === "visible" && send();
  window.addEventListener("online", () => send({ now: true }));
  document.addEventListener("visibilitychange", look);
  setInterval(look, EVERY_MS);
  return send({ now: true });
}
