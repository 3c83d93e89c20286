"""The coring card: what the person at the stack carries, on a phone's width, A5 or half a letter sheet.

It is laid out first and drawn after, so that each page can say how many there are. Black on white, thin rules.
"""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.pdfbase.pdfmetrics import stringWidth

from tracker.domain.coring import SAFETY
from tracker.domain.units import to_places
from tracker.errors import Refused
from tracker.lookups.planned import Planned
from tracker.papers.pen import (
    BODY_PT,
    EDGE_MM,
    MM,
    NAME_MM,
    PLAIN,
    Box,
    Line,
    Progress,
    Sheet,
    Target,
    Text,
    write,
)

PAPERS = {"phone": (90.0, 160.0), "a5": (148.0, 210.0), "half-letter": (139.7, 215.9)}
BOX_MM, STEP_MM, LABEL_MM = 5.0, 7.0, 10.5
TAG_MM = 48.0
TITLE_PT = 14.0
LINE_MM = 7.5


@dataclass(frozen=True)
class Card:
    """What the card says. Texts are printed as given; picks are (bale, cores) in walking order."""

    lot_code: str
    producer: str
    field_name: str
    cutting: str
    forage: str
    bale_shape: str
    bale_count: int
    where: str
    plan_version: int
    seed: int
    probe: str
    depth: str
    entry: str
    picks: tuple[tuple[int, int], ...]
    mass: str
    margins: tuple[str, ...]
    when: str = ""
    mass_advice: str = ""
    fewer_cores_reason: str = ""
    safety: tuple[str, ...] = SAFETY

    @property
    def cores(self) -> int:
        return sum(cores for _, cores in self.picks)


def card_of(found: Planned) -> Card:
    """The card of a lot and its plan."""
    facts, planned = found.facts, found.plan
    low, high = planned.mass_least_g, planned.mass_most_g
    cp, ndf = to_places(found.cp_margin, 1), to_places(found.ndf_margin, 1)
    return Card(
        lot_code=f"lot {found.lot}",
        producer=found.producer,
        field_name=facts.field_name,
        cutting=str(facts.cutting),
        forage=facts.forage_kind,
        bale_shape=facts.bale_shape,
        bale_count=facts.bale_count,
        where=found.where,
        plan_version=planned.version,
        seed=planned.seed,
        probe=f"{planned.probe.name} ({planned.probe.inside_mm} mm inside)",
        depth=f"{planned.depth_mm} mm",
        entry=planned.entry,
        picks=tuple((pick.bale, pick.cores) for pick in planned.picks),
        mass=f"about {planned.mass_g} g fresh ({low} to {high} g)",
        margins=(f"CP ±{cp}, NDF ±{ndf} % of dry matter", "95 of 100 times, the laboratory included"),
        when=planned.when,
        mass_advice=planned.mass_advice,
        fewer_cores_reason=planned.fewer_cores_reason,
    )


def coring_card(file: Target, card: Card, paper: str = "a5", progress: Progress | None = None) -> int:
    """Write the card and return how many pages it has.

    paper: a name in PAPERS; progress is called with (done, total) pages. The same card gives the same bytes.
    Raises Refused `unknown-paper` before anything is written.
    """
    if paper not in PAPERS:
        raise Refused(
            "unknown-paper",
            f"{paper!r} is not a paper for the coring card.",
            field="paper",
            remedy=f"Choose one of: {', '.join(PAPERS)}.",
        )
    sheet = Sheet(*PAPERS[paper])
    for part in (_lot, _how, _safety, _bales, _expect, _end):
        part(sheet, card)
    foot = f"{card.lot_code}, plan {card.plan_version}"
    write(file, sheet, f"Coring card {card.lot_code}", foot, progress)
    return len(sheet.pages)


def _lot(sheet: Sheet, card: Card) -> None:
    sheet.text("Coring card", size=TITLE_PT, bold=True)
    words = f"plan {card.plan_version}, seed {card.seed}"
    x = sheet.right - stringWidth(words, PLAIN, BODY_PT) / MM
    sheet.mark(Text(x, sheet.y - 1.5, words, BODY_PT, False))
    sheet.rule()
    top, narrow = sheet.y, TAG_MM + 3 if sheet.wide else 0
    for name, said in (
        ("Lot", card.lot_code),
        ("Producer", card.producer),
        ("Field", f"{card.field_name}, cutting {card.cutting}"),
        ("Forage", card.forage),
        ("Bales", f"{card.bale_count} {card.bale_shape}"),
    ):
        sheet.pair(name, said, narrow)
    if sheet.wide:
        _tag(sheet, sheet.right - TAG_MM, top + 0.8, TAG_MM, max(sheet.y - top - 0.8, 16.0))
        sheet.y = max(sheet.y, top + 17)
    for name, said in (("Where", card.where), ("When", card.when)):
        sheet.pair(name, said)
    if not sheet.wide:
        sheet.room(15)
        _tag(sheet, EDGE_MM, sheet.y + 2, sheet.inner, 13)
        sheet.y += 15


def _tag(sheet: Sheet, x: float, y: float, width: float, height: float) -> None:
    sheet.mark(Box(x, y, width, height))
    sheet.mark(Text(x + 1.5, y + 3.4, "Tag on the bag: scan, or write its code", 7, False))


def _how(sheet: Sheet, card: Card) -> None:
    picture = 34.0
    sheet.heading(f"{card.cores} cores, from the {card.entry}", 27)
    top = sheet.y
    _picture(sheet, card, sheet.right - picture + 4, top)
    where = "curved side, at mid-width" if card.entry == "side" else "end, centre, between the strings"
    for words in (
        f"Probe {card.probe}, {card.depth} deep, sharp tip.",
        f"Into the {where}; square to the face, never slanted; never the same hole twice.",
        "Take the bale the count falls on, whatever it looks like.",
    ):
        sheet.text(words, narrow=picture)
    sheet.y = max(sheet.y, top + 23.5)
    sheet.text(
        "One bag for all cores. Never divide it: leaf and stem part. Seal it; no heat, no sun.",
        bold=True,
    )
    if card.fewer_cores_reason:
        sheet.text(f"Fewer cores because: {card.fewer_cores_reason}")


def _picture(sheet: Sheet, card: Card, x: float, top: float) -> None:
    """A bale of the lot's shape with the probe going in: 30 mm wide, 22 mm high at most."""
    if card.bale_shape == "round":
        _round_bale(sheet, x, top)
    else:
        _square_bale(sheet, x, top, 13.0 if card.bale_shape == "large square" else 9.0)


def _round_bale(sheet: Sheet, x: float, top: float) -> None:
    # The flat face as an ellipse on the left, the curved side to the right of it.
    middle = top + 11.5
    sheet.mark(Box(x, middle - 8, 7, 16, round=True))
    for y in (middle - 8, middle + 8):
        sheet.mark(Line(x + 3.5, y, x + 21, y))
    sheet.mark(Line(x + 21, middle - 8, x + 21, middle + 8))
    _arrow(sheet, x + 14, top + 0.5, x + 14, middle)
    _label(sheet, "curved side", x + 13, middle + 11)


def _square_bale(sheet: Sheet, x: float, top: float, height: float) -> None:
    base, depth = top + 19, 4.0
    face = base - height
    sheet.mark(Box(x, face, height, height))
    for dx, y in ((0.0, face), (height, face), (height, base)):
        sheet.mark(Line(x + dx, y, x + dx + 14, y - depth))
    sheet.mark(Line(x + 14, face - depth, x + height + 14, face - depth))
    sheet.mark(Line(x + height + 14, face - depth, x + height + 14, base - depth))
    for share in (0.3, 0.7):
        sheet.mark(Line(x + height * share, face, x + height * share, base, 0.25))
        sheet.mark(Line(x + height * share, face, x + height * share + 14, face - depth, 0.25))
    _arrow(sheet, x - 2, base - height / 2 + 2, x + height / 2, base - height / 2)
    _label(sheet, "end", x + height / 2, base + 3.2)


def _arrow(sheet: Sheet, x: float, y: float, to_x: float, to_y: float) -> None:
    sheet.mark(Line(x, y, to_x, to_y, 1.4))
    dx, dy = to_x - x, to_y - y
    length = (dx * dx + dy * dy) ** 0.5
    along, across = (dx / length, dy / length), (-dy / length, dx / length)
    for side in (1, -1):
        barb_x = to_x - 2.4 * along[0] + side * 1.4 * across[0]
        barb_y = to_y - 2.4 * along[1] + side * 1.4 * across[1]
        sheet.mark(Line(to_x, to_y, barb_x, barb_y, 1.4))


def _label(sheet: Sheet, words: str, x: float, y: float) -> None:
    sheet.mark(Text(x - stringWidth(words, PLAIN, 7) / MM / 2, y, words, 7, False))


def _expect(sheet: Sheet, card: Card) -> None:
    sheet.heading("What to expect", 10)
    sheet.pair("In the bag", card.mass)
    if card.mass_advice:
        sheet.text(card.mass_advice, x=EDGE_MM + NAME_MM)
    for number, margin in enumerate(card.margins):
        sheet.pair("Margin" if number == 0 else "", margin)


def _bales(sheet: Sheet, card: Card) -> None:
    most = max(cores for _, cores in card.picks)
    per_row = min(most, int((sheet.inner - LABEL_MM) // STEP_MM))
    width = LABEL_MM + per_row * STEP_MM + 2
    columns = max(1, int((sheet.inner + 2) // width))
    height = -(-most // per_row) * STEP_MM
    sheet.heading(f"{_bales_said(len(card.picks))} in walking order, one tick per core", height)
    for first in range(0, len(card.picks), columns):
        sheet.room(height)
        for column, (bale, cores) in enumerate(card.picks[first : first + columns]):
            _bale(sheet, bale, cores, EDGE_MM + column * width, per_row)
        sheet.y += height


def _bales_said(count: int) -> str:
    return f"{count} bale" if count == 1 else f"{count} bales"


def _bale(sheet: Sheet, bale: int, cores: int, x: float, per_row: int) -> None:
    sheet.mark(Text(x, sheet.y + 4.3, str(bale), 11, True))
    for core in range(cores):
        row, place = divmod(core, per_row)
        sheet.mark(Box(x + LABEL_MM + place * STEP_MM, sheet.y + row * STEP_MM + 0.5, BOX_MM, BOX_MM))


def _safety(sheet: Sheet, card: Card) -> None:
    sheet.heading("Before you climb or core", 12)
    for words in card.safety:
        sheet.text(words)


def _end(sheet: Sheet, card: Card) -> None:
    """What was done otherwise, and who did it: kept on one page."""
    rows: tuple[tuple[str, ...], ...] = (("Cores taken", "Date and time"), ("Sampler", "Signature"))
    if not sheet.wide:
        rows = (("Cores taken",), ("Date and time",), ("Sampler",), ("Signature",))
    sheet.heading("Done otherwise than planned", 3 * (LINE_MM - 0.5) + 1 + len(rows) * LINE_MM)
    for _ in range(3):
        sheet.write_on([""], LINE_MM - 0.5)
    sheet.y += 1
    for names in rows:
        sheet.write_on(names, LINE_MM)
