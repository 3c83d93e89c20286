"""A season as two pictures: who eats which lot in which month, and where the tons of each lot go.

Drawn once for page and paper, in one ink; every part has its words, and the greys only repeat them.
"""

from __future__ import annotations

from decimal import Decimal

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import Color, black
from reportlab.pdfbase.pdfmetrics import stringWidth

from tracker.domain.herd import Group
from tracker.domain.season import LotUse, Month, SeasonPlan
from tracker.domain.units import to_places
from tracker.papers.pen import BOLD, MM, PLAIN, printable
from tracker.papers.picture import svg_of

WIDTH_MM = 170.0
NAME_MM, TEXT_PT, SMALL_PT = 32.0, 8.0, 7.0
ROW_PT, BAR_PT, STEP_PT = 26.0, 11.0, 10.0
# Lots that stand side by side differ in tone; so light that words on them are read as on paper.
TONES = tuple(Color(tone, tone, tone) for tone in (0.97, 0.86, 0.92, 0.81))
EATEN, FEEDING, STORING = (Color(tone, tone, tone) for tone in (0.55, 0.75, 0.9))


def months_drawing(plan: SeasonPlan, width_mm: float = WIDTH_MM) -> Drawing:
    """Groups down, months across; each month parted by the lots eaten in it, in proportion to the days."""
    width, left = width_mm * MM, NAME_MM * MM
    each = (width - left) / len(plan.months)
    drawn = Drawing(width, ROW_PT * len(plan.groups) + 2 * STEP_PT)
    for place, month in enumerate(plan.months):
        drawn.add(_words(left + place * each + 2, drawn.height - STEP_PT, _fitting(month, each), bold=True))
    for row, group in enumerate(plan.groups):
        top = drawn.height - 1.6 * STEP_PT - row * ROW_PT
        drawn.add(_words(0, top - ROW_PT * 0.4, _cut(group.name, left - 4, BOLD), bold=True))
        drawn.add(_words(0, top - ROW_PT * 0.4 - STEP_PT, f"{group.head} head", size=SMALL_PT))
        for place, month in enumerate(plan.months):
            _month(drawn, plan, group, month, left + place * each, top, each)
    return drawn


def _month(
    drawn: Drawing, plan: SeasonPlan, group: Group, month: Month, x: float, top: float, each: float
) -> None:
    base, high = top - ROW_PT + 4, ROW_PT - 4
    order = [stack.lot for stack in plan.stacks]
    for one in plan.of(group, month):
        part, lot = each * float(one.share), one.daily.stack.lot
        tone = TONES[order.index(lot) % len(TONES)]
        drawn.add(Rect(x, base, part, high, fillColor=tone, strokeColor=black, strokeWidth=0.6))
        for line, words in enumerate(_beside(lot, part)):
            drawn.add(_words(x + 2, top - 0.85 * STEP_PT - line * 0.9 * STEP_PT, words, size=SMALL_PT))
        x += part
    gone = sum(
        (short.share for short in plan.short if (short.group, short.month) == (group, month)), Decimal(0)
    )
    if gone:
        part = each * float(gone)
        drawn.add(Rect(x, base, part, high, fillColor=None, strokeColor=black, strokeWidth=1.6))
        word = "short" if stringWidth("short", BOLD, SMALL_PT) < part - 3 else "!"
        drawn.add(_words(x + 2, top - 0.85 * STEP_PT, word, size=SMALL_PT, bold=True))


def _beside(lot: int, part: float) -> tuple[str, ...]:
    """What fits into a part so wide: the lot in one line, in two, or its number alone."""
    for said in ((f"lot {lot}",), ("lot", str(lot)), (str(lot),)):
        if all(stringWidth(words, PLAIN, SMALL_PT) < part - 3 for words in said):
            return said
    return ()


def lots_drawing(plan: SeasonPlan, width_mm: float = WIDTH_MM) -> Drawing:
    """A bar for each lot as long as its tons: eaten, lost in feeding, lost in storing, and the frame what is left."""
    width, high = width_mm * MM, BAR_PT + 2 * STEP_PT + 4
    most = max((float(stack.tons) for stack in plan.stacks), default=1.0)
    drawn = Drawing(width, high * len(plan.lots))
    for row, use in enumerate(plan.lots):
        top, scale = drawn.height - row * high, width / most
        base = top - STEP_PT - BAR_PT
        drawn.add(_words(0, top - STEP_PT * 0.8, _named(use), bold=True))
        x = 0.0
        for tons, tone in (
            (use.eaten, EATEN),
            (use.lost_in_feeding, FEEDING),
            (use.lost_in_store, STORING),
        ):
            part = float(tons) * scale
            drawn.add(Rect(x, base, part, BAR_PT, fillColor=tone, strokeColor=None, strokeWidth=0))
            x += part
        whole = float(use.stack.tons) * scale
        drawn.add(Rect(0, base, whole, BAR_PT, fillColor=None, strokeColor=black, strokeWidth=0.8))
        drawn.add(Line(x, base, x, base + BAR_PT, strokeColor=black, strokeWidth=0.8))
        drawn.add(_words(0, base - STEP_PT * 0.8, use_words(use), size=SMALL_PT))
    return drawn


def _named(use: LotUse) -> str:
    return f"lot {use.stack.lot}, {use.stack.name}: {tons_words(use.stack.tons)} tons as baled"


def use_words(use: LotUse) -> str:
    """Where the tons go, in the order of the bar."""
    parts = (
        ("eaten", use.eaten),
        ("lost in feeding", use.lost_in_feeding),
        ("lost in storing", use.lost_in_store),
        ("left", use.left),
    )
    return ", ".join(f"{name} {tons_words(tons)}" for name, tons in parts)


def tons_words(tons: Decimal) -> str:
    """Tons with the digit that a count of bales justifies."""
    return format(to_places(tons, 1), "f")


def months_svg(plan: SeasonPlan) -> str:
    """The first picture as an SVG element for a page."""
    said = "; ".join(
        f"{group.name}: "
        + ", ".join(f"{month.name} {month_words(plan, group, month)}" for month in plan.months)
        for group in plan.groups
    )
    return svg_of(months_drawing(plan), f"Who eats which lot: {said}.")


def month_words(plan: SeasonPlan, group: Group, month: Month) -> str:
    """lot 3; or: lot 3 for 18 days and lot 5 for 12 days; or: short."""
    fed = plan.of(group, month)
    parts = [f"lot {one.daily.stack.lot}" for one in fed]
    gone = sum(
        (short.share for short in plan.short if (short.group, short.month) == (group, month)), Decimal(0)
    )
    if len(fed) > 1 or (fed and gone):
        parts = [f"{said} for {days_words(one.share, month)}" for said, one in zip(parts, fed, strict=True)]
    if gone:
        parts.append(f"short for {days_words(gone, month)}" if fed else "short")
    return " and ".join(parts)


def days_words(share: Decimal, month: Month) -> str:
    """A share of a month as days, in whole ones; less than half a day is said so."""
    days = to_places(share * month.days, 0)
    return f"{days} day{'' if days == 1 else 's'}" if days else "part of a day"


def lots_svg(plan: SeasonPlan) -> str:
    """The second picture as an SVG element for a page."""
    said = "; ".join(f"{_named(use)}: {use_words(use)}" for use in plan.lots)
    return svg_of(lots_drawing(plan), f"Where the hay goes: {said}.")


def _fitting(month: Month, each: float) -> str:
    for words in (month.name, f"{month.first:%b}"):
        if stringWidth(words, BOLD, TEXT_PT) < each - 3:
            return words
    return f"{month.first:%b}"[0]


def _cut(words: str, width: float, font: str) -> str:
    """As much as fits, in whole letters."""
    said = printable(words)
    while said and stringWidth(said, font, TEXT_PT) > width:
        said = said[:-1]
    return said


def _words(x: float, y: float, words: str, *, size: float = TEXT_PT, bold: bool = False) -> String:
    return String(x, y, printable(words), fontName=BOLD if bold else PLAIN, fontSize=size, fillColor=black)
