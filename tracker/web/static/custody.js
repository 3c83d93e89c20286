// Checks the custody record in a report, in this browser alone: the twin of custody_check.py, step by step.
// Nothing is sent anywhere. What a browser cannot do (Ed25519 is young) is said and not passed over.

const FORM = "custody-record/1";
const ENTRY = ["by", "data", "id", "item", "lot", "occurred_at", "prev", "recorded_at", "role", "seq", "type", "v", "words"];
const RECORD = ["events", "form", "head", "index", "key", "proof", "report"];
const ATTACHED = /<<([^<>]*\/HaySampleCustodyRecord[^<>]*)>>\r?\nstream\r?\n/g;

class NotProven extends Error {}

function need(holds, words) {
  if (!holds) throw new NotProven(words);
}

const bytesOf = (text) => new TextEncoder().encode(text);
const hex = (bytes) => Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
const same = (one, other) => one.length === other.length && one.every((byte, at) => byte === other[at]);
const joined = (...parts) => new Uint8Array(parts.flatMap((part) => Array.from(part)));
const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

function unhex(text) {
  need(typeof text === "string" && /^([0-9a-f]{2})*$/.test(text), "A hash is not written in its one form.");
  return new Uint8Array((text.match(/../g) ?? []).map((pair) => parseInt(pair, 16)));
}

function unbase64(text) {
  let found;
  try { found = atob(text); } catch { throw new NotProven("A key or signature is not written in its one form."); }
  need(btoa(found) === text, "A key or signature is not written in its one form.");
  return Uint8Array.from(found, (letter) => letter.charCodeAt(0));
}

const base64 = (bytes) => btoa(String.fromCharCode(...bytes));

// The one text of a value that holds no fractions (RFC 8785): names in the order of their UTF-16 units.
function textOf(value) {
  if (Array.isArray(value)) return `[${value.map(textOf).join(",")}]`;
  if (value !== null && typeof value === "object") {
    return `{${Object.keys(value).sort().map((name) => `${JSON.stringify(name)}:${textOf(value[name])}`).join(",")}}`;
  }
  return JSON.stringify(value);
}

// A PDF's attachment as it lies there, or the whole of another file.
export function recordIn(content) {
  const begin = String.fromCharCode(...content.subarray(0, 4));
  if (begin !== "%PDF") return content;
  const found = [...new TextDecoder("latin1").decode(content).matchAll(ATTACHED)];
  need(found.length === 1, `${found.length} records are attached to this PDF; a report has one.`);
  const length = /\/Length (\d+)/.exec(found[0][1]);
  need(length, "The attachment does not say how long it is.");
  const start = found[0].index + found[0][0].length;
  return content.subarray(start, start + Number(length[1]));
}

function read(content) {
  let record;
  let text;
  try {
    text = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(content);
    record = JSON.parse(text);
  } catch { throw new NotProven("It is not a record at all."); }
  need(`${textOf(record)}\n` === text, "It is not written in its one form.");
  need(textOf(Object.keys(record).sort()) === textOf(RECORD) && record.form === FORM, `It is not of the form ${FORM}.`);
  return record;
}

async function checkEntries(record) {
  let leaf = null;
  let seq = 0;
  for (const one of record.events) {
    need(textOf(Object.keys(one).sort()) === '["entry","salt","words"]', "An event is not whole.");
    const { entry, salt, words } = one;
    const whole = textOf(Object.keys(entry).sort()) === textOf(ENTRY) && entry.v === 1 && entry.seq > seq;
    need(whole, "An entry is not whole or out of order.");
    seq = entry.seq;
    if (salt !== "" || words !== null) {
      const sealed = hex(await sha256(joined(unhex(salt), bytesOf(textOf(words)))));
      need(sealed === entry.words, `The words of entry ${seq} are not those that were logged.`);
    }
    need(entry.prev === (leaf === null ? null : hex(leaf)), `Entry ${seq} does not follow the one before it here.`);
    leaf = await sha256(joined([0], bytesOf(textOf(entry))));
  }
  need(leaf !== null, "There is no entry.");
  return leaf;
}

async function checkReport(record) {
  const last = record.events.at(-1).entry;
  need(last.type === "reported", "The last entry issues no report.");
  need(last.data.report === record.report.report.number, "The report is not the one that was issued.");
  const body = hex(await sha256(bytesOf(textOf(record.report))));
  need(last.data.body === body, "The report does not say what was issued.");
}

async function rootOver(leaf, index, size, proof) {
  need(index >= 0 && index < size, "The entry lies outside the log.");
  let [place, last, found] = [index, size - 1, leaf];
  for (const one of proof) {
    need(last > 0 && one.length === 32, "The path through the tree is too long or not of hashes.");
    if (place % 2 || place === last) {
      found = await sha256(joined([1], one, found));
      while (place % 2 === 0 && place) [place, last] = [Math.floor(place / 2), Math.floor(last / 2)];
    } else {
      found = await sha256(joined([1], found, one));
    }
    [place, last] = [Math.floor(place / 2), Math.floor(last / 2)];
  }
  need(last === 0, "The path through the tree is too short.");
  return found;
}

// true, false, or null where this browser knows no Ed25519.
async function signatureHolds(key, signature, text) {
  let known;
  try {
    known = await crypto.subtle.importKey("raw", key, { name: "Ed25519" }, false, ["verify"]);
  } catch { return null; }
  return crypto.subtle.verify({ name: "Ed25519" }, known, signature, text);
}

async function checkHead(record, leaf) {
  const [, name, keyId, coded] = /^([^+]+)\+([^+]+)\+(.+)$/.exec(record.key) ?? [];
  need(coded, "The key is not one.");
  const key = unbase64(coded);
  need(key[0] === 1, "The key is not one.");
  const wanted = (await sha256(joined(bytesOf(`${name}\n`), key))).subarray(0, 4);
  need(hex(wanted) === keyId, "The key is not the one that it says it is.");
  const [, text, origin, size, root, by, line] =
    /^(([^\n]+)\n([1-9][0-9]*)\n([^\n]+)\n)\n\u2014 ([^ \n]+) ([^ \n]+)\n$/.exec(record.head) ?? [];
  need(origin && by === name, "The head is not one, or is signed by another key.");
  const signed = unbase64(line);
  need(same(signed.subarray(0, 4), wanted), "The head is signed by another key.");
  const holds = await signatureHolds(key.subarray(1), signed.subarray(4), bytesOf(text));
  need(holds !== false, "The head's signature does not hold.");
  need(record.index === record.events.at(-1).entry.seq - 1, "The entry's place is not its number.");
  const found = await rootOver(leaf, record.index, Number(size), record.proof.map(unhex));
  need(base64(found) === root, "The log that was signed does not hold this entry.");
  return { size: Number(size), signature: holds };
}

export async function check(content) {
  const record = read(recordIn(content));
  try {
    const leaf = await checkEntries(record);
    await checkReport(record);
    const { size, signature } = await checkHead(record, leaf);
    const results = (record.report.results ?? []).filter((row) => row.dm !== null);
    return {
      report: record.report.report.number,
      issued: record.report.report.issued_at,
      entries: record.events.length,
      log: size,
      key: record.key,
      signature,
      results: results.map((row) => `${row.code} ${row.dm} ${row.unit}`),
    };
  } catch (fault) {
    if (fault instanceof NotProven) throw fault;
    throw new NotProven("The record is not whole.");
  }
}

function trusted() {
  return Array.from(document.querySelectorAll("#keys code"), (one) => one.textContent.trim());
}

function verdict(found, keys) {
  if (keys.length && !keys.includes(found.key)) return ["stop", "Not proven: it is signed by a key that is not ours."];
  if (found.signature === null) {
    return ["caution", "The record holds together, but this browser cannot check the signature (Ed25519). Use another browser or the program."];
  }
  if (!keys.length) return ["caution", "The signature holds. Compare the key with where it is published."];
  return ["good", "Proven: the record is the one that was signed, to the last byte."];
}

function say(kind, lines) {
  const place = document.getElementById("found");
  place.replaceChildren(...lines.filter(Boolean).map((words, at) => {
    const line = document.createElement("p");
    line.textContent = words;
    if (at === 0) line.className = `told ${kind}`;
    return line;
  }));
}

async function look(file) {
  if (!globalThis.crypto?.subtle) {
    say("stop", ["This browser gives no hashing to a page without https. Open it by https, or use the program."]);
    return;
  }
  try {
    const found = await check(new Uint8Array(await file.arrayBuffer()));
    const [kind, words] = verdict(found, trusted());
    say(kind, [
      words,
      `Report ${found.report}, issued ${found.issued}: ${found.entries} entries of its custody, as they stood in a log of ${found.log}.`,
      `Signed by ${found.key}`,
      found.results.length ? `Compare with the paper (on dry matter): ${found.results.join("; ")}.` : "",
    ]);
  } catch (fault) {
    say("stop", [`Not proven. ${fault instanceof NotProven ? fault.message : "The file cannot be read."}`]);
  }
}

if (globalThis.document?.getElementById("file")) {
  document.getElementById("file").addEventListener("change", (event) => event.target.files[0] && look(event.target.files[0]));
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files[0]) look(event.dataTransfer.files[0]);
  });
}
