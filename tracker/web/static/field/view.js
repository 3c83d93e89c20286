// What this phone knows of the lots: the pack that the office gave, and on top of it what was entered here since.
// A lot or a bag has a key for addresses and a REF for entries: {id} where the office made it, {entry} where we did.
import { entryFor } from "./coring.js";
import { entries, kept } from "./store.js";

const ENDED = ["cancelled", "disposed", "returned", "lost"];
// What was done beside the stack is done, though the office wants it entered anew; a refused tag is not on its bag.
const STAYS = ["register lot", "plan coring", "core lot"];
const ORDER = ["registered", "planned", "cored", "bagged", "sealed", "in transfer", "received"];
const further = (state, than) => ORDER.indexOf(state) > ORDER.indexOf(than) || (than === "in transfer" && state === "received");

function ofPack(lot) {
  const samples = lot.samples.map((sample) => ({ ...sample, ref: { id: sample.id }, lot: null }));
  const made = { ...lot, key: String(lot.id), ref: { id: lot.id }, samples };
  for (const sample of samples) Object.assign(sample, { lot: made, to: sample.transfer_to ?? null });
  return made;
}

function ofEntry(one, producers) {
  const given = one.payload;
  const producer = given.producer.name ?? producers.find((known) => known.id === given.producer.id)?.name ?? "";
  return {
    ...given, key: one.event_id, id: one.answer?.made?.lot ?? null, ref: { entry: one.event_id }, producer, samples: [], number: null,
  };
}

// A plan of which only the entry is left: its bales, and where the probe goes in.
const drawn = (lot, { picks = [], cores }) => ({ picks, cores, entry: entryFor(lot.shape), depth_mm: "457" });

export class View {
  constructor(pack, all) {
    this.pack = pack;
    this.me = pack.person;
    this.lots = pack.lots.map(ofPack);
    this.tags = new Map(pack.tags.map((tag) => [tag.code, { ...tag }]));
    this.names = new Map(pack.people.map((party) => [party.key, party.name]));
    // A refused lot is entered anew under another id; what was entered for the first belongs to the second.
    this.renewed = new Map(all.filter((one) => one.payload.replaces).map((one) => [one.payload.replaces, one.event_id]));
    const open = all.filter((one) => one.state !== "refused" || (!one.settled && STAYS.includes(one.kind)));
    for (const one of open) if (one.kind === "register lot") this.#registered(one);
    for (const one of open) if (one.kind !== "register lot" && !this.#inPack(one)) this.#apply(one);
  }

  // Whether the pack is younger than the office's answer, and so says already what came of the entry.
  #inPack({ answer }) {
    return Boolean(answer?.received_at) && Date.parse(answer.received_at) <= Date.parse(this.pack.server_time);
  }

  lot(given) {
    let key = given;
    while (this.renewed.has(key)) key = this.renewed.get(key);
    return this.lots.find((lot) => lot.key === key || (lot.made_by ?? lot.ref.entry) === key) ?? null;
  }

  name(key) {
    return this.names.get(key) ?? key ?? "nobody";
  }

  // The sample that is worked on: the last one that has not ended.
  current(lot) {
    return lot.samples.filter((sample) => !ENDED.includes(sample.state)).at(-1) ?? null;
  }

  // Bags with their lots, those that somebody holds first.
  bags(holder = null) {
    const all = this.lots.flatMap((lot) => lot.samples).filter((sample) => sample.code && !ENDED.includes(sample.state));
    return holder ? all.filter((sample) => sample.holder === holder && sample.state !== "in transfer") : all;
  }

  bag(code) {
    return this.lots.flatMap((lot) => lot.samples).find((sample) => sample.code === code) ?? null;
  }

  // The unused tags that whoever works here was given, in the order of the rolls.
  carried() {
    return [...this.tags.values()].filter((tag) => tag.state === "issued" && tag.issued_to === this.me.key);
  }

  #found({ lot, sample }) {
    if (sample?.id) return this.lots.flatMap((one) => one.samples).find((one) => one.id === sample.id) ?? null;
    const of = this.lotOf(lot ?? sample);
    return of && this.current(of);
  }

  // The lot that a REF means.
  lotOf(ref) {
    return ref?.entry ? this.lot(ref.entry) : this.lots.find((lot) => lot.id === ref?.id) ?? null;
  }

  #step(sample, state, changes = {}) {
    if (!sample || !further(state, sample.state)) return;
    Object.assign(sample, { state, ...changes });
  }

  #registered(one) {
    const known = this.lots.find((lot) => lot.id === one.answer?.made?.lot);
    if (known) known.made_by = one.event_id;
    else if (!this.#inPack(one)) this.lots.push(ofEntry(one, this.pack.producers));
  }

  #apply(one) {
    const { kind, payload: given } = one;
    if (kind === "plan coring") return this.#planned(one, given);
    if (kind === "core lot") return this.#step(this.#found(given), "cored");
    if (kind === "bag cores") return this.#bagged(one, given);
    if (kind === "seal bag") return this.#step(this.bag(given.code), "sealed", { seal: given.seal });
    if (kind === "replace tag" || kind === "void tag") return this.#voided(given);
    if (kind === "count in") return this.#countedIn(given);
    this.#moved(one, given);
  }

  // What ticks of a walk are kept under: the same before and after the office has given the lot its number.
  draftOf(lot) {
    return `walk:${lot.made_by ?? lot.key}`;
  }

  #planned(one, given) {
    const lot = this.lotOf(given.lot);
    if (!lot) return;
    const sample = this.current(lot);
    if (sample?.plan && sample.id) return;
    const made = { id: null, ref: null, lot, state: "planned", code: null, holder: null, hold: null, plan: one.plan ?? drawn(lot, given) };
    if (sample && sample.state === "planned" && !sample.id) Object.assign(sample, made);
    else lot.samples.push(made);
  }

  #bagged(one, given) {
    const sample = this.#found(given);
    this.#step(sample, "bagged", { code: given.code, holder: one.who });
    const tag = this.tags.get(given.code);
    this.tags.set(given.code, { code: given.code, lot_id: sample?.lot.id ?? null, issued_to: one.who, ...tag, state: "bound" });
  }

  #voided(given) {
    const old = given.old_code ?? given.code;
    const sample = this.bag(old);
    const tag = this.tags.get(old);
    this.tags.set(old, { code: old, lot_id: null, ...tag, state: "void" });
    if (sample) sample.code = given.old_code ? given.code : null;
  }

  #countedIn(given) {
    for (const code of given.codes) {
      const tag = this.tags.get(code);
      if (tag) Object.assign(tag, { state: "printed", issued_to: null });
    }
  }

  #moved({ kind, who }, given) {
    for (const code of given.codes ?? []) {
      const sample = this.bag(code);
      if (!sample) continue;
      if (kind === "hand over" && given.to_signs) Object.assign(sample, { holder: given.to });
      else if (kind === "hand over") Object.assign(sample, { state: "in transfer", to: given.to });
      else if (kind === "store") Object.assign(sample, { holder: given.place });
      else if (kind === "receive" || kind === "take out") {
        Object.assign(sample, { holder: who, ...(kind === "receive" && sample.state === "in transfer" ? { state: "sealed" } : {}) });
      }
    }
  }
}

export async function view() {
  const pack = await kept("pack");
  return pack ? new View(pack, await entries()) : null;
}

export const lotName = (lot) => `${lot.field}, cutting ${lot.cutting}`;
// The REF of what is worked on: the sample where the office knows it, else the lot.
export const refOf = (lot, sample) => (sample?.id ? { sample: { id: sample.id } } : { lot: lot.ref });

// The next act with a lot: {state, words, act, href}, by its state and by who has the bag.
export function nextAct(view_, lot) {
  const sample = view_.current(lot);
  const to = (page) => `/field/${page}?lot=${encodeURIComponent(lot.key)}`;
  if (!sample) return { state: "to plan and core", act: "Plan the coring", href: to("walk") };
  if (sample.hold) return { state: `on hold: ${sample.hold}`, act: null, href: null };
  if (sample.state === "planned") return { state: "to core", act: "Core the lot", href: to("walk") };
  if (sample.state === "cored") return { state: "cored, no tag yet", act: "Bind the bag", href: to("bag") };
  const mine = sample.holder === view_.me.key && ["bagged", "sealed"].includes(sample.state);
  if (mine) return { state: "bag with you", act: "Hand over", href: "/field/hand-over" };
  if (sample.state === "in transfer") return { state: `handed over${sample.to ? ` to ${view_.name(sample.to)}` : ""}`, act: null, href: null };
  return { state: `${sample.state}, with ${view_.name(sample.holder)}`, act: null, href: null };
}
