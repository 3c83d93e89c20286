"""Where everything lies on one label, in mm from the label's top left corner; nothing is drawn here.

A layout takes the largest modules with which everything fits, and is refused when the smallest do not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

from reportlab.pdfbase.pdfmetrics import stringWidth

from labels.errors import LabelError
from labels.payload import shown
from labels.qr import Modules, dots_per_mm, fewest_dots, module_mm, modules, side_mm
from labels.sheet import EDGE_MM, ROTATIONS, frame
from labels.stock import PRESETS, Stock

POINTS = 72 / 25.4
# Height of Helvetica's capitals in units of its size (Adobe font metrics).
CAPS = 0.718
THIN_PT = 0.6
# A code must be read at arm's length in a barn: capitals of 4 mm, which is 15.8 pt.
CODE_CAPS_MM = 4.0
LARGEST_MODULE_MM = 0.75
SMALLEST_TEXT_PT = 5.0
# Narrower letters than this fraction of their normal width are hard to tell apart.
NARROWEST = 0.75
# The widest code, eight Ws, set at 4 mm capitals and the narrowest letters.
CODE_ROOM_MM = 33.0
WRITE_ON = ("Field", "Date", "Initials")
WEIGHTS = ("Tare g", "Fresh g", "Dry g")


@dataclass(frozen=True)
class Tag:
    """A two-part tag: the bag's part and the producer's stub, each with its own address.

    roll_no is what people count by, such as "7-014"; it is not part of the code.
    """

    code: str
    bag_url: str
    stub_url: str
    programme: str
    phone: str
    roll_no: str = ""


@dataclass(frozen=True)
class SackLabel:
    """A label for the sack that is weighed and dried: code, address, and further lines of text."""

    code: str
    url: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Box:
    """A rectangle in mm, y downwards."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        return self.x + self.w

    @property
    def bottom(self) -> float:
        return self.y + self.h


@dataclass(frozen=True)
class Symbol:
    """A QR symbol: the box includes the quiet zone."""

    box: Box
    grid: Modules
    module: float
    text: str


@dataclass(frozen=True)
class Text:
    """One line of text, its capitals centred in the height of its box; narrow 1 is the usual width of letters.

    width, mm, is that of the line as it is set.
    """

    box: Box
    words: str
    size: float
    width: float
    bold: bool = False
    align: str = "left"
    narrow: float = 1.0


@dataclass
class Marks:
    """Everything on one label. boxes are drawn as outlines; rules are thin lines; tear is the dashed line."""

    symbols: list[Symbol] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    rules: list[Box] = field(default_factory=list)
    tear: Box | None = None


class _NoRoom(Exception):
    """This module size does not fit; a smaller one may."""


Arrange = Callable[[float, float, float, int], Marks]


def tag_marks(stock: Stock, rotation: int, tag: Tag, dots: int | None = None) -> Marks:
    """The marks of a tag.

    Raises LabelError `label-too-small`, `module-dots`, `text-too-long` or `text-characters`.
    """
    bag, stub = modules(tag.bag_url), modules(tag.stub_url)

    def arrange(w: float, h: float, module: float, dpi: int) -> Marks:
        return _arrange_tag(
            Box(EDGE_MM, EDGE_MM, w - 2 * EDGE_MM, h - 2 * EDGE_MM), tag, bag, stub, module, dpi
        )

    return _largest(stock, rotation, dots, arrange, "tag")


def sack_marks(stock: Stock, rotation: int, label: SackLabel, dots: int | None = None) -> Marks:
    """The marks of a sack label. Raises LabelError as tag_marks does."""
    grid = modules(label.url)

    def arrange(w: float, h: float, module: float, dpi: int) -> Marks:
        return _arrange_sack(
            Box(EDGE_MM, EDGE_MM, w - 2 * EDGE_MM, h - 2 * EDGE_MM), label, grid, module, dpi
        )

    return _largest(stock, rotation, dots, arrange, "sack label")


def _largest(stock: Stock, rotation: int, dots: int | None, arrange: Arrange, what: str) -> Marks:
    w, h = frame(stock, rotation)
    for number in _tries(stock.dpi, dots):
        try:
            return arrange(w, h, module_mm(stock.dpi, number), stock.dpi)
        except _NoRoom:
            continue
    raise LabelError(
        "label-too-small",
        f"A {what} does not fit a label of {w:g} x {h:g} mm ({stock.name}).",
        remedy=_what_fits(dots if dots and dots > fewest_dots(stock.dpi) else None, stock.dpi, arrange),
        field="stock",
    )


def _tries(dpi: int, dots: int | None) -> Iterator[int]:
    fewest, most = fewest_dots(dpi), int(LARGEST_MODULE_MM * dots_per_mm(dpi))
    if dots is None:
        return iter(range(most, fewest - 1, -1))
    if not fewest <= dots <= 4 * most:
        raise LabelError(
            "module-dots",
            f"Modules of {dots} dots at {dpi} dpi measure {module_mm(dpi, dots):.2f} mm.",
            remedy=f"Use {fewest} dots or more; {fewest} to {most} suit most labels.",
            field="dots",
        )
    return iter((dots,))


def _what_fits(dots: int | None, dpi: int, arrange: Arrange) -> str:
    names = []
    for stock in PRESETS.values():
        number = dots if dots and stock.dpi == dpi else fewest_dots(stock.dpi)
        if any(_fits(stock, rotation, number, arrange) for rotation in ROTATIONS[:2]):
            names.append(stock.name)
    return f"These fit: {', '.join(names)}." if names else "Use a larger label or a shorter web address."


def _fits(stock: Stock, rotation: int, dots: int, arrange: Arrange) -> bool:
    try:
        arrange(*frame(stock, rotation), module_mm(stock.dpi, dots), stock.dpi)
    except (_NoRoom, LabelError):
        return False
    return True


def _arrange_tag(inside: Box, tag: Tag, bag: Modules, stub: Modules, module: float, dpi: int) -> Marks:
    marks = Marks()
    stub_side = side_mm(stub.side, module)
    if inside.w >= inside.h:
        width = max(stub_side, 24)
        stub_box = Box(inside.right - width, inside.y, width, inside.h)
        bag_box = Box(inside.x, inside.y, inside.w - width - 2, inside.h)
        marks.tear = Box(bag_box.right + 1, inside.y, 0, inside.h)
        _stub_below(marks, stub_box, tag, stub, module, dpi)
    else:
        height = max(stub_side, 22)
        stub_box = Box(inside.x, inside.bottom - height, inside.w, height)
        bag_box = Box(inside.x, inside.y, inside.w, inside.h - height - 2)
        marks.tear = Box(inside.x, bag_box.bottom + 1, inside.w, 0)
        _stub_beside(marks, stub_box, tag, stub, module, dpi)
    _bag(marks, bag_box, tag, bag, module, dpi)
    return marks


def _bag(marks: Marks, box: Box, tag: Tag, grid: Modules, module: float, dpi: int) -> None:
    """Code above, a symbol at either side, the write-on box between or below them, programme at the foot."""
    side, head, foot = side_mm(grid.side, module), min(10.0, max(6.5, box.h / 8)), 6.4
    middle = Box(box.x, box.y + head, box.w, box.h - head - foot)
    below = middle.h - side - 1
    between = box.w - 2 * side
    if box.w < CODE_ROOM_MM + 9 or middle.h < max(side, 15) or between < (1 if below >= 16 else 22):
        raise _NoRoom
    marks.texts.append(_line(Box(box.x, box.y, 8, head), "BAG", 9, bold=True))
    marks.texts.append(_code(Box(box.x + 9, box.y, box.w - 9, head), shown(tag.code), align="right"))
    for x in (middle.x, middle.right - side):
        marks.symbols.append(_symbol(x, middle.y, grid, tag.bag_url, module, dpi))
    if below >= 16:
        _write_on(marks, Box(box.x, middle.y + side + 0.5, box.w, below))
    else:
        _write_on(marks, Box(box.x + side + 0.5, middle.y + 0.5, between - 1, middle.h - 1))
    _bag_foot(marks, Box(box.x, box.bottom - foot, box.w, foot), tag)


def _bag_foot(marks: Marks, box: Box, tag: Tag) -> None:
    half = box.h / 2
    marks.texts.append(
        _line(Box(box.x, box.y, box.w, half), f"{tag.programme}  {tag.phone}".strip(), 7.5, bold=True)
    )
    number = f"No. {tag.roll_no}" if tag.roll_no else ""
    room = _width(number, 6.5) + 1 if number else 0.0
    marks.texts.append(_line(Box(box.x, box.y + half, box.w - room, half), tag.bag_url, 6.5))
    if number:
        marks.texts.append(_line(Box(box.right - room, box.y + half, room, half), number, 6.5, align="right"))


def _write_on(marks: Marks, box: Box) -> None:
    marks.boxes.append(box)
    step = box.h / len(WRITE_ON)
    for place, words in enumerate(WRITE_ON):
        y = box.y + place * step
        marks.texts.append(_line(Box(box.x + 0.7, y + 0.3, box.w - 1.4, 2.6), words, 5.5))
        if place:
            marks.rules.append(Box(box.x, y, box.w, 0))


def _stub_below(marks: Marks, box: Box, tag: Tag, grid: Modules, module: float, dpi: int) -> None:
    """The stub as a column: words above the symbol, the rest of the text below it."""
    side = side_mm(grid.side, module)
    if side + 20 > box.h:
        raise _NoRoom
    marks.texts.append(_line(Box(box.x, box.y, box.w, 3.4), "PRODUCER COPY", 7, bold=True, align="centre"))
    marks.symbols.append(_symbol(box.x + (box.w - side) / 2, box.y + 3.4, grid, tag.stub_url, module, dpi))
    _stub_words(marks, Box(box.x, box.y + 3.4 + side, box.w, box.h - 3.4 - side), tag, "centre")


def _stub_beside(marks: Marks, box: Box, tag: Tag, grid: Modules, module: float, dpi: int) -> None:
    """The stub as a row: symbol at the left, all text beside it."""
    side = side_mm(grid.side, module)
    if box.w - side < 26:
        raise _NoRoom
    marks.symbols.append(_symbol(box.x, box.y, grid, tag.stub_url, module, dpi))
    column = Box(box.x + side + 1, box.y, box.w - side - 1, box.h)
    marks.texts.append(_line(Box(column.x, column.y, column.w, 4), "PRODUCER COPY", 8, bold=True))
    _stub_words(marks, Box(column.x, column.y + 4, column.w, column.h - 4), tag, "left")


def _stub_words(marks: Marks, box: Box, tag: Tag, align: str) -> None:
    """Which bag (the last four characters of its code), whose programme, whom to call."""
    marks.texts.append(_line(Box(box.x, box.y, box.w, 2.8), "of the bag ending", 7, align=align))
    marks.texts.append(_code(Box(box.x, box.y + 2.8, box.w, 5.6), f"…{tag.code[-4:]}", align=align))
    lines = [*_wrapped(tag.programme, box.w, 7), tag.phone]
    step = min(3.4, (box.h - 8.4) / len(lines))
    for place, words in enumerate(lines):
        marks.texts.append(_line(Box(box.x, box.y + 8.4 + place * step, box.w, step), words, 7, align=align))


def _arrange_sack(inside: Box, label: SackLabel, grid: Modules, module: float, dpi: int) -> Marks:
    """Symbol at the left, code and lines beside it, boxes for the weights below them or below everything."""
    marks, side = Marks(), side_mm(grid.side, module)
    beside, below = inside.w - side, inside.h - side
    if beside < CODE_ROOM_MM or below < 0:
        raise _NoRoom
    text_h = 6.0 + 2.4 * len(label.lines)
    if below >= 9 and max(side, text_h) + 9 <= inside.h:
        weights_h = min(inside.h - max(side, text_h), 16)
        weights = Box(inside.x, inside.bottom - weights_h, inside.w, weights_h)
    elif inside.h - text_h >= 9 and beside >= 3 * 14:
        weights_h = min(inside.h - text_h, 16)
        weights = Box(inside.x + side + 0.5, inside.bottom - weights_h, beside - 0.5, weights_h)
    else:
        raise _NoRoom
    marks.symbols.append(_symbol(inside.x, inside.y, grid, label.url, module, dpi))
    column = Box(inside.x + side, inside.y, beside, weights.y - inside.y)
    _sack_words(marks, column, label)
    _weights(marks, weights)
    return marks


def _sack_words(marks: Marks, box: Box, label: SackLabel) -> None:
    head = min(9.0, box.h - 2.4 * len(label.lines))
    code = shown(label.code) if len(label.code) == 8 else label.code
    marks.texts.append(_code(Box(box.x, box.y, box.w, head), code))
    step = min(3.6, (box.h - head) / max(1, len(label.lines)))
    for place, words in enumerate(label.lines):
        marks.texts.append(_line(Box(box.x, box.y + head + place * step, box.w, step), words, 8))


def _weights(marks: Marks, box: Box) -> None:
    width = box.w / len(WEIGHTS)
    for place, words in enumerate(WEIGHTS):
        cell = Box(box.x + place * width, box.y + 0.5, width, box.h - 0.5)
        marks.boxes.append(cell)
        marks.texts.append(_line(Box(cell.x + 0.7, cell.y + 0.3, cell.w - 1.4, 2.8), words, 6))


def _symbol(x: float, y: float, grid: Modules, text: str, module: float, dpi: int) -> Symbol:
    """A symbol moved to the nearest whole printer dot, so that the modules stay whole on a roll printer."""
    dot, side = dots_per_mm(dpi), side_mm(grid.side, module)
    return Symbol(Box(round(x * dot) / dot, round(y * dot) / dot, side, side), grid, module, text)


def _width(words: str, size: float, bold: bool = False) -> float:
    return _of_one_point(words, bold) * size


@lru_cache(maxsize=256)
def _of_one_point(words: str, bold: bool) -> float:
    """The width, mm, in letters of one point: most words are the same on all labels."""
    return float(stringWidth(words, "Helvetica-Bold" if bold else "Helvetica", 1)) / POINTS


def _line(box: Box, words: str, size: float, bold: bool = False, align: str = "left") -> Text:
    """A line in the largest size up to `size` pt that fits the box, letters narrowed last."""
    _refuse_characters(words)
    room = _width(words, size, bold)
    size = min(size, box.h * POINTS / 0.95)
    fitting = size if room <= box.w else max(SMALLEST_TEXT_PT, size * box.w / room)
    wide = max(_width(words, fitting, bold), 1e-9)
    narrow = min(1.0, box.w / wide)
    if narrow < NARROWEST or fitting < SMALLEST_TEXT_PT:
        raise _too_long(words, box)
    return Text(box, words, fitting, wide * narrow, bold, align, narrow)


def _code(box: Box, words: str, align: str = "left") -> Text:
    """A code in the largest capitals that fit, never under 4 mm; narrowed before it would go below that."""
    _refuse_characters(words)
    smallest = CODE_CAPS_MM * POINTS / CAPS
    size = max(smallest, min(box.h * 0.66 * POINTS / CAPS, box.w * 0.97 / _width(words, 1, bold=True)))
    wide = _width(words, size, bold=True)
    narrow = min(1.0, box.w / wide)
    if narrow < NARROWEST:
        raise _too_long(words, box)
    return Text(box, words, size, wide * narrow, True, align, narrow)


def _wrapped(words: str, width: float, size: float) -> list[str]:
    """The words on one line if they fit, else on two lines as even as they come."""
    parts = words.split()
    if _width(words, size) <= width or len(parts) < 2:
        return [words]
    halves = [(" ".join(parts[:cut]), " ".join(parts[cut:])) for cut in range(1, len(parts))]
    return list(min(halves, key=lambda pair: max(_width(line, size) for line in pair)))


def _too_long(words: str, box: Box) -> LabelError:
    return LabelError(
        "text-too-long",
        f"{words[:60]!r} does not fit {box.w:.0f} mm.",
        remedy="Shorten it, or use a wider label.",
        field="text",
    )


def _refuse_characters(words: str) -> None:
    if words.isprintable() and len(words.encode("cp1252", "ignore")) == len(words):
        return
    strange = next(c for c in words if not c.isprintable() or not c.encode("cp1252", "ignore"))
    raise LabelError(
        "text-characters",
        f"The label's font has no {strange!r} (in {words[:60]!r}).",
        remedy="Write it with Western European letters.",
        field="text",
    )
