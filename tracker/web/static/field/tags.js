// The tags somebody carries: a spoilt or lost one is made void with a reason, unused ones go back to the office.
import { $, button, fault, h, once, put, screenChanged, shown, sign } from "./dom.js";
import { open } from "./frame.js";
import { enter } from "./outbox.js";
import { Scanner } from "./scanning.js";
import { lotName, view } from "./view.js";

const WAYS = {
  void: { says: "A tag is spoilt or lost", deed: "This tag", save: "Make it void" },
  back: { says: "I bring unused tags back", deed: "Add this tag", save: "These tags are back in the office" },
};
let now, way, scanner;
let saving = false;
const chosen = new Map(); // code -> how it was named

async function draw() {
  now = await view();
  if (!now) return put("mine", h("p", { class: "told" }, "Sign in once where there is a signal."));
  if (!way) put("mine", ...carriedInWords(), ...Object.entries(WAYS).map(([name, { says }]) => button(says, () => begin(name), { class: "second", id: `way-${name}` })));
}

// By print run, the numbers that stand on the tags: "Run 3: 12 to 30, 34".
function carriedInWords() {
  const mine = now.carried();
  const runs = [...new Set(mine.map((tag) => tag.run))];
  const line = (run) => h("li", {}, `Run ${run}: ${stretches(mine.filter((tag) => tag.run === run).map((tag) => tag.number))}`);
  return [h("p", { class: "progress" }, `You carry ${mine.length} unused ${mine.length === 1 ? "tag" : "tags"}.`), h("ul", {}, runs.map(line))];
}

function stretches(numbers) {
  const found = [];
  for (const number of numbers) {
    if (found.at(-1)?.[1] === number - 1) found.at(-1)[1] = number;
    else found.push([number, number]);
  }
  return found.map(([first, last]) => (first === last ? `${first}` : `${first} to ${last}`)).join(", ");
}

function begin(name) {
  way = name;
  screenChanged();
  chosen.clear();
  put("mine");
  $("form").hidden = false;
  $("sign").hidden = true;
  fault(null);
  $("way-title").textContent = WAYS[name].says;
  $("why").hidden = name !== "void";
  $("reason").value = "";
  $("save").textContent = WAYS[name].save;
  scanner = new Scanner($("scanner"), { onCode: add, inWords, deed: WAYS[name].deed });
  list();
}

function inWords(code) {
  const tag = now.tags.get(code);
  return tag?.run ? `Tag ${tag.number} of run ${tag.run}. Compare all 8 characters.` : "Not among the tags this phone took along; the office decides. Compare all 8 characters.";
}

function notThis(code) {
  const tag = now.tags.get(code);
  const bag = now.bag(code);
  if (tag?.state === "void") return "This tag is void already. Cut it up.";
  if (bag && way === "void") return `This tag is on the bag of ${lotName(bag.lot)}. Open that lot's bag, and put a fresh tag on it.`;
  if (bag || tag?.state === "bound") return "This tag is on a bag. Only unused tags are brought back or made void here.";
  // The office refuses a whole list for one tag that nobody carries.
  if (tag && tag.state !== "issued" && way === "back") return "This tag was not given out to anybody. Only those that were are brought back.";
  return null;
}

async function add(code, how) {
  if (saving) return;
  const no = notThis(code);
  if (no) return sign("stop", "Not this tag", no);
  if (chosen.has(code)) return sign("caution", "Already on the list", shown(code));
  chosen.set(code, how);
  sign("good", "On the list", shown(code));
  list();
}

function list() {
  const mine = now.carried();
  const codes = new Set([...mine.map((tag) => tag.code), ...chosen.keys()]);
  const row = (code) => {
    const box = h("input", { type: "checkbox", value: code, checked: chosen.has(code) });
    box.addEventListener("change", () => {
      if (saving) box.checked = !box.checked;
      else if (box.checked) chosen.set(code, null);
      else chosen.delete(code);
    });
    const tag = now.tags.get(code);
    return h("label", { class: "tick" }, box, h("span", {}, `${shown(code)}${tag?.run ? `, run ${tag.run}, number ${tag.number}` : ", not on this phone"}`));
  };
  put("tags", codes.size ? [...codes].map(row) : h("p", {}, "No tag yet. Scan one."),
    way === "back" && mine.length > 1 ? button(`All ${mine.length} that I carry`, tickAll, { class: "second", id: "all" }) : null);
}

function tickAll() {
  for (const { code } of now.carried()) if (!chosen.has(code)) chosen.set(code, null);
  list();
}

const reason = () => $("reason").value.trim();

function wrong() {
  if (!chosen.size) return "No tag is on the list. Scan one, or tick it.";
  if (way === "void" && !reason()) return "Say in a few words what happened to the tag.";
  return null;
}

// One entry for each void tag: the office may refuse one of them and take the others. What is kept leaves the list at
// once, so that trying again after a fault keeps nothing twice.
async function save() {
  const codes = [...chosen.keys()];
  saving = true;
  try {
    if (way === "back") await enter("count in", { codes }, { how: sameWay() });
    else {
      for (const [code, how] of [...chosen]) {
        await enter("void tag", { code, reason: reason() }, { how });
        chosen.delete(code);
      }
    }
  } finally {
    saving = false;
  }
  const words = way === "back" ? "Give them to somebody of the office." : "Cut them up, so that nobody uses them.";
  way = null;
  scanner.end();
  $("form").hidden = true;
  screenChanged();
  await draw();
  sign("good", "Saved on this phone", `${codes.map(shown).join(", ")}. ${words}`);
  $("sign").scrollIntoView({ block: "start" });
}

// How the tags were named, if all in one way; a tick in the list is none of them.
function sameWay() {
  const ways = new Set(chosen.values());
  return ways.size === 1 ? [...ways][0] : null;
}

$("form").addEventListener("submit", once(async () => {
  const no = wrong();
  fault(no);
  if (!no) await save();
}));

open(draw);
