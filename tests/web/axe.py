"""What axe finds on a page as a browser shows it, by the rules of WCAG 2.2, at every size and in both schemes."""

from __future__ import annotations

from typing import Any, Literal

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

SIZES = {"phone": (360, 640), "desk": (1280, 900)}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
# The rules at AA; contrast is held to AAA, 7 to 1, by `color-contrast-enhanced`, where work is done in bad light.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ENHANCED = {"color-contrast-enhanced": {"enabled": True}}
# (size, scheme) -> complaints
Looked = dict[tuple[str, str], list[str]]


def complaints(page: Page, *, enhanced: bool = False) -> list[str]:
    """What axe finds on the page, each with its first element."""
    options: dict[str, Any] = {
        "runOnly": {"type": "tag", "values": TAGS},
        "rules": ENHANCED if enhanced else {},
        # What is well need not be told in full.
        "resultTypes": ["violations"],
    }
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found = page.evaluate("(options) => axe.run(options)", options)["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found]


def shown_at(page: Page, size: str) -> None:
    """Show the page at that size, as if it had been opened so."""
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})


def everywhere(page: Page, *, enhanced: bool = False) -> Looked:
    """The complaints of one page at each size in each scheme; our pages draw both by their style sheet alone."""
    found = {}
    for size in SIZES:
        shown_at(page, size)
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            found[size, scheme] = complaints(page, enhanced=enhanced)
    return found


def faulty(seen: dict[str, Looked]) -> dict[tuple[str, str, str], list[str]]:
    """Of what was looked at, what has a fault: (name, size, scheme) -> the complaints."""
    return {(name, *how): said for name, looked in seen.items() for how, said in looked.items() if said}
