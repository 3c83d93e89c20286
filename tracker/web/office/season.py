"""A season's plan for one producer: asked for, reckoned while the page says how far it is, shown and kept."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Generator, Iterator
from decimal import Decimal
from queue import SimpleQueue
from threading import Thread
from typing import Any

from flask import Response, get_flashed_messages, render_template, request, stream_template
from markupsafe import Markup

from tracker.domain.season import MOST_MONTHS, SeasonPlan
from tracker.domain.season_kept import Question
from tracker.domain.times import day
from tracker.domain.units import number, positive, whole
from tracker.errors import TrackerError
from tracker.lookups.groups import keepers_page
from tracker.lookups.kept_plans import kept_plans
from tracker.lookups.lots import answered_page, lot_lines
from tracker.lookups.season_plan import Season, season_asked
from tracker.papers.season_picture import lots_svg, month_words, months_svg, tons_words
from tracker.papers.season_plan import CAUTIONS, beside, bought, money, reasons, season_paper, worth
from tracker.steps.keep_plan import keep_plan
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.paging import asked_after, told_after
from tracker.web.shared.season import acting, now, reading, settings

# What the page says of the plan, by the names it uses.
SAID: dict[str, Any] = {
    "month_words": month_words,
    "tons": tons_words,
    "money": money,
    "besides": lambda fed: "; ".join(dict.fromkeys(beside(one) for one in fed)),
    "bought": bought,
    "worth": worth,
    "cautions": CAUTIONS,
}


@door.get("/season")
@for_roles(*LEAD)
def season() -> str:
    """For whom, from when, and which hay of others could be had."""
    return _asked_for()


@door.post("/season")
@for_roles(*LEAD)
def season_more() -> str:
    """The same with what is written already, and more hay of others. Nothing is kept."""
    return _asked_for()


def _asked_for() -> str:
    asked, written = request.values.get("producer", ""), _written()
    with reading() as found_in:
        # Of thousands who have animals one is chosen, or a page is looked at.
        (chosen, *_) = keepers_page(found_in, named=asked).items or ("",)
        if not chosen:
            keepers = keepers_page(found_in, asked_after())
            return render_template("season.html", producers=keepers.items, following=told_after(keepers.next))
        others = answered_page(found_in, chosen, asked_after())
        offered = [line for line in lot_lines(found_in, list(written)) if line.producer != chosen]
        kept = kept_plans(found_in, chosen)
    known = {line.lot for line in offered}
    return render_template(
        "season.html",
        chosen=chosen,
        others=[*offered, *(line for line in others.items if line.lot not in known)],
        written=written,
        following=told_after(others.next),
        asked={"first": _next_month(), "months": "6", **request.form.to_dict()},
        most=MOST_MONTHS,
        kept=kept,
    )


def _written() -> dict[int, str]:
    """The prices that stand on the page already, by lot; of so many as could be bought at all."""
    found = {
        name.removeprefix("offer-"): price.strip()
        for name, price in request.form.items()
        if name.startswith("offer-") and price.strip()
    }
    return {
        int(lot): price for lot, price in found.items() if lot.isascii() and lot.isdecimal() and len(lot) < 10
    }


@door.post("/season/plan")
@for_roles(*LEAD)
def season_planned() -> Response:
    """The plan, with how far it is while it is being reckoned; it is kept as it is shown."""
    outcome: dict[str, Any] = {}
    return piece_by_piece("season_planned.html", steps=_stepwise(outcome), outcome=outcome, **SAID)


def piece_by_piece(template: str, **about: Any) -> Response:
    """A page that is sent while it is being made."""
    # Said already, so that the page need not write the cookie once it is on its way.
    get_flashed_messages(with_categories=True)
    page = stream_template(template, **about)
    return Response(page, content_type="text/html; charset=utf-8", headers={"X-Accel-Buffering": "no"})


def _next_month() -> str:
    today = now().date()
    return f"{today.year + today.month // 12}-{today.month % 12 + 1:02d}-01"


def _stepwise(outcome: dict[str, Any]) -> Iterator[tuple[int, int]]:
    """Questions answered and questions in all; outcome gets the plan, or the refusal, at the end."""
    try:
        question = _question()
        with reading() as found_in:
            found = season_asked(found_in, request.form.get("producer", ""), question)
        plan = yield from reckoned(found, question)
        paper = season_paper(found, plan, programme=settings().programme, made=now().date())
        with acting("keep a season plan") as (session, act):
            kept = keep_plan(session, found.producer, question, found.rests_on, found.told(plan), paper, act)
            outcome.update(number=kept.id)
        outcome.update(season=found, plan=plan, reasons=reasons(plan, found.left_out, found.assumed))
        outcome.update(pictures=[Markup(months_svg(plan)), Markup(lots_svg(plan))])
        outcome.update(paper=b64encode(paper).decode())
    except TrackerError as refused:
        outcome["refused"] = refused


def _question() -> Question:
    asked = request.form
    return Question(
        first=day(asked.get("first", ""), field="first"),
        months=whole(asked.get("months") or "6", field="months", least=1),
        offers=_offers(),
        waste=number(asked["waste"], field="waste") if asked.get("waste") else None,
        one_lot=asked.get("one_lot") == "yes",
    )


def _offers() -> dict[int, Decimal]:
    """The lots of others that a price was written beside."""
    return {
        whole(name.removeprefix("offer-"), field="offer", least=1): positive(price, field=name)
        for name, price in request.form.items()
        if name.startswith("offer-") and price.strip()
    }


def reckoned(found: Season, question: Question) -> Generator[tuple[int, int], None, SeasonPlan]:
    """Reckon beside the request, so that it can say how far the plan is."""
    steps = SimpleQueue[tuple[int, int] | SeasonPlan | BaseException]()

    def reckon() -> None:
        try:
            steps.put(found.answer(question, progress=lambda *step: steps.put(step)))
        except BaseException as fault:
            # Whatever it is, who waits for the plan must hear of it, or he waits for ever.
            steps.put(fault)

    Thread(target=reckon, daemon=True).start()
    while not isinstance(step := steps.get(), SeasonPlan):
        if isinstance(step, BaseException):
            raise step
        yield step
    return step
