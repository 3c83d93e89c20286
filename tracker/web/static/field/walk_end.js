// The end of a walk: what the bag weighs if a scale is there, what the weather was, where the stack lies, a photo, and
// the words that fewer cores need.
import { h, once, button } from "./dom.js";
import { small } from "./photo.js";

const MOST_DIGITS = 7;

function located(told) {
  return new Promise((resolve) => {
    const no = (error) => {
      told.textContent = error?.code === 1 ? "The phone does not allow it for this page. Write where the stack lies as a deviation, if it matters." : "The phone does not know where it is just now.";
      resolve(null);
    };
    navigator.geolocation.getCurrentPosition(({ coords }) => {
      const place = { lat: coords.latitude.toFixed(6), lon: coords.longitude.toFixed(6), accuracy_m: String(Math.round(coords.accuracy)) };
      told.textContent = `Noted, within about ${place.accuracy_m} m.`;
      resolve(place);
    }, no, { enableHighAccuracy: true, timeout: 15_000, maximumAge: 60_000 });
  });
}

const field = (id, words, box) => [h("label", { for: id }, words), box];

function wrong({ count, plan, words, grams }) {
  const planned = plan.picks.reduce((sum, pick) => sum + pick.cores, 0);
  if (!count) return "No core is ticked. Without a core there is no sample.";
  if (count < planned && !words.length) return `${count} cores were taken and ${planned} planned. Say in a few words why.`;
  if (!grams) return null;
  if (!/^[0-9]+(\.[0-9]+)?$/.test(grams) || grams.replace(".", "").length > MOST_DIGITS) return "Write the weight in grams in plain digits, such as 215.5.";
  return Number(grams) > 0 ? null : "A bag never weighs nothing. Was the tare left on?";
}

// lot, plan, count: cores taken; said: deviations so far; save(given) and back() are the two ways on.
export function finishForm({ plan, said, count, save, back }) {
  const grams = h("input", { id: "composite", inputmode: "decimal", "data-weight": true });
  const weather = h("input", { id: "weather", autocomplete: "off" });
  const more = h("textarea", { id: "deviations" });
  const entry = h("select", { id: "entry" }, ["side", "end"].map((one) => h("option", { value: one, selected: one === plan.entry }, one === plan.entry ? `From the ${one}, as planned` : `From the ${one}`)));
  const told = h("p", { class: "told stop", role: "alert", hidden: true });
  const here = h("p", { role: "status" });
  const pictured = h("p", { role: "status" });
  const file = h("input", { type: "file", accept: "image/*", capture: "environment", id: "photo" });
  let place = null;
  let photo = null;
  file.addEventListener("change", async () => {
    photo = file.files[0] ? await small(file.files[0]).catch(() => null) : null;
    pictured.textContent = photo ? "The photo goes along." : "This picture could not be read. Take another, or go on without.";
  });
  const done = once(async () => {
    const words = [...said, ...more.value.split("\n").map((line) => line.trim()).filter(Boolean)];
    const no = wrong({ count, plan, words, grams: grams.value.trim() });
    told.hidden = !no;
    told.textContent = no ?? "";
    if (no) return void told.scrollIntoView({ block: "center" });
    const optional = { composite_g: grams.value.trim(), weather: weather.value.trim(), place };
    await save({ entry: entry.value, deviations: words, photo, ...Object.fromEntries(Object.entries(optional).filter(([, value]) => value)) });
  });
  return h("form", { id: "end", onsubmit: done },
    h("p", { class: "progress" }, `${count} cores in the bag.`, plan.mass_g ? ` About ${plan.mass_g} g is expected, as it lies here.` : ""),
    said.map((words) => h("p", { class: "told" }, words)),
    field("composite", "Weight of the hay in the bag, in grams, if a spring scale is there", grams),
    field("entry", "Where the probe went in", entry),
    field("deviations", "Anything else done otherwise than planned", more),
    field("weather", "Weather, if it matters", weather),
    navigator.geolocation && isSecureContext ? button("Note where the stack lies", async () => (place = await located(here)), { class: "second", id: "place" }) : null, here,
    h("label", { class: "photo" }, "Take a photo of the stack", file), pictured, told,
    h("button", { id: "save" }, "Save the coring on this phone"),
    button("Back to the walk", back, { class: "second" }));
}
