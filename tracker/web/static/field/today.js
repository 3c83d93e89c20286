// Today: the next act, and every lot on this phone with what it waits for.
import { $, h, put } from "./dom.js";
import { open } from "./frame.js";
import { onChange } from "./outbox.js";
import { kept } from "./store.js";
import { lotName, nextAct, view } from "./view.js";

// A bag without a tag is the one thing that must not wait; then what was begun; then what is still to do.
const URGENCY = ["cored, no tag yet", "to core", "to plan and core", "bag with you"];

const line = (lot, next) =>
  h("li", {}, next.href
    ? h("a", { href: next.href }, h("span", {}, lotName(lot), h("br"), h("span", { class: "small" }, lot.producer)), h("span", { class: "state" }, next.state))
    : h("p", {}, `${lotName(lot)}: ${next.state}`));

async function draw() {
  const now = await view();
  if (!now) {
    const link = await kept("link");
    const words = link?.sign_in
      ? "Sign in once on this phone, and it takes along what you need for a trip."
      : "This phone knows no lots yet. Open this page once where there is a signal.";
    put("next", h("p", { class: "told" }, words), h("a", { class: "next", href: "/field/signed-in" }, "Sign in"));
    put("lots", h("li", {}, h("p", {}, "None yet.")));
    return;
  }
  const all = now.lots.map((lot) => [lot, nextAct(now, lot)]);
  const rank = ([, next]) => (URGENCY.includes(next.state) ? URGENCY.indexOf(next.state) : URGENCY.length);
  all.sort((one, other) => rank(one) - rank(other));
  const [lot, first] = all.find(([, next]) => next.act) ?? [];
  put("next", lot
    ? h("a", { class: "next", href: first.href }, `${first.act}: ${lotName(lot)}`)
    : h("a", { class: "next", href: "/field/lot" }, "Register a lot"));
  put("lots", all.length ? all.map((one) => line(...one)) : h("li", {}, h("p", {}, "No lots on this phone.")));
}

onChange(() => $("lots") && draw());
open(draw);
