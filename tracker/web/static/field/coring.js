// The coring plan made on the phone: tracker/domain/coring.py again for what is needed beside the stack. Tests hold the
// two together on thousands of lots. The office works it out anew from the same seed, and its plan is the one that counts.
import { firstRandom } from "./twister.js";

export const MOST_CORES = 100;
export const MOST_SEED = 1_000_000;
const POUNDS_PER_TON = 2000;
const USUAL_DEPTH_MM = 457;
const GRAMS_PER_POUND = 453.59237;
// Pounds in a cubic foot: least and most of hay in such a bale; round bales on dry matter. Sources: domain/probe.py.
const DENSITY = { round: [9, 12], "large square": [14, 16], "small square": [8, 11] };
// The usual bale in pounds. Sources: domain/lot.py.
const USUAL_BALE = { round: 1300, "large square": 1800, "small square": 60 };
const CURE_DAYS = [21, 42];
const NORMAL_95 = 1.959963984540054;

export const entryFor = (shape) => (shape === "round" ? "side" : "end");

// Bale numbers at even steps through the stack.
export const walk = (bales, picks, start) =>
  Array.from({ length: picks }, (_, pick) => Math.floor((start + pick * bales) / picks) + 1);

// [{bale, cores}] in walking order, the same for the same seed.
export function balePicks(bales, cores, seed) {
  const start = Math.floor(firstRandom(seed) * bales);
  const each = Math.floor(cores / bales);
  const oneMore = new Set(walk(bales, cores % bales, start));
  const picks = [];
  for (let bale = 1; bale <= bales; bale++) {
    const count = each + (oneMore.has(bale) ? 1 : 0);
    if (count) picks.push({ bale, cores: count });
  }
  return picks;
}

// {least, usual, most} grams as received, by the range of densities.
export function expectedMass(insideMm, depthMm, cores, shape, assumedDm) {
  const share = shape === "round" ? assumedDm / 100 : 1;
  const [least, most] = DENSITY[shape];
  const cubicInches = (Math.PI / 4) * (insideMm / 25.4) ** 2 * (depthMm / 25.4);
  const grams = (density) => Math.round((cores * cubicInches * density * GRAMS_PER_POUND) / 1728 / share);
  return { least: grams(least), usual: grams((least + most) / 2), most: grams(most) };
}

// Half the width of the 95 % interval of the lot's mean, from one composite: domain/precision.py.
export function margin(between, within, lab, bales, picks) {
  const total = picks.reduce((sum, pick) => sum + pick.cores, 0);
  const squares = picks.reduce((sum, pick) => sum + pick.cores ** 2, 0);
  const spread = Math.max(squares / total ** 2 - 1 / bales, 0);
  return NORMAL_95 * Math.sqrt(between ** 2 * spread + within ** 2 / total + lab ** 2);
}

const day = (date) => `${date.getUTCDate()} ${date.toLocaleString("en-US", { month: "short", timeZone: "UTC" })} ${date.getUTCFullYear()}`;

// When to core, in the words of domain/coring.py. harvested: YYYY-MM-DD.
export function whenToSample(harvested, storage) {
  const after = (days) => day(new Date(Date.parse(`${harvested}T00:00:00Z`) + days * 86_400_000));
  const [first, sure] = CURE_DAYS.map(after);
  const words =
    "Right before feeding or sale, and once the hay has cured: not before " +
    `${first}, safely from ${sure}. Do not core hay that is still hot.`;
  return storage === "wrapped" ? `${words} Tape every hole in the wrap at once.` : words;
}

// Whether fewer cores need a reason or are too few: null, or words and a remedy as domain/coring.py refuses them.
export function coresRefused(count, reason, practice) {
  const wanted = Number(practice.cores);
  const least = Math.min(Number(practice.cores_least), wanted);
  if (!Number.isInteger(count) || count < 1) return "Count the cores in whole numbers.";
  if (count < least) return `${count} cores cannot speak for a lot. Take ${wanted}, or with a reason at least ${least}.`;
  if (count < wanted && !reason.trim()) return `${count} cores are fewer than the ${wanted} wanted. Write why fewer will do.`;
  if (count > MOST_CORES) return `${count} cores are more than one bag can take. Take at most ${MOST_CORES}.`;
  return null;
}

// Pounds as whole millionths, so that a lot exactly at the limit is judged as the office judges it.
const millionths = (text) => {
  const [whole, part = ""] = String(text).split(".");
  return BigInt(whole || "0") * 1_000_000n + BigInt(part.padEnd(6, "0").slice(0, 6));
};

function tooHeavy(bales, pounds, practice) {
  let mass = pounds * BigInt(bales);
  let limit = millionths(practice.lot_limit) * BigInt(POUNDS_PER_TON);
  if (practice.lot_limit_basis === "dry matter") {
    mass *= millionths(practice.assumed_lot_dm);
    limit *= 100_000_000n;
  }
  return mass > limit;
}

// null, or {tons, parts, assumed} when one sample cannot speak for so much hay; parts in bales, as even as can be.
export function lotTooLarge({ shape, bale_count: bales, bale_lb: given }, practice) {
  const pounds = given ? millionths(given) : BigInt(USUAL_BALE[shape]) * 1_000_000n;
  if (!tooHeavy(bales, pounds, practice)) return null;
  let parts = 1;
  while (parts < bales && tooHeavy(Math.ceil(bales / parts), pounds, practice)) parts++;
  const tons = Math.round((Number(pounds) * bales) / 1e6 / POUNDS_PER_TON);
  const even = Array.from({ length: parts }, (_, part) => Math.floor(bales / parts) + (part < bales % parts ? 1 : 0));
  return { tons, parts: even, assumed: !given };
}

// The plan of a lot as the pack would give it. probe: {name, inside_mm, length_mm} as text.
export function makePlan(lot, probe, { seed, cores, reason = "" }, practice) {
  const depth = Math.min(Number(probe.length_mm), USUAL_DEPTH_MM);
  const picks = balePicks(lot.bale_count, cores, seed);
  const sd = (name) => ["between", "within"].map((where) => Number(practice[`${name}_sd_${where}`])).concat(Number(practice[`${name}_lab_sd`]));
  const mass = expectedMass(Number(probe.inside_mm), depth, cores, lot.shape, Number(practice.assumed_lot_dm));
  return {
    version: 0, seed, entry: entryFor(lot.shape), probe, depth_mm: String(depth), cores, reason, picks, mass_g: String(mass.usual),
    cp_margin: margin(...sd("cp"), lot.bale_count, picks).toFixed(2),
    ndf_margin: margin(...sd("ndf"), lot.bale_count, picks).toFixed(2),
    when: whenToSample(lot.harvested, lot.storage),
    cautions: massCaution(mass, practice),
  };
}

function massCaution(mass, practice) {
  if (mass.usual < Number(practice.composite_least)) {
    return [`About ${mass.usual} g is expected, and the lab wants at least ${practice.composite_least} g: core deeper, take more cores, or use a wider tip.`];
  }
  if (mass.usual > Number(practice.composite_most)) {
    return [`About ${mass.usual} g is expected, more than the ${practice.composite_most} g that a lab handles easily. Send all of it; never divide it: leaf and stem part.`];
  }
  return [];
}
