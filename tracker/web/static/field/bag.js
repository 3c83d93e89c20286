// Bind a tag to the bag by scanning it. What the phone knows of the tag is said at once; the office decides.
import { $, h, once, put, shown, sign } from "./dom.js";
import { open } from "./frame.js";
import { enter } from "./outbox.js";
import { Scanner } from "./scanning.js";
import { lotName, nextAct, refOf, view } from "./view.js";

const key = new URLSearchParams(location.search).get("lot");
let now, lot, sample, scanner, bound;

async function draw() {
  now = await view();
  if (!now) return put("bag", h("p", { class: "told" }, "Sign in once where there is a signal; then bags can be bound anywhere."));
  if (bound) return;
  lot = key ? now.lot(key) : null;
  sample = lot && now.current(lot);
  if (!lot) return choose();
  $("main").querySelector("h1").textContent = `Bag of ${lotName(lot)}`;
  if (sample?.code) {
    if (!$("spoilt")) put("bag", h("p", { class: "told" }, `This bag has tag ${shown(sample.code)}.`), after(), spoilt());
    return;
  }
  if (sample?.state !== "cored") return put("bag", h("p", { class: "told caution" }, "This lot is not cored yet."), h("a", { class: "next", href: nextAct(now, lot).href }, "To the coring"));
  put("bag", h("p", {}, `All cores of the lot are in one bag, closed. Take a fresh tag and scan it: ${lot.producer}, ${lotName(lot)}.`));
  scanner ??= new Scanner($("scanner"), { onCode: bind, inWords, deed: "Bind this tag to the bag" });
}

function choose() {
  const open_ = now.lots.filter((one) => now.current(one)?.state === "cored");
  put("bag", open_.length ? h("p", {}, "Which bag?") : h("p", { class: "told" }, "No lot is cored and without a tag."),
    open_.map((one) => h("a", { class: "next", href: `/field/bag?lot=${encodeURIComponent(one.key)}` }, `${lotName(one)}, ${one.producer}`)));
}

// Of a typed code, before it is taken: what this phone knows of the tag, and for which lot it would be.
function inWords(code) {
  const tag = now.tags.get(code);
  const known = !tag ? "not among the tags this phone took along; the office decides" : tag.state === "bound" ? "already on a bag" : tag.state;
  return `Tag ${known}. For the bag of ${lotName(lot)}, cut ${lot.harvested}, ${lot.producer}. Compare all 8 characters.`;
}

function notThis(code) {
  const tag = now.tags.get(code);
  const other = now.bag(code);
  if (other) return `This tag is on the bag of ${lotName(other.lot)}. A tag is never moved; take a fresh one.`;
  if (tag?.state === "bound") return "This tag is on another bag. A tag is never moved; take a fresh one.";
  if (tag?.state === "void") return "This tag is void. Cut it up, and take a fresh one.";
  if (tag?.lot_id && tag.lot_id !== lot.id) return "This tag was printed for another lot. Take this lot's, or one from a roll.";
  return null;
}

async function bind(code, how) {
  if (bound) return sign("caution", "This bag has its tag", shown(bound));
  const no = notThis(code);
  if (no) return sign("stop", "Not this tag", no);
  await enter("bag cores", { ...refOf(lot, sample), code }, { how });
  bound = code;
  const strange = now.tags.has(code) ? "" : " It is not among the tags this phone took along; the office decides.";
  sign("good", "Saved on this phone", `${shown(code)} is on the bag of ${lotName(lot)}.${strange}`);
  scanner.end();
  put("bag", h("p", { class: "code", id: "bound" }, shown(code)), h("p", {}, `${lot.producer}, ${lotName(lot)}. Give the stub to the producer.`), sealForm(code));
  put("after", after());
}

// A tag that tore or blurred: another takes its place, with a reason; the old code names this bag for ever.
function spoilt() {
  const reason = h("input", { id: "reason", autocomplete: "off" });
  const go = once(async () => {
    const why = reason.value.trim();
    if (!why) return sign("caution", "Why?", "Say in a few words what happened to the tag.");
    const old = sample.code;
    form.replaceWith(h("p", { id: "spoilt" }, `Scan the fresh tag that takes the place of ${shown(old)}.`));
    scanner = new Scanner($("scanner"), {
      inWords, deed: "Take this tag in its place",
      onCode: async (code, how) => {
        const no = notThis(code);
        if (no) return sign("stop", "Not this tag", no);
        await enter("replace tag", { code, old_code: old, reason: why }, { how });
        bound = code;
        scanner.end();
        put("bag", h("p", { class: "code", id: "bound" }, shown(code)), h("p", {}, `In place of ${shown(old)}, which is void: cut it up.`), after());
        sign("good", "Saved on this phone", `${shown(code)} is on the bag of ${lotName(lot)}.`);
      },
    });
  });
  const form = h("form", { id: "spoilt", onsubmit: go }, h("label", { for: "reason" }, "The tag is spoilt? Say why, then scan a fresh one"), reason, h("button", { class: "second", id: "replace" }, "Put a fresh tag on the bag"));
  return form;
}

function sealForm(code) {
  const number = h("input", { id: "seal", autocomplete: "off", autocapitalize: "characters", "data-barcode": true });
  const done = once(async () => {
    const seal = number.value.replace(/\s/g, "").toUpperCase();
    if (!seal) return sign("caution", "No number", "Read the number on the seal, or go on without one.");
    await enter("seal bag", { code, seal });
    sign("good", "Saved on this phone", `Seal ${seal} closes ${shown(code)}.`);
    form.replaceWith(h("p", {}, `Seal ${seal}.`));
  });
  const form = h("form", { id: "sealing", onsubmit: done }, h("label", { for: "seal" }, "Number of the seal, if the bag gets one"), number, h("button", { class: "second" }, "Save the seal"));
  return form;
}

const after = () => h("a", { class: "next", href: "/field/hand-over" }, "Hand bags over");

open(draw);
