"""100 entries over 3 lots, out of signal, the page killed 50 times, then a network that loses one answer in five."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page

from tests.web.field.conftest import LOT, Phone, entries, until

COUNT, KILLS, DROPPED, SEED = 100, 50, 0.2, 11
# Entries are made from a list by whoever opens the page: how many are kept says which comes next. Each refers to the
# entry of its lot, which may have been made before the page was killed.
WORK = """
async (work) => {
  const store = await import("/static/field/store.js");
  const box = await import("/static/field/outbox.js");
  const ofLot = new Map();
  const lots = (await store.entries()).filter((one) => one.kind === "register lot");
  for (const one of lots) ofLot.set(one.payload.field, one.event_id);
  for (let at = (await store.entries()).length; at < work.length; at++) {
    const { kind, payload, field } = work[at];
    const given = { ...payload };
    if (kind === "note") given.about = { entry: ofLot.get(field) };
    const made = await box.enter(kind, given);
    if (kind === "register lot") ofLot.set(payload.field, made.event_id);
    await new Promise((done) => setTimeout(done, 12));
  }
}
"""


def work() -> list[dict[str, Any]]:
    rng = random.Random(SEED)
    fields = ["Long field", "Road field", "Mill field"]
    lots = [{"kind": "register lot", "payload": {**LOT, "field": field}} for field in fields]
    notes = [
        {"kind": "note", "field": rng.choice(fields), "payload": {"words": f"note {number}"}}
        for number in range(COUNT - len(lots))
    ]
    return [*lots, *notes]


def killed(page: Page, crashed: bool) -> None:
    """The page's process ends at once, as when the phone throws it out of its memory; or the tab is swiped away."""
    if crashed:
        with contextlib.suppress(PlaywrightError):
            page.goto("chrome://crash", timeout=3000)
    with contextlib.suppress(PlaywrightError):
        page.close()


def fewer(rng: random.Random) -> Callable[[Any, Any], Any]:
    """What is left of the office's answers when each is lost with the same chance."""

    def left(_: Any, said: dict[str, Any]) -> dict[str, Any]:
        return {**said, "answers": [one for one in said["answers"] if rng.random() >= DROPPED]}

    return left


def begun(phone: Phone, todo: list[dict[str, Any]]) -> Page:
    page = phone.open("lot")
    page.evaluate(f"(todo) => void ({WORK})(todo).then(() => (window.done = true))", todo)
    return page


def test_nothing_is_lost_or_doubled_though_the_page_is_killed_50_times_and_answers_are_dropped(
    phone: Phone,
) -> None:
    phone.ready()
    phone.offline()
    phone.between.cut = True
    rng, todo = random.Random(SEED), work()
    for kill in range(KILLS):
        page = begun(phone, todo)
        page.wait_for_timeout(rng.uniform(1, 60))
        killed(page, crashed=kill % 2 == 0)
    page = begun(phone, todo)
    until(page, "window.done")
    made = entries(page)
    assert [one["seq"] for one in made] == list(range(1, COUNT + 1))
    assert phone.between.posts == []
    phone.offline(False)
    phone.between.cut = False
    # This seed loses the first answer of all, the one to 50 entries.
    phone.between.chance, phone.between.drop = random.Random(1), DROPPED
    phone.between.answers = fewer(random.Random(SEED))
    page.evaluate("""async () => {
      const { send } = await import("/static/field/outbox.js");
      const { entries } = await import("/static/field/store.js");
      while ((await entries()).some((one) => one.state === "saved")) await send({ now: true });
    }""")
    assert phone.between.dropped > 0 and len(phone.between.posts) > 4, (
        "nothing was lost, so nothing was tried"
    )
    at_office = phone.between.kept()
    assert [one["seq"] for one in at_office] == list(range(1, COUNT + 1))
    assert [one["event_id"] for one in at_office] == [one["event_id"] for one in made]
    words = [one["payload"].get("words", one["payload"].get("field")) for one in at_office]
    assert words == [one["payload"].get("words", one["payload"].get("field")) for one in todo]
    assert {one["state"] for one in entries(page)} == {"office"}
