"""What a phone keeps so that the field's pages open without a network: the list of it, and its version."""

from __future__ import annotations

import hashlib
import re
from functools import cache
from pathlib import Path

from flask import render_template, url_for

from tracker.domain.keyboard_layouts import tables
from tracker.domain.scan_text import tag_prefix
from tracker.web.field.reader import FILES, stands
from tracker.web.shared.season import settings

STATIC = Path(__file__).parents[1] / "static"
# Page, its title, and whether tags are read on it.
PAGES = {
    "": ("today", "Today", False),
    "lot": ("lot", "Register a lot", False),
    "walk": ("walk", "Coring walk", False),
    "bag": ("bag", "Bind the bag", True),
    "hand-over": ("hand-over", "Hand over", True),
    "tags": ("tags", "Your tags", True),
    "unsent": ("unsent", "Not sent yet", False),
    "phone": ("phone", "This phone", False),
    "paper": ("paper", "From paper", False),
}
# Pages that read a code or say how tags can be read, without opening a camera.
_RESOLVING = ("paper", "phone")
_SHARED = ("house.css", "mark.svg", "mark-192.png", "mark-512.png", "scan.js", "sound.js")


def page_html(page: str) -> str:
    """One shell. It holds nothing of any person or lot, so that any phone may keep it."""
    name, title, scans = PAGES[page]
    told, module = settings(), name.replace("-", "_")
    return render_template(
        f"field_{module}.html",
        title=title,
        module=module,
        scanning={"prefix": tag_prefix(told.base_url), "layouts": tables()}
        if scans or name == "paper"
        else None,
        reader=stands(),
    )


def files() -> list[str]:
    """The addresses a phone keeps: pages, scripts, styles, and the reader where it was fetched."""
    own = sorted(f"field/{path.name}" for path in (STATIC / "field").iterdir() if path.is_file())
    reader = [f"reader/{name}" for name in FILES if not name.endswith(".txt")] if stands() else []
    static = [url_for("static", filename=name) for name in (*_SHARED, *own, *reader)]
    pages = [url_for("field.page", page=page) for page in PAGES]
    return [*pages, url_for("field.manifest"), *static]


def version() -> str:
    """Changes with any byte of the shell, so that a phone knows when to fetch it anew."""
    told = settings()
    return _version(told.base_url, told.programme, told.phone)


@cache
def _version(*_told: object) -> str:
    found = hashlib.sha256()
    for page in PAGES:
        found.update(page_html(page).encode())
    for address in files():
        kept = re.search(r"/static/(.+)$", address)
        if kept:
            found.update(address.encode() + (STATIC / kept.group(1)).read_bytes())
    found.update((Path(__file__).parent / "templates" / "worker.js").read_bytes())
    return found.hexdigest()[:16]
