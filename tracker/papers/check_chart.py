"""The control chart of a check sample as SVG: single values in their order, the mean, and 2 and 3 SD on either side.

The lines say in words what they are, and a value outside 3 SD is drawn open, so that grey print loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from html import escape

WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, BOTTOM = 10, 560, 20, 280
# The chart shows at least so many SDs on either side, and as many more as its values need.
LEAST_SDS = Decimal(4)
LINES = ((3, "mean + 3 SD"), (2, "mean + 2 SD"), (0, "mean"), (-2, "mean - 2 SD"), (-3, "mean - 3 SD"))


def chart(title: str, values: Sequence[Decimal], mean: Decimal | None, sigma: Decimal | None) -> str:
    """An SVG element for a page: no prolog, style or ids. Without frozen limits the values stand alone.

    It keeps its size, so that its words can be read on a phone: the page lets it be moved sideways.
    """
    centre, one = _scale(values, mean, sigma)
    reach = max([LEAST_SDS, *(abs(value - centre) / one + Decimal("0.5") for value in values)])
    shapes = []
    if mean is not None and sigma is not None:
        shapes += [_line(place, words, centre + place * one, reach) for place, words in LINES]
    spots = [
        (x_of(number, len(values)), y_of((value - centre) / one, reach))
        for number, value in enumerate(values)
    ]
    if len(spots) > 1:
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)
        shapes.append(f'<polyline points="{path}" fill="none" stroke="currentColor" stroke-width="1"/>')
    limited = sigma is not None
    shapes += [
        _spot(x, y, limited and abs(value - centre) > 3 * one, value)
        for (x, y), value in zip(spots, values, strict=True)
    ]
    said = escape(title, quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}" fill="currentColor" '
        f'font-family="system-ui, Helvetica, Arial, sans-serif">\n'
        f"<title>{said}</title>\n" + "\n".join(shapes) + "\n</svg>"
    )


def x_of(number: int, count: int) -> Decimal:
    """Where the value of this number, from 0, stands across."""
    room = Decimal(RIGHT - LEFT - 20)
    return LEFT + 10 + (room * number / (count - 1) if count > 1 else room / 2)


def y_of(sds: Decimal, reach: Decimal) -> Decimal:
    """Where a value so many SDs from the mean stands down the page; reach: how many SDs the edge is away."""
    middle = Decimal(TOP + BOTTOM) / 2
    return middle - sds / reach * (BOTTOM - TOP) / 2


def _scale(values: Sequence[Decimal], mean: Decimal | None, sigma: Decimal | None) -> tuple[Decimal, Decimal]:
    """What stands in the middle, and what one step is: the frozen limits, or for lack of them the values' own."""
    if mean is not None and sigma is not None:
        return mean, sigma
    if not values:
        return Decimal(0), Decimal(1)
    middle = sum(values, Decimal(0)) / len(values)
    most = max(abs(value - middle) for value in values)
    return middle, most / 3 or Decimal(1)


def _line(place: int, words: str, value: Decimal, reach: Decimal) -> str:
    y = y_of(Decimal(place), reach)
    dashes = "" if place == 0 else f' stroke-dasharray="{"8 4" if abs(place) == 3 else "3 4"}"'
    said = f"{words}: {value.quantize(Decimal('0.001'))}"
    return (
        f'<line x1="{LEFT}" y1="{y:.1f}" x2="{RIGHT}" y2="{y:.1f}" stroke="currentColor" stroke-width="1"{dashes}/>'
        f'<text x="{RIGHT + 6}" y="{y + 4:.1f}" font-size="14">{escape(said)}</text>'
    )


def _spot(x: Decimal, y: Decimal, outside: bool, value: Decimal) -> str:
    drawn = 'r="6" fill="none" stroke="currentColor" stroke-width="2"' if outside else 'r="4"'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" {drawn}><title>{value}</title></circle>'
