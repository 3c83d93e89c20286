"""Pictures of many lots, drawn by a plotting library as SVG that stands in a page: no script, no style, one ink.

What the library writes as styles becomes attributes, so that a page whose policy forbids styles shows it, and its ink
becomes the colour of the text around it, so that it reads on dark paper too.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from html import escape
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK = "#1b1a16"
SVG = "http://www.w3.org/2000/svg"
WIDTH_IN, ROW_IN, AROUND_IN = 6.4, 0.36, 0.9
# Filled for the season asked for, hollow for the ones before.
NOW, BEFORE = 0.35, 0.0


@dataclass(frozen=True)
class Box:
    """One row: quartiles as a box, the median as a line in it, the 10th and 90th centile as whiskers if known."""

    label: str
    lower: Decimal
    median: Decimal
    upper: Decimal
    tenth: Decimal | None = None
    ninetieth: Decimal | None = None
    filled: bool = True


def boxes(rows: Sequence[Box], axis: str, title: str) -> str:
    """The rows from above as an SVG element; axis: what is measured, with unit and basis. No rows, no picture."""
    if not rows:
        return ""
    with _figure(len(rows)) as (figure, axes):
        for place, row in enumerate(rows):
            _box(axes, -place, row)
        axes.set_yticks([-place for place in range(len(rows))], [row.label for row in rows])
        axes.set_xlabel(axis)
        axes.margins(y=0.6 / len(rows))
        return _svg(figure, title)


@dataclass(frozen=True)
class Bar:
    """One row: counts that stand one after the other, the darker the later."""

    label: str
    counts: tuple[int, ...]


def bars(rows: Sequence[Bar], axis: str, title: str) -> str:
    """Counts as bars from above, each with its sum at the end. No rows, no picture."""
    if not rows:
        return ""
    from matplotlib.ticker import MaxNLocator

    with _figure(len(rows)) as (figure, axes):
        for place, row in enumerate(rows):
            left = 0
            for number, count in enumerate(row.counts):
                shade = (number + 1) / len(row.counts)
                axes.barh(-place, count, left=left, height=0.6, color=INK, alpha=shade, lw=0)
                left += count
            axes.annotate(str(left), (left, -place), xytext=(4, 0), textcoords="offset points", va="center")
        axes.set_yticks([-place for place in range(len(rows))], [row.label for row in rows])
        axes.set_xlabel(axis)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.margins(x=0.1, y=0.6 / len(rows))
        return _svg(figure, title)


def _box(axes: Axes, y: float, row: Box) -> None:
    lower, median, upper = float(row.lower), float(row.median), float(row.upper)
    axes.barh(y, upper - lower, left=lower, height=0.6, color=INK, alpha=NOW if row.filled else BEFORE, lw=0)
    axes.barh(y, upper - lower, left=lower, height=0.6, fill=False, edgecolor=INK, lw=1)
    axes.plot([median, median], [y - 0.3, y + 0.3], color=INK, lw=2.5)
    for end, side in ((row.tenth, lower), (row.ninetieth, upper)):
        if end is not None:
            axes.plot([float(end), side], [y, y], color=INK, lw=1)


class _figure:
    """A figure with our ink and letters, closed behind us."""

    def __init__(self, rows: int) -> None:
        self.rows = rows

    def __enter__(self) -> tuple[Any, Axes]:
        # The library takes half a second to import, and most pages draw nothing.
        from matplotlib import rc_context
        from matplotlib.figure import Figure

        ink: Any = ("text.color", "axes.labelcolor", "axes.edgecolor", "xtick.color", "ytick.color")
        self.context = rc_context(
            {
                **dict.fromkeys(ink, INK),
                "font.family": "sans-serif",
                "font.size": 10,
                "svg.fonttype": "none",
                # The same picture has the same bytes.
                "svg.hashsalt": "hay",
                "axes.spines.top": False,
                "axes.spines.right": False,
            }
        )
        self.context.__enter__()
        figure = Figure(figsize=(WIDTH_IN, AROUND_IN + ROW_IN * self.rows), layout="constrained")
        return figure, figure.subplots()

    def __exit__(self, *fault: Any) -> None:
        self.context.__exit__(*fault)


def _svg(figure: Any, title: str) -> str:
    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    return _plain(out.getvalue(), title)


def _plain(text: str, title: str) -> str:
    """The library's SVG as an element for a page: attributes in place of styles, our ink as the text's own."""
    ElementTree.register_namespace("", SVG)
    root = ElementTree.fromstring(text)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.split("}")[-1] in ("metadata", "style"):
                parent.remove(child)
    for element in root.iter():
        style = element.attrib.pop("style", "")
        for name, _, value in (part.partition(":") for part in style.split(";") if ":" in part):
            _styled(element, name.strip(), value.strip())
        for name, value in list(element.attrib.items()):
            if value.lower() == INK:
                element.set(name, "currentColor")
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-label", title)
    written = ElementTree.tostring(root, encoding="unicode")
    # The words of the picture are the page's own letters.
    return re.sub(r"<title>.*?</title>", "", written).replace(">", f"><title>{escape(title)}</title>", 1)


def _styled(element: Any, name: str, value: str) -> None:
    if name == "font":
        # "10px 'DejaVu Sans', sans-serif": only the size matters, the letters are the page's.
        size = re.search(r"([0-9.]+)px", value)
        element.set("font-size", size.group(1) if size else "10")
        element.set("fill", element.get("fill", INK))
    elif name == "fill" and element.tag.endswith("text"):
        element.set("fill", value)
    else:
        element.set(name, value)
