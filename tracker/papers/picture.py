"""A drawing made once, in one ink: an SVG element for a page, in the colour of its text, from the shapes on paper."""

from __future__ import annotations

from html import escape

from reportlab.graphics.shapes import Circle, Drawing, Line, Rect, Shape, String
from reportlab.lib.colors import white

from tracker.papers.pen import BOLD


def svg_of(drawn: Drawing, words: str) -> str:
    """The drawing as an SVG element that scales to its place; its title says the picture in words.

    It stands in a page as it is: no prolog, no style attributes, no ids.
    """
    said = escape(words)
    shapes = "\n".join(_shape(shape, drawn.height) for shape in drawn.contents)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {drawn.width:.1f} {drawn.height:.1f}" '
        f'role="img" aria-label="{said}" fill="currentColor" stroke="none" '
        f'font-family="system-ui, Helvetica, Arial, sans-serif">\n<title>{said}</title>\n{shapes}\n</svg>'
    )


def _shape(shape: Shape, height: float) -> str:
    """One shape; SVG counts y downwards. What is white on paper is left unfilled in a page."""
    if isinstance(shape, String):
        weight = ' font-weight="bold"' if shape.fontName == BOLD else ""
        anchor = {"end": ' text-anchor="end"', "middle": ' text-anchor="middle"'}.get(shape.textAnchor, "")
        at = f'x="{shape.x:.1f}" y="{height - shape.y:.1f}"'
        return f'<text {at} font-size="{shape.fontSize:g}"{weight}{anchor}>{escape(shape.text)}</text>'
    if isinstance(shape, Line):
        dashes = " ".join(f"{dash:g}" for dash in shape.strokeDashArray or ())
        return (
            f'<line x1="{shape.x1:.1f}" y1="{height - shape.y1:.1f}" x2="{shape.x2:.1f}" '
            f'y2="{height - shape.y2:.1f}" stroke="currentColor" stroke-width="{shape.strokeWidth:g}"'
            + (f' stroke-dasharray="{dashes}"/>' if dashes else "/>")
        )
    if isinstance(shape, Rect):
        top = height - shape.y - shape.height
        fill = ' fill="none"' if shape.fillColor in (None, white) else f' fill-opacity="{_depth(shape):g}"'
        return (
            f'<rect x="{shape.x:.1f}" y="{top:.1f}" width="{shape.width:.1f}" height="{shape.height:.1f}" '
            f'stroke="currentColor" stroke-width="{shape.strokeWidth or 0:g}"{fill}/>'
        )
    assert isinstance(shape, Circle)
    fill = ' fill="none"' if shape.fillColor == white else ""
    return (
        f'<circle cx="{shape.cx:.1f}" cy="{height - shape.cy:.1f}" r="{shape.r:g}" stroke="currentColor" '
        f'stroke-width="{shape.strokeWidth:g}"{fill}/>'
    )


def _depth(shape: Rect) -> float:
    """How dark a grey is: black 1, white 0, so that a page of any colours gives the same picture."""
    return round(1 - float(shape.fillColor.red), 2)
