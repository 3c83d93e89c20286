// What a keyboard-wedge scanner, a camera or a person sends: the code of a tag or the token of a stub.
// resolve() is tracker/domain/scan_text.py again, from the same rows of keys; tests hold the two together.

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const ISO_7064 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const LOOKALIKES = { I: "1", L: "1", O: "0" };
const CODE_LENGTH = 8;
const TOKEN_LENGTH = 26;
const LONGEST_LEAD = 4;
const QUOTES = "\"'“”‘’„«»";
const WEIGHT = /^[-+]?[0-9][0-9., ]*(?:mg|kg|g|lbs|lb|oz|t)$/i;
// A line that a balance types: status, number and unit, or what it shows when over, under or in error.
const BALANCE_LINE =
  /^(?:(?:[A-Z]{2}, ?){0,2}[-+]? *[0-9][0-9., ]*(?:mg|kg|g|lbs|lb|oz|t)?\s*\??|[-+]?-{2,12}|[HL]{1,8}|O\.?L\.?|err(?:or)?[ .:-]*[0-9]*)$/i;
const ENDS = /^[\p{Cc}\p{Cf}\p{Z}]+|[\p{Cc}\p{Cf}\p{Z}]+$/gu;
const SKIPPED = /[\p{Pd}\p{Cf}\p{Z}\t-\r\x1c-\x1f\x85]/gu;

export const SCANNER_GAP_MS = 80;
const PAUSE_MS = 150; // The hand that typed needs longer than this to reach for the scanner.
const FORGOTTEN_MS = 1000; // Keys before such a pause never belong to a scan, however slow the scanner.
const FEWEST_KEYS = 6;
const SAME_MS = 2000;
const TOGETHER_MS = 300;
const MOST_DIGITS = 7;
const OURS_MAIMED = ["wrong-keyboard-layout", "not-our-label", "two-readings-possible"];

export const WORDS = {
  "code-missing": "Nothing was scanned. Type the 8 characters on the label.",
  "code-characters": "A code has no such character. Read the label again.",
  "code-length": "A code has 8 characters, printed as two groups of 4.",
  "code-digits": "Digits only: no label has such a code. A weight belongs in the weight box.",
  "code-check": "One character is wrong or two are swapped. Compare with the label.",
  "token-malformed": "This is not one of our results links. Scan the stub again.",
  "not-our-label": "This is not one of our labels. Scan the QR beside the code.",
  "wrong-keyboard-layout": "Set the scanner's country to this computer's keyboard, or type the code.",
  "two-readings-possible": "Two codes are possible. Scan the QR, or type the code with its hyphen.",
  "already-scanned": "Already scanned.",
  "two-tags-at-once": "Two tags at once. Neither was taken; scan one at a time.",
  "digits-in-weight": "More than 7 digits are no weight. Type the weight again.",
};

class Refusal extends Error {
  constructor(code) {
    super(WORDS[code]);
    this.code = code;
  }
}

function folded(text) {
  if (/^[\0-\x7f]*$/.test(text)) return text.toLowerCase();
  return Array.from(text, (c) => (Array.from(c.toLowerCase()).length === 1 ? c.toLowerCase() : c)).join("");
}

function checkCharacter(body) {
  let product = 36;
  for (const character of body) {
    const total = (product + ISO_7064.indexOf(character)) % 36 || 36;
    product = (total * 2) % 37;
  }
  return ISO_7064[(37 - product) % 36];
}

const plain = (text) =>
  Array.from(text.normalize("NFKC").replace(SKIPPED, ""), (c) => {
    const upper = c <= "\x7f" ? c.toUpperCase() : c;
    return LOOKALIKES[upper] ?? upper;
  });

const within = (characters) => characters.every((c) => ALPHABET.includes(c));

function readCode(text) {
  const code = plain(text);
  if (!code.length) throw new Refusal("code-missing");
  if (!within(code)) throw new Refusal("code-characters");
  if (code.length !== CODE_LENGTH) throw new Refusal("code-length");
  if (/^[0-9]+$/.test(code.join(""))) throw new Refusal("code-digits");
  if (checkCharacter(code.slice(0, -1)) !== code.at(-1)) throw new Refusal("code-check");
  return code.join("");
}

function readRest(text) {
  const rest = text.replace(ENDS, "").replace(/\/+$/, "");
  const token = plain(rest);
  if (token.length <= CODE_LENGTH + 4) return readCode(rest);
  if (token.length !== TOKEN_LENGTH || !within(token)) throw new Refusal("token-malformed");
  return token.join("");
}

function cleaned(text) {
  let kept = Array.from(text.replace(ENDS, ""));
  if (kept.length > 1 && QUOTES.includes(kept[0]) && QUOTES.includes(kept.at(-1))) kept = kept.slice(1, -1);
  return kept.join("").replace(ENDS, "").replace(/^\][A-Za-z][0-9A-Za-z]/, "");
}

function after(text, start) {
  const all = Array.from(text);
  const length = Array.from(start).length;
  const head = folded(all.slice(0, LONGEST_LEAD + length).join(""));
  const found = head.indexOf(start);
  if (found < 0) return null;
  const at = Array.from(head.slice(0, found)).length;
  const rest = all.slice(at + length);
  if (at === 1 && rest.at(-1) === all[0] && !/[A-Za-z0-9]/.test(all[0])) rest.pop();
  return rest.join("");
}

const rowsOf = new WeakMap();

// The rows that change anything, as maps there and back; made once for each table.
function rows(table) {
  if (!rowsOf.has(table)) {
    const keys = Array.from(table.keys);
    rowsOf.set(table, Object.entries(table.layouts).filter(([, row]) => row !== table.keys).map(([name, row]) => {
      const typed = Array.from(folded(row));
      const there = new Map(keys.map((key, i) => [key, typed[i]]));
      return { name, there, back: new Map(keys.map((key, i) => [typed[i], key])) };
    }));
  }
  return rowsOf.get(table);
}

const through = (map, text) => Array.from(text, (c) => map.get(c) ?? c).join("");
const scanned = (value, how, layout = null) => ({
  kind: value.length === TOKEN_LENGTH ? "token" : "code", value, how, layout,
});

function byLayout(text, prefix, table) {
  const readings = new Map();
  let fault = null;
  for (const { name, there, back } of rows(table)) {
    const rest = after(text, through(there, prefix));
    if (rest === null) continue;
    try {
      const value = readRest(through(back, folded(rest)));
      readings.set(value, [...(readings.get(value) ?? []), name]);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      fault ??= error;
    }
  }
  if (readings.size > 1) throw new Refusal("two-readings-possible");
  for (const [value, names] of readings) return scanned(value, "layout", names.join(" or "));
  if (fault) throw fault;
  return null;
}

function validElsewhere(text, table) {
  const found = new Set();
  for (const { back } of rows(table)) {
    const code = through(back, folded(text));
    try {
      if (readCode(code) === code) found.add(code);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
    }
  }
  return found;
}

function looksMangled(text, prefix) {
  const length = Array.from(text).length;
  const full = [prefix.length + CODE_LENGTH, prefix.length + TOKEN_LENGTH].includes(length);
  const start = folded(Array.from(text).slice(0, 12).join(""));
  return start.includes("http") || (full && !/^[A-Za-z0-9]*$/.test(text) && !text.includes(" "));
}

function bare(text, prefix, table) {
  if (WEIGHT.test(text)) throw new Refusal("code-digits");
  const elsewhere = validElsewhere(text, table);
  let code;
  try {
    code = readCode(text);
  } catch (error) {
    if (text.includes("://")) throw new Refusal("not-our-label");
    if (elsewhere.size || looksMangled(text, prefix)) throw new Refusal("wrong-keyboard-layout");
    throw error;
  }
  elsewhere.delete(code);
  if (elsewhere.size) throw new Refusal("two-readings-possible");
  return scanned(code, "bare");
}

// {kind, value, how, layout}, or {refused: code, words}. `prefix` is HTTPS://HOST/T/, `layouts` what
// keyboard_layouts.tables() gives.
export function resolve(text, prefix, layouts) {
  try {
    const kept = cleaned(text);
    const rest = after(kept, folded(prefix));
    if (rest !== null) return scanned(readRest(rest), "intact");
    return byLayout(kept, prefix, layouts) ?? bare(kept, prefix, layouts);
  } catch (error) {
    if (error instanceof Refusal) return { refused: error.code, words: error.message };
    throw error;
  }
}

// Whether a machine sent it: by what it says first, by speed second. `gap` is the mean time between keys in ms.
export const looksLikeScan = (found, gap) => found.how !== "bare" || (gap !== null && gap < SCANNER_GAP_MS);

const UNTEXTED = ["button", "checkbox", "color", "file", "image", "radio", "range", "reset", "submit"];
const isText = (box) =>
  box instanceof HTMLTextAreaElement || (box instanceof HTMLInputElement && !UNTEXTED.includes(box.type));
const isWeight = (box) => isText(box) && box.hasAttribute("data-weight");
const isScanBox = (box) => isText(box) && box.hasAttribute("data-scan");
const tooManyDigits = (text) => /^[-+0-9.,\s]*$/.test(text) && text.replace(/[^0-9]/g, "").length > MOST_DIGITS;

// Hears scans anywhere on the page. Boxes: <input data-scan> for codes, <input data-weight> for weights; every
// other text box is a note, unless <input data-barcode> asks for another barcode, whose end then sends the form.
// Callbacks:
//   onScan({kind, value, how, layout, source: "scan"|"typed"|"camera"|..., gap})   after a wait of 300 ms
//   onHeard(the same)                                at once, for the sound; onScan or onRefused follows
//   onRefused({code, words, text, source, gap})      codes are the keys of WORDS
//   onListening({listening, words})                  at the start and whenever it changes
export class ScanCatcher {
  #keys = []; // {character, at, before} since the last long pause or movement
  #pending = null;
  #lastTaken = null;
  #lastTwo = -Infinity;
  #good = new WeakMap(); // the last value of a weight box that was no more than 7 digits
  #toldDigits = false;
  #listening = null;
  #ending = new AbortController();

  constructor({ prefix, layouts, onScan, together = TOGETHER_MS, ...others }) {
    const quiet = { onHeard() {}, onRefused() {}, onListening() {} };
    Object.assign(this, { prefix, layouts, onScan, together, ...quiet, ...others });
    const listen = (target, kind, act) =>
      target.addEventListener(kind, act, { capture: true, signal: this.#ending.signal });
    listen(document, "keydown", (event) => this.#key(event));
    listen(document, "input", (event) => this.#input(event));
    listen(document, "pointerdown", () => this.#forget());
    const look = () => this.#look();
    for (const kind of ["focus", "blur"]) listen(window, kind, look);
    listen(document, "visibilitychange", look);
    this.#look();
  }

  // Reads the page's <script type="application/json" id="layouts" data-prefix="HTTPS://HOST/T/">.
  static onPage(callbacks) {
    const embedded = document.getElementById("layouts");
    const layouts = JSON.parse(embedded.textContent);
    return new ScanCatcher({ prefix: embedded.dataset.prefix, layouts, ...callbacks });
  }

  get listening() {
    return document.hasFocus();
  }

  stop() {
    this.#ending.abort();
    if (this.#pending) clearTimeout(this.#pending.timer);
    this.#pending = null;
  }

  // A text from elsewhere: the camera (call it for each text of a frame), a photo, a paste.
  offer(text, { source = "camera", gap = null } = {}) {
    const found = resolve(text, this.prefix, this.layouts);
    if (found.refused) this.#refuse(found.refused, text, source, gap);
    else this.#take({ ...found, source, gap }, text);
    return found;
  }

  #look() {
    const listening = document.hasFocus();
    if (listening === this.#listening) return;
    this.#listening = listening;
    if (!listening) this.#forget();
    this.onListening({ listening, words: listening ? "READY TO SCAN" : "NOT LISTENING – click here" });
  }

  #forget() {
    this.#keys = [];
    this.#toldDigits = false;
  }

  #key(event) {
    if (event.isComposing || event.key === "Shift" || event.key === "CapsLock" || event.key === "AltGraph") return;
    if ((event.ctrlKey || event.altKey || event.metaKey) && !event.getModifierState("AltGraph")) return this.#forget();
    if (event.key === "Enter" || event.key === "Tab") return this.#ended(event);
    if (Array.from(event.key).length !== 1) return this.#forget();
    const last = this.#keys.at(-1);
    if (last && event.timeStamp - last.at > FORGOTTEN_MS) this.#forget();
    this.#keys.push({ character: event.key, at: event.timeStamp, before: snapshot(event.target) });
    // Some browsers open a search of the page at these two, and it would swallow the rest of the scan.
    if ((event.key === "/" || event.key === "'") && !editable(event.target)) event.preventDefault();
  }

  #ended(event) {
    const keys = this.#keys;
    const told = this.#toldDigits;
    this.#forget();
    const box = event.target;
    const burst = keys.slice(Math.max(0, keys.findLastIndex((key, i) => i > 0 && key.at - keys[i - 1].at > PAUSE_MS)));
    const swallow = (lifted) => {
      event.preventDefault();
      event.stopImmediatePropagation();
      restore(lifted);
    };
    for (const tried of keys.length === burst.length ? [burst] : [burst, keys]) {
      const text = textOf(tried);
      const found = resolve(text, this.prefix, this.layouts);
      if (found.refused) continue;
      const gap = meanGap(tried, event.timeStamp);
      const scan = looksLikeScan(found, gap);
      if (!scan && !isWeight(box)) continue;
      swallow(tried);
      this.#take({ ...found, source: scan ? "scan" : "typed", gap }, text);
      return;
    }
    this.#endedInNothing(event, burst, told, swallow);
  }

  // No code in the keys: a whole box, a scan that cannot be read, or simply a person at work.
  #endedInNothing(event, burst, told, swallow) {
    const box = event.target;
    const text = textOf(burst);
    const gap = meanGap(burst, event.timeStamp);
    const fast = burst.length >= FEWEST_KEYS && gap !== null && gap < SCANNER_GAP_MS;
    if (isWeight(box) && (told || (fast && tooManyDigits(text)))) {
      swallow(burst);
      if (!told) this.#refuse("digits-in-weight", text, "scan", gap);
      return;
    }
    if (isScanBox(box) && event.key === "Enter") {
      const whole = box.value;
      swallow([]);
      box.value = "";
      this.offer(whole, { source: fast ? "scan" : "typed", gap });
      return;
    }
    // A balance may play a keyboard too.
    if (!fast || (isWeight(box) && BALANCE_LINE.test(text.trim()))) return;
    const { refused } = resolve(text, this.prefix, this.layouts);
    // Another barcode may be meant for a note: the number of a seal. It stays, and still presses nothing.
    if (isText(box) && !isWeight(box) && !OURS_MAIMED.includes(refused)) {
      if (!isScanBox(box) && !box.hasAttribute("data-barcode")) swallow([]);
      return;
    }
    swallow(burst);
    this.#refuse(refused, text, "scan", gap);
  }

  #input(event) {
    const box = event.target;
    if (!isWeight(box)) return;
    if (!tooManyDigits(box.value)) {
      this.#good.set(box, box.value);
      return;
    }
    box.value = this.#good.get(box) ?? "";
    if (this.#toldDigits) return;
    this.#toldDigits = this.#keys.length > 0;
    this.#refuse("digits-in-weight", box.value, "typed", null);
  }

  #refuse(code, text, source, gap) {
    this.onRefused({ code, words: WORDS[code], text, source, gap });
  }

  #take(found, text) {
    const now = performance.now();
    const pending = this.#pending;
    if (pending && pending.value !== found.value) {
      clearTimeout(pending.timer);
      this.#lastTaken = null;
      this.#pending = { value: null, timer: setTimeout(() => (this.#pending = null), this.together) };
      // A camera sees both in frame after frame; it is said once.
      if (found.source !== "camera" || now - this.#lastTwo > SAME_MS) {
        this.#refuse("two-tags-at-once", text, found.source, found.gap);
        this.#lastTwo = now;
      }
      return;
    }
    if (this.#lastTaken?.value === found.value && now - this.#lastTaken.at < SAME_MS) {
      if (found.source === "camera") this.#lastTaken.at = now;
      else this.#refuse("already-scanned", text, found.source, found.gap);
      return;
    }
    this.onHeard(found);
    const timer = setTimeout(() => {
      this.#pending = null;
      this.onScan(found);
    }, this.together);
    this.#pending = { value: found.value, timer };
    this.#lastTaken = { value: found.value, at: now };
  }
}

const textOf = (keys) => keys.map((key) => key.character).join("");

// The terminator counts as a key: a scanner sends it as fast as the rest.
function meanGap(keys, end) {
  return keys.length ? (end - keys[0].at) / keys.length : null;
}

const editable = (box) => isText(box) || box instanceof HTMLSelectElement || Boolean(box?.isContentEditable);

function snapshot(box) {
  if (!isText(box) && !(box instanceof HTMLSelectElement)) return { box };
  const marks = isText(box) && box.selectionStart !== null ? [box.selectionStart, box.selectionEnd] : null;
  return { box, value: box.value, marks };
}

// Puts back what each box held before these keys.
function restore(keys) {
  const boxes = new Map();
  for (const { before } of keys) if (!boxes.has(before.box)) boxes.set(before.box, before);
  for (const { box, value, marks } of boxes.values()) {
    if (value === undefined || box.value === value) continue;
    box.value = value;
    if (marks) box.setSelectionRange(...marks);
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }
}
