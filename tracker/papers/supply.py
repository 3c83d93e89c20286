"""Supply against need as a picture: one bar for what the hay gives, a line for what the animal needs, words for both.

Drawn once, for the page and for the paper, in one ink; the words alone say all of it too.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import Color, black

from tracker.domain.plain_advice import Bar
from tracker.papers.pen import BOLD, MM, PLAIN, printable
from tracker.papers.picture import svg_of

WIDTH_MM, PHONE_MM = 120.0, 90.0
TEXT_PT, LEADING, BAR_PT, GAP_PT = 11.0, 1.3, 14.0, 12.0
GREY = Color(0.55, 0.55, 0.55)
# The longest bar or line reaches this far, so that no word at its end is cut.
REACH = 0.92


def drawing(bars: Sequence[Bar], width_mm: float = WIDTH_MM) -> Drawing:
    """The bars one under the other; a flowable too. The dark bar is sure by the margin, the frame may be more."""
    width, step = width_mm * MM, TEXT_PT * LEADING
    high = 2 * step + BAR_PT + GAP_PT + 6
    drawn = Drawing(width, max(high * len(bars), 1))
    for row, bar in enumerate(bars):
        top = drawn.height - row * high
        _put(drawn, bar, top, width)
    return drawn


def _put(drawn: Drawing, bar: Bar, top: float, width: float) -> None:
    step = TEXT_PT * LEADING
    need, low, gives, high = (float(Decimal(text)) for text in (bar.need, bar.low, bar.gives, bar.high))
    scale = width * REACH / max(need, high, 0.001)
    base = top - step - BAR_PT - 6
    drawn.add(_string(0, top - TEXT_PT, f"{bar.name}, {bar.unit}", bold=True))
    drawn.add(Rect(0, base, low * scale, BAR_PT, fillColor=GREY, strokeColor=None, strokeWidth=0))
    drawn.add(Rect(0, base, high * scale, BAR_PT, fillColor=None, strokeColor=black, strokeWidth=0.8))
    drawn.add(Line(gives * scale, base, gives * scale, base + BAR_PT, strokeColor=black, strokeWidth=2.4))
    at = need * scale
    dashes = [3, 2]
    drawn.add(
        Line(at, base - 4, at, base + BAR_PT + 4, strokeColor=black, strokeWidth=1.6, strokeDashArray=dashes)
    )
    drawn.add(_string(0, base - step, f"hay gives {bar.gives} ({bar.low} to {bar.high}), need {bar.need}"))


def _string(x: float, y: float, words: str, *, bold: bool = False) -> String:
    font = BOLD if bold else PLAIN
    return String(x, y, printable(words), fontName=font, fontSize=TEXT_PT, fillColor=black)


def svg(bars: Sequence[Bar]) -> str:
    """The same drawing as an SVG element for a page."""
    return svg_of(drawing(bars, PHONE_MM), in_words(bars))


def in_words(bars: Sequence[Bar]) -> str:
    """The picture for those who hear it."""
    return " ".join(bar.words for bar in bars)
