// The outbox to look at: each entry's state in words, what to do about a refusal, and the unsent as a file.
import { $, age, button, clockTime, h, once, put, sign } from "./dom.js";
import { makePlan } from "./coring.js";
import { exportFile, exportName } from "./export.js";
import { fixForm } from "./fix.js";
import { open } from "./frame.js";
import { enter, onChange, send, settle, waiting } from "./outbox.js";
import { entries, kept } from "./store.js";
import { view } from "./view.js";
import { stateInWords, whatWasDone } from "./words.js";

const SHOWN = 50;
let fixing = null;

async function draw() {
  const [all, link] = await Promise.all([entries(), kept("link")]);
  const pending = all.filter(waiting);
  const signIn = link?.sign_in ? pending.length : 0;
  const oldest = pending[0] && Date.now() - Math.min(...pending.map((one) => one.made_at));
  put("age", h("p", { class: "progress" }, pending.length ? `${pending.length} not sent, the oldest ${age(oldest)} old.` : "Nothing waits to be sent."),
    signIn ? h("a", { class: "next", href: "/field/signed-in?to=unsent", id: "sign-in" }, `Sign in to send ${signIn}`) : null);
  $("link").textContent = inWords(link);
  $("send").hidden = !pending.length;
  list("pending", pending, { signIn }, "Nothing.");
  if (!fixing) list("refused", all.filter((one) => one.state === "refused").reverse(), {}, "Nothing.");
  list("sent", all.filter((one) => one.state === "office").reverse().slice(0, SHOWN), {}, "Nothing yet.");
  $("export").disabled = !pending.length;
  $("share").hidden = !pending.length || !navigator.canShare?.({ files: [new File(["{}"], "a.json", { type: "application/json" })] });
}

function inWords(link) {
  if (!link?.at && !link?.failures) return "";
  if (link.sign_in) return "The office answers, and wants you to sign in again. Nothing is lost by waiting.";
  if (link.ok) return `The office answered at ${clockTime(link.at)}.`;
  return "No answer from the office just now. The phone tries again by itself while this page is open.";
}

function list(place, some, about, none) {
  put(place, some.length ? some.map((one) => line(one, about)) : h("li", {}, none));
}

function line(one, about) {
  const what = h("span", {}, `${one.seq}. ${whatWasDone(one)}, ${clockTime(one.made_at)}${one.source === "paper" ? ", from paper" : ""}`);
  const notices = (one.answer?.notices ?? []).map((words) => h("p", { class: "small" }, words));
  const parts = [h("span", { class: `state${one.state === "refused" ? " stop" : ""}` }, stateInWords(one, about)), what, ...notices];
  if (one.state === "refused" && !one.settled) parts.push(...dealWith(one));
  return h("li", { "data-seq": one.seq, "data-state": one.state }, parts);
}

function dealWith(one) {
  const place = h("div");
  const fix = button("Fix it", () => {
    fixing = one.event_id;
    place.replaceChildren(fixForm(one, async (payload) => {
      const { source, paper, how } = one;
      const again = one.kind === "plan coring" ? await drawnAnew(payload) : { payload };
      await enter(one.kind, { ...again.payload, replaces: one.event_id }, { source, paper, how, plan: again.plan });
      await settle(one.event_id, "fixed");
      fixing = null;
      sign("good", "Saved on this phone", "The office gets the new entry; the refused one stays on record.");
      await draw();
    }));
  });
  const note = button("Keep it as a note", async () => {
    const about = await aboutWhat(one.payload);
    // The office keeps what it refused in any case; the note puts it beside the lot or the bag, where there is one.
    if (about) await enter("note", { about, words: `Refused (${one.answer.words}): ${whatWasDone(one)}`, replaces: one.event_id });
    await settle(one.event_id, "note");
    await draw();
  }, { class: "second" });
  return [one.answer.remedy ? h("p", { class: "remedy" }, one.answer.remedy) : null, fix, note, place].filter(Boolean);
}

// With other cores the number drawn gives other bales.
async function drawnAnew(payload) {
  const now = await view();
  const lot = now.lotOf(payload.lot);
  if (!lot) return { payload };
  const plan = makePlan(lot, payload.probe, { seed: payload.seed, cores: payload.cores, reason: payload.reason ?? "" }, now.pack.practice);
  return { payload: { ...payload, picks: plan.picks }, plan };
}

async function aboutWhat({ code, codes, lot, sample, about }) {
  if (sample) return (await view())?.lots.find((one) => one.samples.some((other) => other.id === sample.id))?.ref ?? null;
  return about ?? code ?? codes?.[0] ?? lot ?? null;
}

$("send").addEventListener("click", once(async () => {
  await send({ now: true });
  const left = (await entries()).filter(waiting).length;
  const link = await kept("link");
  if (!left) sign("good", "The office has it");
  else if (link?.sign_in) sign("caution", `Sign in to send ${left}`);
  else sign("caution", "No answer", `${left} stay saved on this phone.`);
  await draw();
}));

async function unsentFile() {
  return exportFile((await entries()).filter(waiting));
}

$("export").addEventListener("click", once(async () => {
  const file = await unsentFile();
  const link = h("a", { href: URL.createObjectURL(file), download: file.name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  sign("good", "File saved", `${file.name}. Bring it to the office; the entries stay on this phone too.`);
}));

$("share").addEventListener("click", once(async () => {
  const file = await unsentFile();
  await navigator.share({ files: [file], title: exportName }).catch(() => {});
}));

onChange(draw);
open(draw);
