// Register a lot, also where there is no signal: what the office would refuse is said here, beside the stack.
import { $, fault, h, once, option } from "./dom.js";
import { lotTooLarge } from "./coring.js";
import { open } from "./frame.js";
import { enter } from "./outbox.js";
import { kept } from "./store.js";

const form = $("form");
const source = new URLSearchParams(location.search).get("from") === "paper" ? "paper" : "phone";

function filled(select, values, words = (value) => value) {
  const had = select.value;
  for (const value of values) {
    const key = String(typeof value === "object" ? value.id : value);
    if (![...select.options].some((one) => one.value === key)) select.append(option(key, words(value)));
  }
  select.value = had || select.options[0]?.value;
}

async function draw(pack) {
  if (!pack) return fault("Sign in once where there is a signal; then lots can be registered anywhere.");
  const named = (producer) => `${producer.name}${producer.place ? `, ${producer.place}` : ""}`;
  filled(form.producer, pack.producers, named);
  const other = [...form.producer.options].find((one) => one.value === "new");
  form.producer.append(other);
  filled(form.forage, pack.choices.forages);
  filled(form.shape, pack.choices.shapes);
  filled(form.storage, pack.choices.storages);
}

form.producer.addEventListener("change", () => ($("new-producer").hidden = form.producer.value !== "new"));

const whole = (text) => /^[0-9]{1,9}$/.test(text) && Number(text) > 0;

function wrong(given, practice) {
  if (!form.producer.value) return ["producer", "Choose the producer, or “Another producer”."];
  if (given.producer.name === "") return ["name", "Write the producer's name."];
  if (!given.field) return ["field", "Write the name of the field, or where it lies."];
  if (!whole(form.cutting.value) || given.cutting > 12) return ["cutting", "The first cutting of the season is 1, the second 2, up to 12."];
  if (!given.forage) return ["forage", "Choose what grew there."];
  if (!given.harvested) return ["harvested", "Say on which day the hay was cut."];
  if (given.harvested > today()) return ["harvested", "That day is still to come. Check the year."];
  if (!given.shape) return ["shape", "Choose the shape of the bales: it decides where the probe goes in."];
  if (!whole(form.bale_count.value)) return ["bale_count", "Count the bales and write digits only."];
  if (given.bale_lb && !/^[0-9]{1,6}(\.[0-9]{1,6})?$/.test(given.bale_lb)) return ["bale_lb", "Write the weight of one bale in plain digits, such as 61.5."];
  const large = lotTooLarge(given, practice);
  if (!large) return null;
  const taken = large.assumed ? ", taking the usual bale" : "";
  return ["bale_count", `About ${large.tons} short tons ${practice.lot_limit_basis}${taken}; one sample may speak for ${practice.lot_limit}. Register ${large.parts.length} lots of ${large.parts.join(", ")} bales, and sample each by itself.`];
}

const two = (value) => String(value).padStart(2, "0");
function today(now = new Date()) {
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

function written() {
  const text = (name) => form[name].value.trim().replace(/\s+/g, " ");
  const producer = form.producer.value === "new"
    ? { name: text("name"), place: text("place"), phone: text("phone") }
    : { id: Number(form.producer.value) };
  const optional = { bale_lb: text("bale_lb"), storage: form.storage.value, note: text("note") };
  return {
    producer, field: text("field"), cutting: Number(form.cutting.value), forage: form.forage.value, harvested: form.harvested.value,
    shape: form.shape.value, bale_count: Number(form.bale_count.value),
    ...Object.fromEntries(Object.entries(optional).filter(([, value]) => value)),
  };
}

form.addEventListener("submit", once(async () => {
  const pack = await kept("pack");
  if (!pack) return fault("Sign in once where there is a signal.");
  const given = written();
  const found = wrong(given, pack.practice);
  for (const box of form.elements) box.removeAttribute("aria-invalid");
  if (found) {
    const [box, words] = found;
    form[box].setAttribute("aria-invalid", "true");
    form[box].focus();
    return fault(words);
  }
  fault(null);
  const more = source === "paper" ? { source, paper: await kept("sheet") } : {};
  const made = await enter("register lot", given, more);
  location.assign(source === "paper" ? `/field/paper?lot=${made.event_id}` : `/field/walk?lot=${made.event_id}`);
}));

open(draw);
