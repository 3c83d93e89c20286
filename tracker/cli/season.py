"""The command about a whole season: which hay for whom and when."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import command, progress, reading, say, table, writing

if TYPE_CHECKING:
    from decimal import Decimal

    from tracker.domain.season import SeasonPlan
    from tracker.lookups.season_plan import Season


def add(commands: Any) -> None:
    """Add the commands of this room."""
    made = command(
        commands, "season-plan", "plan which hay a producer feeds to whom and when", _season, acts=False
    )
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


def _season(asked: argparse.Namespace) -> None:
    from tracker.domain.season_said import season_dict
    from tracker.domain.times import day
    from tracker.domain.units import number, whole
    from tracker.lookups.season_plan import season_of

    first = day(asked.first, field="first") if asked.first else _next_month()
    waste = None if asked.waste is None else number(asked.waste, field="waste")
    with reading(asked) as session:
        season = season_of(
            session, asked.producer, first, whole(asked.months, field="months", least=1), _offers(asked.offer)
        )
    plan = season.plan(
        waste=waste, one_lot=asked.one_lot, progress=progress(asked, "lots, groups and months:")
    )
    if asked.out:
        _write(asked, season, plan)
    left_out = [{"lot": lot, "why": why} for lot, why in season.left_out]
    say(asked, {**season_dict(plan), "left_out": left_out}, *_lines(season, plan))


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


def _write(asked: argparse.Namespace, season: Season, plan: SeasonPlan) -> None:
    from datetime import UTC, datetime

    from tracker.papers.season_plan import season_plan
    from tracker.settings import read

    with writing(asked.out) as path:
        season_plan(
            path,
            plan,
            producer=season.producer,
            programme=read().programme,
            made=datetime.now(UTC).date(),
            left_out=season.left_out,
            assumed=season.assumed,
            paper=asked.paper,
        )


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
