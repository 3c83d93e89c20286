// What the phone keeps, in IndexedDB: entries for the office, and a few things by their names. A promise is kept only
// once the browser says that the bytes are on the medium ("strict"), so a flat battery takes nothing that was shown
// as saved.
import { idTime, newId } from "./ids.js";

const NAME = "hay-field";
let opening = null;

function opened() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      const entries = asked.result.createObjectStore("entries", { keyPath: "event_id" });
      entries.createIndex("seq", "seq", { unique: true });
      asked.result.createObjectStore("kept");
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => asked.result.close();
      resolve(asked.result);
    };
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

// act(entries, kept) asks its requests; it returns one of them, or {value}, and what that holds comes back once
// everything is committed.
async function within(mode, act) {
  const base = await opened();
  return new Promise((resolve, reject) => {
    const all = base.transaction(["entries", "kept"], mode, { durability: "strict" });
    let given;
    all.oncomplete = () => resolve(given && ("value" in given ? given.value : given.result));
    all.onerror = () => reject(all.error);
    all.onabort = () => reject(all.error ?? new DOMException("Nothing was kept.", "AbortError"));
    given = act(all.objectStore("entries"), all.objectStore("kept"));
  });
}

export const kept = (name) => within("readonly", (_, things) => things.get(name));
export const keep = (name, value) => within("readwrite", (_, things) => void things.put(value, name));
export const forget = (name) => within("readwrite", (_, things) => void things.delete(name));

// Reads a thing and writes what change() makes of it, with nobody in between.
export const change = (name, changed) =>
  within("readwrite", (_, things) => {
    const answer = { value: undefined };
    const asked = things.get(name);
    asked.onsuccess = () => {
      answer.value = changed(asked.result);
      if (answer.value !== undefined) things.put(answer.value, name);
    };
    return answer;
  });

// All entries in the order of the phone's counter.
export const entries = () => within("readonly", (all) => all.index("seq").getAll());
export const entry = (id) => within("readonly", (all) => all.get(id));

const newDevice = () => ({ id: newId(Date.now(), 0), name: "", next: 1, last: 0 });

export const device = () => change("device", (found) => found ?? newDevice());

// Keeps one entry under the next number of the counter: both in one transaction, so a number is never without its
// entry. made(seq, event_id) gives the rest of the entry. Clears a draft, if named, in the same breath.
export const addEntry = (made, draft = null) =>
  within("readwrite", (all, things) => {
    const answer = { value: undefined };
    const asked = things.get("device");
    asked.onsuccess = () => {
      const phone = asked.result ?? newDevice();
      const time = idTime(Date.now(), phone.last);
      const id = newId(time, phone.next);
      answer.value = { ...made(phone.next, id), event_id: id, seq: phone.next };
      all.add(answer.value);
      things.put({ ...phone, next: phone.next + 1, last: time }, "device");
      if (draft) things.delete(draft);
    };
    return answer;
  });

// Changes entries by their ids, all or none; changed(entry) gives the new one, or null to let the entry go.
export const changeEntries = (ids, changed) =>
  within("readwrite", (all) => {
    for (const id of ids) {
      const asked = all.get(id);
      asked.onsuccess = () => {
        if (!asked.result) return;
        const next = changed(asked.result);
        if (next === null) all.delete(id);
        else all.put(next);
      };
    }
  });
