// Who has the bags: handed to a person on this phone or on two, left in a drop box, given to a carrier, or received.
import { $, button, fault, h, once, option, put, screenChanged, shown, sign } from "./dom.js";
import { open } from "./frame.js";
import { enter } from "./outbox.js";
import { Scanner } from "./scanning.js";
import { lotName, view } from "./view.js";

const WAYS = {
  here: { says: "To a person who is here, on this phone", kind: "person", label: "Who takes them" },
  two: { says: "To a person with a phone of their own", kind: "person", label: "Who takes them" },
  place: { says: "Into a drop box or another place", kind: "place", label: "Where they lie now" },
  carrier: { says: "To a carrier, with a waybill", kind: "carrier", label: "Carrier" },
  receive: { says: "I receive bags", kind: "person", label: "From whom, if anybody is here" },
  out: { says: "I take bags out of a place", kind: null },
};
let now, way, scanner;
const chosen = new Map(); // code -> how it was named

async function draw() {
  now = await view();
  if (!now) return put("ways", h("p", { class: "told" }, "Sign in once where there is a signal."));
  if (!way) put("ways", h("p", {}, `You have ${mine().length} ${mine().length === 1 ? "bag" : "bags"}.`), Object.entries(WAYS).map(([name, { says }]) => button(says, () => begin(name), { class: "second", id: `way-${name}` })));
}

const mine = () => now.bags(now.me.key);
const inPlaces = () => now.bags().filter((bag) => now.pack.people.find((party) => party.key === bag.holder)?.kind === "place");
const onTheWay = () => now.bags().filter((bag) => bag.state === "in transfer" && (!bag.to || bag.to === now.me.key));
const offered = () => ({ receive: onTheWay, out: inPlaces })[way]?.() ?? mine();

function begin(name) {
  way = name;
  screenChanged();
  chosen.clear();
  if (!["receive", "out"].includes(name)) for (const bag of mine()) chosen.set(bag.code, null);
  $("ways").hidden = true;
  $("form").hidden = false;
  $("way-title").textContent = WAYS[name].says;
  scanner ??= new Scanner($("scanner"), { onCode: add, inWords, deed: "Add this bag" });
  put("whom", whom());
  $("save").textContent = { here: "Go on: the taker confirms", receive: "I have these bags", out: "I have these bags" }[name] ?? "Save on this phone";
  list();
}

function inWords(code) {
  const bag = now.bag(code);
  return bag ? `${bag.lot.producer}, ${lotName(bag.lot)}, cut ${bag.lot.harvested}.` : "This bag is not on this phone; the office decides. Compare all 8 characters.";
}

async function add(code, how) {
  if (chosen.has(code)) return sign("caution", "Already on the list", shown(code));
  chosen.set(code, how);
  sign("good", "On the list", `${shown(code)} ${now.bag(code) ? `of ${lotName(now.bag(code).lot)}` : ""}`);
  list();
}

function list() {
  const codes = new Set([...offered().map((bag) => bag.code), ...chosen.keys()]);
  const row = (code) => {
    const box = h("input", { type: "checkbox", value: code, checked: chosen.has(code) });
    box.addEventListener("change", () => (box.checked ? chosen.set(code, null) : chosen.delete(code)));
    const bag = now.bag(code);
    return h("label", { class: "tick" }, box, h("span", {}, `${shown(code)}${bag ? `, ${lotName(bag.lot)}` : ", not on this phone"}`));
  };
  put("bags", codes.size ? [...codes].map(row) : h("p", {}, "No bag yet. Scan one."));
}

function whom() {
  const { kind, label } = WAYS[way];
  if (!kind) return [];
  const people = now.pack.people.filter((party) => party.kind === kind && party.key !== now.me.key);
  const select = h("select", { id: "to" }, option("", way === "receive" ? "Nobody is here" : "Choose"), people.map((party) => option(party.key, party.name)));
  const parts = [h("label", { for: "to" }, label), select];
  if (way === "carrier") parts.push(h("label", { for: "waybill" }, "Number of the waybill"), h("input", { id: "waybill", autocomplete: "off", "data-barcode": true }));
  if (way === "receive") parts.push(conditions(), ...sealed());
  return parts;
}

const conditions = () => h("fieldset", {}, h("legend", {}, "How the bags look"), now.pack.choices.conditions.map((words) =>
  h("label", { class: "tick" }, h("input", { type: "checkbox", name: "condition", value: words, checked: words === "dry" }), h("span", {}, words))),
h("p", { class: "small" }, "Mould or dust: wear a mask, and do not open the bag."));

const sealed = () => [
  h("label", { for: "seal-state" }, "Seal"),
  h("select", { id: "seal-state" }, [["none", "No seal"], ["intact", "Whole"], ["broken", "Broken"], ["missing", "Missing"], ["number differs", "Another number"]].map(([value, words]) => option(value, words))),
  h("label", { for: "seal-read" }, "Its number, as you read it"), h("input", { id: "seal-read", autocomplete: "off", "data-barcode": true }),
];

const named = () => [...new Set([...chosen.values()].filter(Boolean))];
// How the bags were named, if all in one way; a tick in the list is none of them.
const how = () => (named().length === 1 && [...chosen.values()].every(Boolean) ? named()[0] : null);
const value = (id) => $(id)?.value.trim() ?? "";

function wrong() {
  if (!chosen.size) return "No bag is on the list. Scan one, or tick it.";
  if (["here", "two", "place", "carrier"].includes(way) && !value("to")) return "Choose who or what takes the bags.";
  if (way === "carrier" && !value("waybill")) return "A carrier signs for nothing: write the number of the waybill.";
  return null;
}

function entryOf() {
  const codes = [...chosen.keys()];
  if (way === "place") return ["store", { codes, place: value("to") }];
  if (way === "out") return ["take out", { codes }];
  if (way === "receive") {
    const condition = [...document.querySelectorAll("[name=condition]:checked")].map((box) => box.value);
    const seal = value("seal-state") === "none" ? {} : { seal_state: value("seal-state"), seal_read: value("seal-read") };
    return ["receive", { codes, condition, ...(value("to") ? { from: value("to") } : {}), ...seal }];
  }
  const more = way === "carrier" ? { waybill: value("waybill") } : way === "here" ? { to_signs: true, receiver: value("to") } : {};
  return ["hand over", { codes, to: value("to"), ...more }];
}

async function save() {
  const [kind, payload] = entryOf();
  await enter(kind, payload, { how: how() });
  const count = payload.codes.length;
  const bags = `${count} ${count === 1 ? "bag" : "bags"}`;
  const next = { two: ` ${now.name(payload.to)} confirms on the other phone.`, place: " A drop box holds them until somebody takes them out." }[way] ?? "";
  way = null;
  scanner.end();
  scanner = null;
  put("other-hand");
  $("form").hidden = true;
  $("ways").hidden = false;
  screenChanged();
  await draw();
  sign("good", "Saved on this phone", `${bags}: ${payload.codes.map(shown).join(", ")}.${next}`);
  $("sign").scrollIntoView({ block: "start" });
}

// The phone changes hands: the taker reads what he takes, and says so by his own tap.
function otherHand() {
  const taker = now.name(value("to"));
  $("form").hidden = true;
  screenChanged();
  put("other-hand",
    h("h2", {}, `Give the phone to ${taker}`),
    h("p", {}, `${now.me.name} hands over:`),
    h("ul", {}, [...chosen.keys()].map((code) => h("li", {}, h("span", { class: "code" }, shown(code)), ` ${now.bag(code) ? lotName(now.bag(code).lot) : ""}`))),
    button(`I am ${taker} and have ${chosen.size === 1 ? "this bag" : `these ${chosen.size} bags`}`, save, { id: "taker" }),
    button("Not so: back", () => {
      put("other-hand");
      $("form").hidden = false;
    }, { class: "second" }));
}

$("form").addEventListener("submit", once(async () => {
  const no = wrong();
  fault(no);
  if (no) return;
  if (way === "here") otherHand();
  else await save();
}));

open(draw);
