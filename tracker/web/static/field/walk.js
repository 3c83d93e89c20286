// The coring walk: the bales in walking order, one big tick for each core, and whatever was done otherwise in words.
// Each tick is kept at once; whoever comes back finds the walk where it was left.
import { $, button, h, once, put, screenChanged, sign } from "./dom.js";
import { balePicture } from "./bale.js";
import { coresRefused, makePlan, MOST_SEED } from "./coring.js";
import { open } from "./frame.js";
import { enter } from "./outbox.js";
import { keep, kept } from "./store.js";
import { lotName, refOf, view } from "./view.js";
import { stamped } from "./ids.js";
import { finishForm } from "./walk_end.js";

const key = new URLSearchParams(location.search).get("lot") ?? "";
let lot, sample, plan, pack, draft, draftName, finishing;

async function draw() {
  const now = await view();
  lot = now?.lot(key);
  if (!lot) return put("walk", h("p", { class: "told" }, "This lot is not on this phone. Choose one from today's lots."));
  if (finishing) return;
  pack = now.pack;
  draftName = now.draftOf(lot);
  sample = now.current(lot);
  $("main").querySelector("h1").textContent = lotName(lot);
  if (sample && sample.state !== "planned") return done();
  plan = sample?.plan ?? null;
  draft = (await kept(draftName)) ?? { started_at: null, ticks: [], passed: [], extra: [] };
  if (plan) walking();
  else if (!$("plan")) planning();
}

function done() {
  const next = sample.state === "cored" ? h("a", { class: "next", href: `/field/bag?lot=${encodeURIComponent(key)}` }, "Bind the bag") : null;
  put("walk", h("p", { class: "told" }, `This lot is cored${sample.code ? " and its bag has a tag" : ""}.`), next);
}

// No plan yet: the phone makes one. The office works the same bales out from the same number.
function planning() {
  const probes = pack.choices.probes;
  const wanted = Number(pack.practice.cores);
  const chosen = h("select", { id: "probe" }, probes.map((one, at) => h("option", { value: at }, `${one.name}: ${one.inside_mm} mm inside, ${one.length_mm} mm long`)));
  const cores = h("input", { id: "cores", inputmode: "numeric", value: wanted });
  const more = (by) => button(by > 0 ? "+" : "−", () => (cores.value = Math.max(1, Number(cores.value) + by)), { class: "second", "aria-label": by > 0 ? "One core more" : "One core fewer" });
  const reason = h("input", { id: "reason", autocomplete: "off" });
  const told = h("p", { class: "told stop", role: "alert", hidden: true });
  const made = once(async () => {
    const count = Number(cores.value);
    const no = coresRefused(count, reason.value, pack.practice);
    told.hidden = !no;
    if (no) return void (told.textContent = no);
    const seed = crypto.getRandomValues(new Uint32Array(1))[0] % MOST_SEED;
    const probe = probes[Number(chosen.value)];
    const own = makePlan(lot, probe, { seed, cores: count, reason: reason.value.trim() }, pack.practice);
    const { picks } = own;
    await enter("plan coring", { lot: lot.ref, seed, probe, cores: count, reason: own.reason, picks }, { plan: own });
    $("plan").remove();
    await draw();
  });
  put("walk",
    h("p", {}, `${lot.bale_count} ${lot.shape} bales. A number drawn at random says which are cored; nobody chooses them by their looks.`),
    h("form", { id: "plan", onsubmit: made },
      h("label", { for: "probe" }, "Probe"), chosen,
      h("label", { for: "cores" }, `Cores (${wanted} are wanted)`), h("div", { class: "count-row" }, more(-1), cores, more(1)),
      h("label", { for: "reason" }, "Why fewer, if fewer"), reason, told, h("button", {}, "Make the plan")));
}

const steps = () => plan.picks.flatMap(({ bale, cores }) => Array.from({ length: cores }, (_, at) => ({ bale, at: at + 1, of: cores })));
const passed = (bale) => draft.passed.find((one) => one.bale === bale);
const taken = (bale) => draft.ticks.filter((one) => one === bale).length;
const currentStep = () => steps().find((step) => !passed(step.bale) && taken(step.bale) < step.at);

async function changeDraft(changes) {
  draft = { ...draft, ...changes, started_at: draft.started_at ?? stamped() };
  await keep(draftName, draft);
  screenChanged();
  $("sign").hidden = true;
  walking();
}

function cautions() {
  return [plan.when, ...(plan.cautions ?? [])].filter(Boolean).map((words) => h("p", { class: "told caution" }, words));
}

function order(current) {
  return h("ol", { class: "order", "aria-label": "Bales in walking order" }, plan.picks.map(({ bale, cores }) => {
    const about = bale === current?.bale ? { class: "now" } : passed(bale) || taken(bale) >= cores ? { class: "done" } : {};
    return h("li", about, String(bale), cores > 1 ? ` (${taken(bale)} of ${cores})` : "");
  }));
}

function walking() {
  const step = currentStep();
  const count = draft.ticks.length + draft.extra.length;
  const total = steps().length;
  const left = h("p", { class: "progress", id: "progress" }, `${count} of ${total} cores taken`);
  const undo = draft.ticks.length || draft.passed.length
    ? button("Undo the last tick", undoLast, { class: "second", id: "undo" })
    : null;
  if (!step) return void put("walk", left, undo, finish(), order(null), cautions());
  const many = step.of > 1 ? `core ${step.at} of ${step.of}` : "one core";
  put("walk",
    draft.started_at ? null : cautions(),
    h("div", { class: "bale" }, balePicture(lot.shape, plan.entry),
      h("div", {}, h("p", {}, "Bale"), h("p", { class: "number", id: "bale-number" }, String(step.bale)), h("p", {}, `${many}, ${plan.depth_mm} mm deep, from the ${plan.entry}`))),
    button(["Core taken", h("span", {}, `bale ${step.bale}`)], () => changeDraft({ ticks: [...draft.ticks, step.bale], last: "tick" }), { class: "core", id: "tick" }),
    left, undo,
    button(`Bale ${step.bale} cannot be cored`, () => cannot(step), { class: "second", id: "cannot" }),
    h("h2", {}, "The walk"), order(step),
    h("p", { class: "small" }, "Count the bales along the walk from 1. If one cannot be reached, say so; nobody takes the next best instead without a word."),
    draft.ticks.length ? button("Stop here and finish", () => showEnd(), { class: "second", id: "stop-here" }) : null,
    draft.started_at ? cautions() : null);
}

const finish = () => button("Finish the coring", () => showEnd(), { id: "finish" });

function undoLast() {
  if (draft.last === "pass" && draft.passed.length) {
    const gone = draft.passed.at(-1);
    return changeDraft({ passed: draft.passed.slice(0, -1), extra: draft.extra.filter((bale) => bale !== gone.instead), last: "tick" });
  }
  return changeDraft({ ticks: draft.ticks.slice(0, -1), last: draft.ticks.length > 1 ? "tick" : "pass" });
}

// A bale that is out of reach or spoilt: why, and which bale was cored in its place, if any.
function cannot(step) {
  screenChanged();
  const why = h("input", { id: "why", autocomplete: "off" });
  const instead = h("input", { id: "instead", inputmode: "numeric" });
  const told = h("p", { class: "told stop", role: "alert", hidden: true });
  const say = (words) => {
    told.hidden = false;
    told.textContent = words;
  };
  const pass = async (words) => {
    const other = instead.value.trim() ? Number(instead.value) : null;
    if (!words) return say("Say in a few words why.");
    if (other !== null && !(Number.isInteger(other) && other >= 1 && other <= lot.bale_count)) return say(`The lot has bales 1 to ${lot.bale_count}.`);
    if (other === step.bale) return say("That is the same bale.");
    const missing = step.of - taken(step.bale);
    const extra = other === null ? [] : Array(missing).fill(other);
    await changeDraft({ passed: [...draft.passed, { bale: step.bale, words, instead: other }], extra: [...draft.extra, ...extra], last: "pass" });
  };
  put("walk", h("h2", {}, `Bale ${step.bale} cannot be cored`),
    h("label", { for: "instead" }, "Bale cored in its place, if one was"), instead,
    (pack.choices.deviations ?? []).map((words) => button(words[0].toUpperCase() + words.slice(1), () => pass(words), { class: "second reason" })),
    h("label", { for: "why" }, "Or in your words"), why, told,
    button("Pass this bale", () => pass(why.value.trim()), { id: "pass" }),
    button("Back to the walk", () => walking(), { class: "second" }));
}

function balesCored() {
  const bales = {};
  for (const bale of [...draft.ticks, ...draft.extra]) bales[bale] = (bales[bale] ?? 0) + 1;
  return bales;
}

function showEnd() {
  finishing = true;
  screenChanged();
  const said = draft.passed.map(({ bale, words, instead }) => `Bale ${bale}: ${words}${instead ? `; bale ${instead} was cored instead` : ""}`);
  put("walk", finishForm({
    lot, plan, said, count: draft.ticks.length + draft.extra.length,
    back: () => {
      finishing = false;
      walking();
    },
    save: async ({ photo, ...given }) => {
      const payload = { ...refOf(lot, sample), bales: balesCored(), started_at: draft.started_at, ...given };
      await enter("core lot", payload, {}, draftName);
      if (photo) await enter("photo", { about: lot.ref, name: `stack of ${lotName(lot)}.jpg`, jpeg: photo }, { how: "photo" });
      sign("good", "Saved on this phone", "Now close the bag and bind its tag.");
      put("walk", h("a", { class: "next", href: `/field/bag?lot=${encodeURIComponent(key)}`, id: "to-bag" }, "Bind the bag"));
    },
  }));
}

open(draw);
