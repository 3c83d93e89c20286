"""The way drawn: a line of stations with word, time and person under each one reached, for pages and papers alike.

Drawn once, in one ink: a page takes it as SVG in the colour of its own text, a paper as a flowable drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.graphics.shapes import Circle, Drawing, Line, String
from reportlab.lib.colors import black, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from tracker.domain.times import said
from tracker.domain.way import Station
from tracker.papers.pen import BOLD, MM, PLAIN, printable
from tracker.papers.picture import svg_of

HERE = "here now"
PAPER_MM, PHONE_MM = 170.0, 90.0
# Across a page the text is small; down a phone 90 mm fill the screen, and 12 pt are then 16 px or more.
ACROSS_PT, DOWN_PT = 7.5, 12.0
LEADING = 1.25
DOT_PT = 3.0
# Room left free on the right of each text, so that neighbours do not run together.
GAP_PT = 5.0

Letters = Callable[[str], str]


@dataclass(frozen=True)
class _Said:
    words: str
    bold: bool = False


def drawing(stations: Sequence[Station], width_mm: float = PAPER_MM, vertical: bool = False) -> Drawing:
    """The way so wide, as high as its words need; a reportlab Drawing, which is a flowable too.

    Station.by is printed as it stands (a name, not a key); letters that the built-in fonts lack are replaced.
    """
    return _drawn(stations, width_mm, vertical, printable)


def svg(stations: Sequence[Station], vertical: bool = False) -> str:
    """The same drawing as an SVG element that scales to its place and takes the text colour around it.

    It stands in a page as it is: no prolog, no style attributes, no ids; its title says the way in words.
    """
    drawn = _drawn(stations, PHONE_MM if vertical else PAPER_MM, vertical, str)
    return svg_of(drawn, sentence(stations))


def sentence(stations: Sequence[Station]) -> str:
    """The way in words, for those who hear it instead of seeing it."""
    parts = [_station_said(station) for station in stations if station.reached or station.here]
    to_come = [station.name for station in stations if not (station.reached or station.here)]
    if to_come:
        parts.append(f"still to come: {', '.join(to_come)}")
    return f"The way of the sample: {'; '.join(parts)}." if parts else "The way of the sample is not planned."


def _station_said(station: Station) -> str:
    parts = [f"{station.name}, {HERE}" if station.here else station.name]
    if station.word:
        parts.append(station.word)
    if station.at:
        parts.append(said(station.at))
    if station.by:
        parts.append(f"by {station.by}")
    return ", ".join(parts)


def _drawn(stations: Sequence[Station], width_mm: float, vertical: bool, letters: Letters) -> Drawing:
    draw = _down if vertical else _across
    return draw(stations, width_mm * MM, letters)


def _across(stations: Sequence[Station], width: float, letters: Letters) -> Drawing:
    part, step = width / max(len(stations), 1), ACROSS_PT * LEADING
    columns = [_lines(_under(station), ACROSS_PT, part - GAP_PT, letters) for station in stations]
    height = 3 * DOT_PT + step * max(map(len, columns), default=0) + ACROSS_PT * 0.4
    drawn, y = Drawing(width, height), height - DOT_PT - 1
    for number, station in enumerate(stations):
        if number + 1 < len(stations):
            x = number * part + DOT_PT
            drawn.add(_rule(x + DOT_PT, y, x + part - DOT_PT, y, stations[number + 1]))
        drawn.add(_dot(number * part + DOT_PT, y, station))
        for row, line in enumerate(columns[number], start=1):
            drawn.add(_string(number * part, y - DOT_PT - row * step, line, ACROSS_PT))
    return drawn


def _down(stations: Sequence[Station], width: float, letters: Letters) -> Drawing:
    step, left = DOWN_PT * LEADING, 6 * DOT_PT
    blocks = [_lines(_beside(station), DOWN_PT, width - left - GAP_PT, letters) for station in stations]
    heights = [step * (len(block) + 0.5) for block in blocks]
    drawn = Drawing(width, sum(heights) + step * 0.2)
    top, previous = drawn.height, 0.0
    for station, block, high in zip(stations, blocks, heights, strict=True):
        y = top - DOWN_PT * 0.75
        if previous:
            drawn.contents.insert(0, _rule(DOT_PT + 1, previous - DOT_PT, DOT_PT + 1, y + DOT_PT, station))
        drawn.add(_dot(DOT_PT + 1, y, station))
        for row, line in enumerate(block):
            drawn.add(_string(left, top - DOWN_PT - row * step, line, DOWN_PT))
        top, previous = top - high, y
    return drawn


def _under(station: Station) -> list[_Said]:
    """Under a station across the page: a line for each thing, day and time on their own lines."""
    found = [_Said(station.name, bold=True)]
    if station.here:
        found.append(_Said(HERE, bold=True))
    if station.word:
        found.append(_Said(station.word))
    if station.at:
        found += [_Said(_day(station)), _Said(f"{station.at:%H:%M}")]
    if station.by:
        found.append(_Said(station.by))
    return found


def _beside(station: Station) -> list[_Said]:
    """Beside a station down the phone: its name, then the rest as one sentence."""
    name = f"{station.name}: {HERE}" if station.here else station.name
    when = f"{_day(station)}, {station.at:%H:%M}" if station.at else ""
    rest = ", ".join(part for part in (station.word, when, station.by) if part)
    return [_Said(name, bold=True), *([_Said(rest)] if rest else [])]


def _day(station: Station) -> str:
    return f"{station.at.day} {station.at:%b}" if station.at else ""


def _lines(parts: Sequence[_Said], size: float, width: float, letters: Letters) -> list[_Said]:
    return [
        _Said(line, part.bold)
        for part in parts
        for line in _wrapped(letters(part.words), BOLD if part.bold else PLAIN, size, width)
    ]


def _wrapped(words: str, font: str, size: float, width: float) -> list[str]:
    """Lines no wider than width. Letters a page has and the built-in fonts lack are measured by their stand-ins."""

    def fits(text: str) -> bool:
        return float(stringWidth(printable(text), font, size)) <= width

    lines = [""]
    for word in words.split():
        if lines[-1] and fits(f"{lines[-1]} {word}"):
            lines[-1] = f"{lines[-1]} {word}"
            continue
        if lines[-1]:
            lines.append("")
        while not fits(word):
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or fits(word[:n]))
            cut = word.rfind("-", 1, cut) + 1 or cut
            lines[-1:] = [word[:cut], ""]
            word = word[cut:]
        lines[-1] = word
    return lines


def _dot(x: float, y: float, station: Station) -> Circle:
    """Filled where the sample has been; the words below say the same."""
    filled = station.reached or station.here
    return Circle(x, y, DOT_PT, fillColor=black if filled else white, strokeColor=black, strokeWidth=0.6)


def _rule(x: float, y: float, to_x: float, to_y: float, to: Station) -> Line:
    dashes = None if to.reached or to.here else [1.5, 2]
    return Line(x, y, to_x, to_y, strokeColor=black, strokeWidth=0.8, strokeDashArray=dashes)


def _string(x: float, y: float, line: _Said, size: float) -> String:
    font = BOLD if line.bold else PLAIN
    return String(x, y, line.words, fontName=font, fontSize=size, fillColor=black)
