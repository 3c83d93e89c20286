// Small words that every page of the field needs: elements, the sign of what happened, and taps that count once.
import { sound } from "../sound.js";

export const $ = (id) => document.getElementById(id);

// h("button", {class: "core", onclick: act}, "Core taken")
export function h(name, about = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(about)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...inside.flat().filter((one) => one !== null && one !== undefined && one !== false));
  return made;
}

export const put = (id, ...inside) => $(id).replaceChildren(...inside.flat().filter(Boolean));

const TONES = { good: [1200], caution: [500], stop: [300, 300] };

// The full-width sign: a word, more words, a colour and a sound, each of which says it alone.
export function sign(kind, word, words = "") {
  const place = $("sign");
  place.className = `sign ${kind}`;
  place.replaceChildren(word, ...(words ? [h("span", {}, words)] : []));
  place.hidden = false;
  sound(...TONES[kind]);
}

export const play = (kind) => sound(...TONES[kind]);

export function fault(words) {
  const place = $("fault");
  place.hidden = !words;
  place.textContent = words ?? "";
  if (words) {
    place.scrollIntoView({ block: "center" });
    sound(...TONES.stop);
  }
}

// Wet gloves tap twice: a tap within 300 ms of a change of the screen is none, and neither is one while the last works.
let changed = -300;
export const screenChanged = () => (changed = performance.now());
export function once(act) {
  let busy = false;
  return async (event) => {
    event?.preventDefault();
    if (busy || performance.now() - changed < 300) return;
    busy = true;
    try {
      await act(event);
    } catch (error) {
      sign("stop", "Not saved", `${error.message || error}. Nothing was lost from the screen; try again.`);
      throw error;
    } finally {
      busy = false;
    }
  };
}

export const shown = (code) => (code ? `${code.slice(0, 4)}-${code.slice(4)}` : "–");
export const option = (value, words = value) => h("option", { value }, words);
export const button = (words, act, more = {}) => h("button", { type: "button", ...more, onclick: once(act) }, words);

const two = (value) => String(value).padStart(2, "0");
export function clockTime(text) {
  const when = new Date(text);
  const time = `${two(when.getHours())}:${two(when.getMinutes())}`;
  const today = new Date().toDateString() === when.toDateString();
  return today ? time : `${when.getDate()} ${when.toLocaleString("en-US", { month: "short" })}, ${time}`;
}

export function age(ms) {
  const minutes = Math.max(0, Math.floor(ms / 60_000));
  if (minutes < 120) return `${minutes} min`;
  return minutes < 2880 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 1440)} days`;
}
