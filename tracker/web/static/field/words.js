// What an entry is, and how far it has come, in words.
import { age, clockTime, shown } from "./dom.js";
import { isSending, OLD_MS, refused, unsent, VERY_OLD_MS, waiting } from "./outbox.js";

const codes = (some) => (some ?? []).map(shown).join(", ");

export function whatWasDone({ kind, payload: given }) {
  const said = {
    "register lot": () => `Lot: ${given.field}, cutting ${given.cutting}, ${given.bale_count} bales`,
    "plan coring": () => `Coring plan of ${given.cores} cores`,
    "core lot": () => `Coring: ${Object.values(given.bales ?? {}).reduce((sum, count) => sum + Number(count), 0)} cores`,
    "bag cores": () => `Tag ${shown(given.code)} on the bag`,
    "seal bag": () => `Seal ${given.seal} on ${shown(given.code)}`,
    photo: () => `Photo: ${given.name}`,
    "hand over": () => `Handed over: ${codes(given.codes)}`,
    receive: () => `Received: ${codes(given.codes)}`,
    store: () => `Put in a place: ${codes(given.codes)}`,
    "take out": () => `Taken out: ${codes(given.codes)}`,
    "void tag": () => `Tag ${shown(given.code)} made void`,
    "replace tag": () => `Tag ${shown(given.code)} in place of ${shown(given.old_code)}`,
    "count in": () => `Tags brought back: ${codes(given.codes)}`,
    note: () => `Note: ${given.words}`,
  }[kind];
  return said ? said() : kind;
}

export function stateInWords(one, { signIn = 0 } = {}) {
  if (one.state === "office") {
    const time = clockTime(one.answer.received_at ?? one.answer.heard_at);
    return `Office has it, ${time}${one.answer.contested ? ". The tag is on two samples: both wait for a person" : ""}`;
  }
  if (one.state === "refused") {
    const settled = { fixed: " You entered it anew.", note: " Kept as a note." }[one.settled] ?? "";
    return `Office refused it: ${one.answer.words}${settled}`;
  }
  if (isSending(one)) return "Sending";
  if (signIn) return `Sign in to send ${signIn}`;
  return one.answer?.answer === "later" ? "Saved on this phone. The office waits for another entry first" : "Saved on this phone";
}

// The bar on every page: {words, kind} from all entries.
export function barInWords(all, link, now = Date.now()) {
  const open = all.filter(unsent);
  if (!open.length) return { words: all.length ? "The office has everything" : "Nothing to send", kind: "" };
  const old = now - Math.min(...open.map((one) => one.made_at));
  const pending = open.filter(waiting).length;
  const no = open.filter(refused).length;
  const parts = [];
  if (pending) parts.push(link?.sign_in ? `Sign in to send ${pending}` : `${pending} not sent`);
  if (no) parts.push(`${no} refused`);
  const late = old > VERY_OLD_MS ? ". Over a day old: send today or bring the file" : old > OLD_MS ? ". Over 12 hours old: find a signal today" : "";
  return { words: `${parts.join(", ")}, oldest ${age(old)}${late}`, kind: old > VERY_OLD_MS ? "stop" : old > OLD_MS ? "caution" : "" };
}
