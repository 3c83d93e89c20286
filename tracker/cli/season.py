"""Commands about a whole season: which hay for whom and when, and the plans that were made."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, integer, progress, reading, say, table, writing

if TYPE_CHECKING:
    from decimal import Decimal

    from tracker.domain.season import SeasonPlan
    from tracker.domain.season_kept import Change, Question
    from tracker.lookups.kept_plans import KeptSeason
    from tracker.lookups.season_plan import Season


def add(commands: Any) -> None:
    """Add the commands of this room."""
    made = command(commands, "season-plan", "plan which hay a producer feeds to whom and when", _season)
    made.add_argument("producer")
    made.add_argument(
        "--first", metavar="DATE", help="the first day of the plan; else the next month's first"
    )
    made.add_argument("--months", default="6", metavar="COUNT", help="1 to 12 (default %(default)s)")
    made.add_argument(
        "--offer", action="append", default=[], metavar="LOT=PRICE", help="another's lot, $ a ton as baled"
    )
    made.add_argument("--one-lot", action="store_true", help="one lot for a group and month")
    made.add_argument("--waste", metavar="PERCENT", help="share not eaten; else the programme's usual")
    made.add_argument("--out", metavar="FILE", help="write it as a PDF too")
    made.add_argument("--paper", default="a4", help="a4 or letter (default %(default)s)")
    listed = command(commands, "season-plans", "list the season plans that were made", _plans, acts=False)
    listed.add_argument("producer", nargs="?", help="else of every producer")
    again = command(commands, "kept-plan", "open a season plan as it was made", _kept, acts=False)
    again.add_argument("number", type=integer)
    again.add_argument("--today", action="store_true", help="hold it against what would be planned today")
    again.add_argument("--out", metavar="FILE", help="write its paper, a PDF, as it was made")


def _season(asked: argparse.Namespace) -> None:
    from datetime import UTC, datetime

    from tracker.lookups.season_plan import season_asked
    from tracker.papers.season_plan import season_paper
    from tracker.settings import read
    from tracker.steps.keep_plan import keep_plan

    question = _question(asked)
    with reading(asked) as session:
        season = season_asked(session, asked.producer, question)
    plan = season.answer(question, progress=progress(asked, "lots, groups and months:"))
    paper = season_paper(
        season, plan, programme=read().programme, made=datetime.now(UTC).date(), paper=asked.paper
    )
    with acting(asked) as (session, act):
        kept = keep_plan(
            session, season.producer, question, season.rests_on, season.told(plan), paper, act
        ).id
    if asked.out:
        with writing(asked.out) as path:
            path.write_bytes(paper)
    told = {"kept_plan": kept, **season.told(plan)}
    say(asked, told, *_lines(season, plan), f"Kept as plan {kept}.")


def _question(asked: argparse.Namespace) -> Question:
    from tracker.domain.season_kept import Question
    from tracker.domain.times import day
    from tracker.domain.units import number, whole

    return Question(
        first=day(asked.first, field="first") if asked.first else _next_month(),
        months=whole(asked.months, field="months", least=1),
        offers=_offers(asked.offer),
        waste=None if asked.waste is None else number(asked.waste, field="waste"),
        one_lot=asked.one_lot,
    )


def _plans(asked: argparse.Namespace) -> None:
    from tracker.lookups.kept_plans import kept_plans

    with reading(asked) as session:
        found = kept_plans(session, asked.producer)
    rows = [
        (
            line.number,
            line.producer,
            line.question.first if line.question else "erased",
            line.question.months if line.question else "",
            line.at.astimezone().isoformat(timespec="minutes"),
            line.by,
        )
        for line in found
    ]
    say(asked, list(found), *table(("plan", "for", "first day", "months", "made", "by"), rows))


def _kept(asked: argparse.Namespace) -> None:
    from tracker.lookups.kept_plans import kept_plan
    from tracker.papers.season_plan import CAUTIONS

    with reading(asked) as session:
        kept = kept_plan(session, asked.number)
    if asked.out:
        with writing(asked.out) as path:
            path.write_bytes(kept.paper)
    inputs, outcome = _since(asked, kept) if asked.today else ((), ())
    values = {
        **vars(kept.line),
        "rests_on": kept.rests_on,
        "told": kept.told,
        "changed_inputs": inputs,
        "changed_outcome": outcome,
    }
    told, line = kept.told, kept.line
    fed = [(one["group"], one["month"], one["lot"], one["share"], one["bales"]) for one in told["fed"]]
    say(
        asked,
        values,
        f"Plan {line.number} for {line.producer}, made {line.at.astimezone():%Y-%m-%d %H:%M} by {line.by}.",
        *table(("group", "month", "lot", "share of the month", "bales"), fed),
        f"Supplement $ {told['supplement_cost']}, hay bought $ {told['hay_cost']}, "
        f"{told['short_tons']} short tons short.",
        *([] if not asked.today else _changes(inputs, outcome)),
        *CAUTIONS,
    )


def _since(asked: argparse.Namespace, kept: KeptSeason) -> tuple[tuple[Change, ...], tuple[Change, ...]]:
    """What it rests on that is otherwise today, and what comes of that."""
    from tracker.domain.season_kept import changed_inputs, changed_outcome
    from tracker.lookups.season_plan import season_asked

    with reading(asked) as session:
        season = season_asked(session, kept.line.producer, kept.question)
    plan = season.answer(kept.question, progress=progress(asked, "lots, groups and months:"))
    return changed_inputs(kept.rests_on, season.rests_on), changed_outcome(kept.told, season.told(plan))


def _changes(inputs: tuple[Change, ...], outcome: tuple[Change, ...]) -> list[str]:
    if not inputs and not outcome:
        return ["Today the same plan comes of the same values."]
    rows = [(one.what, one.before or "-", one.now or "-") for one in (*inputs, *outcome)]
    return [*table(("what differs", "then", "today"), rows), "What was fed since is not taken off."]


def _next_month() -> Any:
    from datetime import UTC, date, datetime

    today = datetime.now(UTC).date()
    return date(today.year + today.month // 12, today.month % 12 + 1, 1)


def _offers(texts: list[str]) -> dict[int, Decimal]:
    from tracker.domain.units import positive, whole
    from tracker.errors import Refused

    found: dict[int, Decimal] = {}
    for text in texts:
        lot, equals, price = text.partition("=")
        if not equals:
            raise Refused(
                "offer-not-understood",
                f"{text!r} is no lot with a price.",
                field="offer",
                remedy="Write the lot's number and $ a ton as baled: --offer 12=95.",
            )
        found[whole(lot.strip(), field="offer", least=1)] = positive(price, field="offer")
    return found


def _lines(season: Season, plan: SeasonPlan) -> list[str]:
    from tracker.papers.season_picture import month_words, tons_words
    from tracker.papers.season_plan import CAUTIONS, money, reasons, worth

    header = ("group", *(month.name for month in plan.months))
    rows = [
        (group.name, *(month_words(plan, group, month) for month in plan.months)) for group in plan.groups
    ]
    names = (
        "lot",
        "baled, tons",
        "eaten",
        "lost in feeding",
        "lost in storing",
        "left",
        "one more ton saves",
    )
    uses = [
        (
            use.stack.lot,
            *map(tons_words, (use.stack.tons, use.eaten, use.lost_in_feeding, use.lost_in_store, use.left)),
            worth(use),
        )
        for use in plan.lots
    ]
    bought = f", hay bought {money(plan.hay_cost)}" if plan.hay_cost else ""
    short = f"{tons_words(plan.short_tons)} tons are short." if plan.short else "No hay is short."
    return [
        *table(header, rows),
        *table(names, uses),
        f"Supplement {money(plan.supplement_cost)} in all{bought}. {short}",
        *reasons(plan, season.left_out, season.assumed),
        *CAUTIONS,
    ]
