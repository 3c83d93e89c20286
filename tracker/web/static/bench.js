// A bench page's ears and voice: where a scan leads, what is heard, and the ten seconds in which an entry can be undone.
import { ScanCatcher } from "./scan.js";
import { sound } from "./sound.js";

const scanning = JSON.parse(document.getElementById("scanning").textContent);
const listening = document.getElementById("listening");
const told = document.getElementById("told");

function tell(words, kind) {
  told.textContent = words;
  told.className = `told ${kind}`;
  told.hidden = false;
}

// With its hyphen: a bare code may be another one that a scanner set to another country has changed, and the
// server would refuse it although the whole address was read here.
function written({ kind, value }) {
  return kind === "code" ? `${value.slice(0, 4)}-${value.slice(4)}` : value;
}

window.scans = new ScanCatcher({
  prefix: scanning.prefix,
  layouts: scanning.layouts,
  onHeard: () => {
    tell("Taken", "good");
    sound(1200);
  },
  onScan: (found) => window.location.assign(scanning.to + encodeURIComponent(written(found))),
  onRefused: ({ code, words }) => {
    tell(words, code === "already-scanned" ? "caution" : "stop");
    sound(300, 300);
  },
  onListening: ({ listening: hears }) => {
    listening.textContent = hears ? listening.dataset.ready : listening.dataset.deaf;
    listening.classList.toggle("deaf", !hears);
  },
});

// A page that came with a word of its own sounds different: another sack than the next, or one that is refused.
const word = document.querySelector("[data-sound]")?.dataset.sound;
if (word) sound(...(word === "another" ? [700, 1200] : [300, 300]));

for (const form of document.querySelectorAll("form.undo")) {
  window.setTimeout(() => form.remove(), Number(form.dataset.seconds) * 1000);
}

// A second tap on the same button is no second entry.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});
