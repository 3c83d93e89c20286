"""The season plan on paper: the picture, what each group eats month by month, where the hay goes, what is short."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer

from tracker.domain.season import Feeding, LotUse, SeasonPlan
from tracker.domain.units import to_places
from tracker.lookups.season_plan import Season
from tracker.papers.flow import BODY_PT, TITLE_PT, cell, heading, inner_mm, pairs, ruled, write_flow
from tracker.papers.pen import MM, SMALL_PT, Target
from tracker.papers.season_picture import lots_drawing, months_drawing, tons_words

CAUTIONS = (
    "An estimate, not veterinary or feeding advice; confirm it with your county extension office. What is eaten is "
    "reckoned by the NRC equation: count bales as you feed, and plan again when they go faster.",
    "Change hay and supplement over 7 to 14 days. Body condition every 30 days beats this sheet. Minerals, vitamins "
    "and water are not in it.",
    "Losses are the programme's usual ones and depend on rain, ground and feeder. Weigh bales, look at the stack.",
)


def season_plan(
    file: Target,
    plan: SeasonPlan,
    *,
    producer: str,
    programme: str,
    made: date,
    left_out: Sequence[tuple[int, str]] = (),
    assumed: Sequence[int] = (),
    paper: str = "a4",
) -> int:
    """Write the plan and return how many pages it has. Raises Refused `unknown-paper` before anything is written."""
    inner_mm(paper)
    story: list[Flowable] = [
        cell(programme, bold=True),
        Spacer(0, 3 * MM),
        cell("Season plan of hay", size=TITLE_PT, bold=True),
        Spacer(0, 4 * MM),
        pairs(_head(plan, producer, made), 170, 34),
        KeepTogether([*heading("Who eats which lot", 40), months_drawing(plan)]),
        *_by_group(plan),
        *heading("Where the hay goes", 40),
        lots_drawing(plan),
        *_lots(plan),
        *_short(plan),
        *_not_fed(plan, left_out, assumed),
        *heading("Cautions", 20),
        *(cell(words) for words in CAUTIONS),
    ]
    return write_flow(
        file, story, title=f"Season plan, {producer}", foot=f"Season plan of hay, {producer}", paper=paper
    )


def paper_of(season: Season, plan: SeasonPlan, *, programme: str, made: date, paper: str = "a4") -> bytes:
    """The plan of this season as a PDF. Raises as season_plan."""
    file = BytesIO()
    season_plan(
        file,
        plan,
        producer=season.producer,
        programme=programme,
        made=made,
        left_out=season.left_out,
        assumed=season.assumed,
        paper=paper,
    )
    return file.getvalue()


def _head(plan: SeasonPlan, producer: str, made: date) -> list[tuple[str, Any]]:
    first, last = plan.months[0], plan.months[-1]
    way = "one lot for a group and month" if plan.one_lot else "groups may change lots within a month"
    found = [
        ("For", producer),
        ("Made", f"{made.day} {made:%b %Y}"),
        ("Months", f"{first.name} to {last.name}; {way}"),
        ("Supplement", f"{money(plan.supplement_cost)} in all"),
    ]
    if any(stack.price_ton is not None for stack in plan.stacks):
        found.append(("Hay bought", f"{money(plan.hay_cost)} in all"))
    found.append(("Hay short", f"{tons_words(plan.short_tons)} tons to put out" if plan.short else "none"))
    return found


def money(amount: Decimal) -> str:
    """Whole dollars: a plan knows no cents."""
    return f"$ {to_places(amount, 0):,f}"


def _by_group(plan: SeasonPlan) -> list[Flowable]:
    groups = []
    for group in plan.groups:
        for month in plan.months:
            for one in plan.of(group, month):
                groups.append([_fed(one)])
            groups += [
                [[cell(group.name), cell(month.name), cell("no hay left", bold=True), "", "", ""]]
                for short in plan.short
                if (short.group, short.month) == (group, month)
            ]
    header = ("Group", "Month", "Hay", "Bales", "Beside it, a head and day", "Cost, $")
    note = (
        "Bales are those taken from the stack, losses included. Cost is that of the supplement in the month."
    )
    return [
        *heading("Month by month", 40),
        cell(note, size=SMALL_PT),
        ruled(header, groups, (32, 19, 54, 14, 35, 16), right=(3, 5)),
    ]


def _fed(one: Feeding) -> list[Any]:
    daily = one.daily
    days = "" if one.share == 1 else f", {to_places(one.share * daily.month.days, 0)} days"
    return [
        cell(daily.group.name),
        cell(daily.month.name),
        cell(f"lot {daily.stack.lot}, {daily.stack.name}{days}"),
        format(to_places(one.bales, 0), "f"),
        cell(beside(one)),
        format(to_places(one.supplement_cost, 0), ",f"),
    ]


def beside(one: Feeding) -> str:
    """The supplement as fed, or that there is none."""
    mix = one.daily.mix
    if mix is None or not mix.parts:
        return "nothing"
    return " and ".join(f"{to_places(part.as_fed_lb, 1)} lb {part.feed.name}" for part in mix.parts)


def _lots(plan: SeasonPlan) -> list[Flowable]:
    header = (
        "Lot",
        "Baled, tons",
        "Eaten",
        "Lost in feeding",
        "Lost in storing",
        "Left",
        "One more ton saves",
    )
    rows = [[_use(use)] for use in plan.lots]
    note = (
        "Tons are short tons as baled. What is left is not lost yet. One more ton saves that much supplement "
        "or bought hay; nothing where hay is left over."
    )
    return [
        Spacer(0, 2 * MM),
        ruled(header, rows, (46, 20, 16, 22, 22, 16, 28), right=(1, 2, 3, 4, 5, 6)),
        cell(note, size=SMALL_PT),
    ]


def _use(use: LotUse) -> list[Any]:
    amounts = (use.stack.tons, use.eaten, use.lost_in_feeding, use.lost_in_store, use.left)
    return [
        cell(f"lot {use.stack.lot}, {use.stack.name}{bought(use)}"),
        *(tons_words(tons) for tons in amounts),
        worth(use),
    ]


def bought(use: LotUse) -> str:
    """That a lot is another's, with its price."""
    price = use.stack.price_ton
    return "" if price is None else f" (offered at $ {price} a ton)"


def worth(use: LotUse) -> str:
    """What one more ton would do: money saved, or hay no longer short; a dash where the plan has no price for it."""
    if use.worth is None or use.worth_short is None:
        return "–"
    if use.worth_short > Decimal("0.005"):
        return f"{to_places(use.worth_short, 2)} tons less short"
    return f"$ {to_places(use.worth, 2)}"


def _short(plan: SeasonPlan) -> list[Flowable]:
    if not plan.short:
        return []
    rows = [
        [
            [
                cell(short.group.name),
                cell(short.month.name),
                format(to_places(short.share * short.month.days, 0), "f"),
                tons_words(short.tons),
            ]
        ]
        for short in plan.short
    ]
    return [
        *heading("Hay that is short", 30),
        cell("Buy it, or have fewer animals, before it is dear."),
        ruled(("Group", "Month", "Days", "Tons to put out"), rows, (50, 30, 20, 30), right=(2, 3)),
    ]


def _not_fed(plan: SeasonPlan, left_out: Sequence[tuple[int, str]], assumed: Sequence[int]) -> list[Flowable]:
    words = reasons(plan, left_out, assumed)
    if not words:
        return []
    return [*heading("What is not in the plan, and why", 20), *(cell(one, size=BODY_PT) for one in words)]


def reasons(
    plan: SeasonPlan, left_out: Sequence[tuple[int, str]] = (), assumed: Sequence[int] = ()
) -> list[str]:
    """What is not fed to whom and why, lots that are left out, and what was assumed, a sentence each."""
    said: dict[tuple[int, str, str], list[str]] = {}
    for one in plan.barred:
        said.setdefault((one.stack.lot, one.group.name, one.why_not), []).append(one.month.name)
    words = [
        f"Lot {lot} is not for {group}{'' if len(months) == len(plan.months) else ' in ' + ', '.join(months)}: {why}"
        for (lot, group, why), months in said.items()
    ]
    words += [f"Lot {lot} is left out: {why}" for lot, why in left_out]
    if assumed:
        lots = ", ".join(str(lot) for lot in assumed)
        words.append(f"No bale was weighed of lot {lots}: the usual bale of its shape is taken.")
    return words
