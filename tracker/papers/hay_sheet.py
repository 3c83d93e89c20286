"""One page to take along: which hay, whether it carries these animals, what to add, the figures, whom to call.

Black on white and complete in grey; it fits one page of A4 and of letter. What the report says at length stays there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from reportlab.platypus import Flowable, Spacer

from tracker.domain.plain_advice import PlainAdvice
from tracker.papers.flow import DASH, TITLE_PT, cell, heading, pairs, ruled, write_flow
from tracker.papers.pen import MM, SMALL_PT, Target
from tracker.papers.supply import drawing

VERDICT_PT, ADD_PT = 13.0, 11.0
# So many figures and feeds leave room for the rest on the page; the report has them all.
MOST_NUMBERS, MOST_FEEDS = 9, 4
PICTURE_MM = 90.0


class Shown(Protocol):
    """What the sheet needs of a lot (lookups.hay_page.HayPage)."""

    @property
    def lot(self) -> int: ...
    @property
    def title(self) -> str: ...
    @property
    def producer(self) -> str: ...
    @property
    def forage(self) -> str: ...
    @property
    def bales(self) -> str: ...
    @property
    def harvested(self) -> Any: ...
    @property
    def report(self) -> Any: ...
    @property
    def numbers(self) -> Sequence[Any]: ...
    @property
    def cautions(self) -> Sequence[str]: ...


def hay_sheet(file: Target, hay: Shown, advice: PlainAdvice | None, programme: str, phone: str) -> int:
    """Write the page and return how many there are: 1. The same hay and advice give the same bytes."""
    foot = f"{programme}, {phone}" if phone else programme
    story: list[Flowable] = [
        cell(programme),
        Spacer(0, 2 * MM),
        cell(f"Your hay: {hay.title}", size=TITLE_PT, bold=True),
        Spacer(0, 2 * MM),
        pairs(_which(hay), 170),
        *(_advice(advice) if advice else []),
        *(_feeds(advice) if advice else []),
        *_numbers(hay),
        Spacer(0, 3 * MM),
        cell(f"Questions? Call {phone or programme}.", size=ADD_PT, bold=True),
        cell(
            "This is an estimate, and no veterinary advice. What you see on your animals counts for more. "
            "Weeds that poison, ergot and fescue toxin are not in this test.",
            size=SMALL_PT,
        ),
    ]
    return write_flow(file, story, title=f"Hay of lot {hay.lot}", foot=foot)


def _which(hay: Shown) -> list[tuple[str, Any]]:
    cut = f"{hay.harvested:%B} {hay.harvested.day}, {hay.harvested.year}"
    return [
        ("Lot", f"{hay.lot}, {hay.producer}"),
        ("Hay", f"{hay.bales} of {hay.forage}, cut {cut}"),
        ("Report", hay.report.number if hay.report is not None else DASH),
    ]


def _advice(advice: PlainAdvice) -> list[Flowable]:
    said = [*advice.sure, *advice.mind, *advice.beside, advice.eaten]
    return [
        *heading(f"For {advice.animals}", 30),
        cell(advice.sentence, size=VERDICT_PT, bold=True),
        Spacer(0, 1 * MM),
        cell(" ".join(advice.add), size=ADD_PT),
        Spacer(0, 2 * MM),
        drawing(advice.bars, PICTURE_MM),
        cell(
            "Gray is sure. The frame shows what may be. The thick line is our best guess, the dashed one the need.",
            size=SMALL_PT,
        ),
        Spacer(0, 1 * MM),
        *(cell(words) for words in said),
    ]


def _feeds(advice: PlainAdvice) -> list[Flowable]:
    safe = [feed for feed in advice.feeds if feed.safe and feed.amount][:MOST_FEEDS]
    if not safe:
        return []
    rows = [
        [
            [
                feed.name,
                feed.amount,
                DASH if feed.low == feed.high else f"{feed.low} to {feed.high}",
                feed.cost or DASH,
            ]
        ]
        for feed in safe
    ]
    header = ("Feed by itself, as fed", "lb a head each day", "it may be", "$ a head each day")
    return [
        *heading("Feeds that can close the gap", 20),
        ruled(header, rows, (70, 35, 35, 30), right=(1, 2, 3)),
    ]


def _numbers(hay: Shown) -> list[Flowable]:
    groups = []
    for one in [one for one in hay.numbers if one.cautions or one.value][:MOST_NUMBERS]:
        value = f"{one.value} ± {one.margin}" if one.margin else one.value
        unit = f"{one.unit} {one.basis}".strip() + ("" if one.measured else ", worked out")
        under = [[cell(words, lead="Caution:")] for words in one.cautions]
        groups.append([[one.name, value, unit], *under])
    said: list[Flowable] = [cell(words, lead="Caution:") for words in hay.cautions]
    if not groups:
        return said
    header = ("What is in the hay", "Value", "Unit")
    return [*heading("Numbers", 20), *said, ruled(header, groups, (70, 35, 65), right=(1,))]
