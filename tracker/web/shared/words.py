"""Small words that every template needs."""

from __future__ import annotations

from typing import Any

from flask import url_for

from labels import payload
from tracker.domain.keyboard_layouts import tables
from tracker.domain.scan_text import tag_prefix
from tracker.web.shared.season import settings


def shown(code: str | None) -> str:
    """A code in two groups, or a dash."""
    return payload.shown(code) if code and "-" not in code else code or "–"


def called(name: str, kind: str) -> str:
    """A thing by its name at the beginning of a sentence, the kind said once: Balance 1, Balance B7."""
    said = name if name.casefold().startswith(kind) else f"{kind} {name}"
    return said[:1].upper() + said[1:]


def scans(to: str | None = None) -> dict[str, Any]:
    """What the page's scan catcher needs: our addresses' start, the layouts, and where a scan leads.

    to: an address that the code is put behind; else the one address every QR opens.
    """
    return {
        "prefix": tag_prefix(settings().base_url),
        "layouts": tables(),
        "to": to or url_for("scan.opened", scanned="").rstrip("/") + "/",
    }
