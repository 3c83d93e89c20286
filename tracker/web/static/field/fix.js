// A refused entry, entered anew: its plain values in boxes, the one that the office named first and marked.
import { h, once } from "./dom.js";

const WORDS = {
  field: "Field", cutting: "Cutting", forage: "Forage", harvested: "Cut on", shape: "Bales", bale_count: "How many bales",
  bale_lb: "Weight of one bale in lb", storage: "Stored", note: "Note", cores: "Cores", reason: "Why", entry: "Where the probe went in",
  composite_g: "Weight of the hay in grams", weather: "Weather", deviations: "Done otherwise than planned", code: "Tag", codes: "Tags, with spaces between",
  old_code: "The tag before", seal: "Seal", waybill: "Waybill", condition: "How the bags look", words: "Words", to: "To", place: "Place", started_at: "Begun at",
};
// What the office calls these in a refusal.
const NAMES = { field_name: "field", forage_kind: "forage", harvest_date: "harvested", bale_shape: "shape", bale_mass: "bale_lb" };
const GAP = { codes: " ", condition: ", ", deviations: "\n" };

const isPlain = (value) => ["string", "number"].includes(typeof value) || (Array.isArray(value) && value.every((one) => typeof one === "string"));
const asText = (name, value) => (Array.isArray(value) ? value.join(GAP[name] ?? ", ") : String(value));

function asValue(name, text, was) {
  if (Array.isArray(was)) return text.split(name === "deviations" ? /\n/ : name === "codes" ? /[\s,]+/ : /,/).map((one) => one.trim()).filter(Boolean);
  const code = name === "code" || name === "old_code" ? text.replace(/[-\s]/g, "").toUpperCase() : text.trim();
  return typeof was === "number" ? Number(code) : code;
}

export function fixForm({ event_id, payload, answer }, save) {
  const marked = NAMES[answer.field] ?? answer.field;
  const names = Object.keys(payload).filter((name) => WORDS[name] && isPlain(payload[name]));
  // What was left out may be just what the office misses.
  if (marked && WORDS[marked] && !names.includes(marked)) names.unshift(marked);
  names.sort((one, other) => (other === marked) - (one === marked));
  const boxes = new Map();
  const row = (name) => {
    const id = `fix-${event_id}-${name}`;
    const box = h(name === "deviations" ? "textarea" : "input", { id, "aria-invalid": name === marked ? "true" : null, autocomplete: "off" });
    box.value = payload[name] === undefined ? "" : asText(name, payload[name]);
    boxes.set(name, box);
    return [h("label", { for: id }, WORDS[name]), name === marked ? h("p", { class: "asks" }, "The office asks for this one:") : null, box];
  };
  const given = () => {
    const changed = { ...payload };
    for (const [name, box] of boxes) {
      const was = payload[name] ?? (GAP[name] ? [] : "");
      if (box.value.trim() || payload[name] !== undefined) changed[name] = asValue(name, box.value.replaceAll("-", name === "codes" ? "" : "-"), was);
    }
    return changed;
  };
  return h("form", { class: "fix", onsubmit: once(() => save(given())) }, names.flatMap(row), h("button", {}, "Save it anew"));
}
