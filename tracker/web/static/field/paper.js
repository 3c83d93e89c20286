// A field sheet that was filled in by hand: each row becomes entries that say they come from paper, with its time.
import { $, button, fault, h, once, option, put, shown, sign } from "./dom.js";
import { resolve } from "../scan.js";
import { open } from "./frame.js";
import { stamped } from "./ids.js";
import { enter } from "./outbox.js";
import { keep } from "./store.js";
import { lotName, refOf, view } from "./view.js";

const { prefix, layouts } = JSON.parse($("scanning").textContent);
const form = $("form");
const wanted = new URLSearchParams(location.search).get("lot");
let now;

async function draw() {
  now = await view();
  if (!now) return fault("Sign in once where there is a signal.");
  const had = form.lot.value || wanted || "";
  form.lot.replaceChildren(option("", "Choose"), ...now.lots.map((lot) => option(lot.key, `${lot.producer}, ${lotName(lot)}`)));
  const kept = now.lot(had);
  form.lot.value = kept?.key ?? "";
}

// "4, 10, 16" as {4: 1, 10: 1, 16: 1}; a bale written twice gave two cores. null if it is not read.
function balesOf(text, most) {
  const bales = {};
  for (const one of text.split(/[\s,;]+/).filter(Boolean)) {
    if (!/^[0-9]+$/.test(one) || Number(one) < 1 || Number(one) > most) return null;
    bales[Number(one)] = (bales[Number(one)] ?? 0) + 1;
  }
  return bales;
}

const text = (name) => form[name].value.trim();
const paperOf = () => ({ form: text("sheet"), at: stamped(new Date(`${text("day")}T${text("time")}`)) });

// Keeps the sheet's number and time for a lot that is registered from it.
for (const name of ["sheet", "day", "time"]) {
  form[name].addEventListener("change", () => text("sheet") && text("day") && text("time") && keep("sheet", paperOf()));
}

function read() {
  if (!text("sheet")) return { wrong: ["sheet", "Write the number that is printed on the sheet."] };
  if (!text("day") || !text("time")) return { wrong: ["day", "Write the day and the time in that row."] };
  if (new Date(`${text("day")}T${text("time")}`) > new Date()) return { wrong: ["day", "That time is still to come. Check the day."] };
  const lot = now?.lot(text("lot"));
  if (!lot) return { wrong: ["lot", "Choose the lot, or register it first."] };
  const sample = now.current(lot);
  const coring = readCoring(lot, sample);
  if (coring?.wrong) return coring;
  if (!text("code")) return coring ? { lot, sample, coring } : { wrong: ["code", "This row says nothing yet: cores, or a tag."] };
  const found = resolve(text("code"), prefix, layouts);
  if (found.refused) return { wrong: ["code", found.words] };
  if (found.kind !== "code") return { wrong: ["code", "That is the producer's stub. Type the code on the bag."] };
  return { lot, sample, coring, code: found.value };
}

function readCoring(lot, sample) {
  if (!text("cores") && !text("bales")) return null;
  const bales = balesOf(text("bales"), lot.bale_count);
  if (!bales) return { wrong: ["bales", `Write numbers of bales from 1 to ${lot.bale_count}, with commas between.`] };
  const counted = Object.values(bales).reduce((sum, count) => sum + count, 0);
  if (text("cores") && !/^[0-9]{1,3}$/.test(text("cores"))) return { wrong: ["cores", "Count the cores and write digits only."] };
  const planned = sample?.plan?.picks ?? [];
  const wantedCores = planned.reduce((sum, pick) => sum + Number(pick.cores), 0);
  const cores = text("cores") ? Number(text("cores")) : counted;
  if (counted && cores !== counted) return { wrong: ["cores", `${cores} cores are given, and the bales add up to ${counted}.`] };
  if (!planned.length) return { wrong: ["lot", "This lot has no coring plan on this phone. Make it first; then enter what was cored."] };
  const deviations = text("deviations").split("\n").map((line) => line.trim()).filter(Boolean);
  if (cores < wantedCores && !deviations.length) return { wrong: ["deviations", `${cores} cores were taken and ${wantedCores} planned. Say in a few words why.`] };
  if (!counted && cores !== wantedCores) return { wrong: ["bales", `With other than ${wantedCores} cores, write which bales gave them.`] };
  const asPlanned = Object.fromEntries(planned.map((pick) => [pick.bale, Number(pick.cores)]));
  const grams = text("composite_g");
  if (grams && !/^[0-9]{1,5}(\.[0-9]+)?$/.test(grams)) return { wrong: ["composite_g", "Write the weight in grams in plain digits."] };
  return { bales: counted ? bales : asPlanned, entry: sample.plan.entry, deviations, ...(grams ? { composite_g: grams } : {}) };
}

async function save({ lot, sample, coring, code }) {
  const paper = paperOf();
  const more = { source: "paper", paper, how: "typed" };
  if (coring) await enter("core lot", { ...refOf(lot, sample), started_at: paper.at, ...coring }, more);
  if (code) await enter("bag cores", { ...refOf(lot, sample), code }, more);
  for (const name of ["cores", "bales", "deviations", "composite_g", "code", "time"]) form[name].value = "";
  put("seen");
  sign("good", "Saved on this phone", `${lotName(lot)}${code ? `, tag ${shown(code)}` : ""}, from paper. Next row.`);
  await draw();
  form.lot.value = "";
}

form.addEventListener("submit", once(async () => {
  const found = read();
  for (const box of form.elements) box.removeAttribute("aria-invalid");
  if (found.wrong) {
    const [name, words] = found.wrong;
    form[name].setAttribute("aria-invalid", "true");
    form[name].focus();
    return fault(words);
  }
  fault(null);
  if (!found.code) return save(found);
  // A typed code waits for a second look.
  put("seen", h("p", { class: "code" }, shown(found.code)), h("p", {}, `For the bag of ${lotName(found.lot)}, cut ${found.lot.harvested}, ${found.lot.producer}. Compare all 8 characters with the sheet.`),
    button("Yes, save this row", () => save(found), { id: "take" }));
  $("seen").scrollIntoView({ block: "center" });
}));

open(draw);
