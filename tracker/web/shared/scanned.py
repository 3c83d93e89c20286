"""What was scanned or typed on a page, as the code of a bag."""

from __future__ import annotations

from tracker.domain.scan_text import resolve
from tracker.domain.tag import stub_scanned
from tracker.web.shared.season import settings


def code_in(text: str) -> str:
    """The code of a bag in what was scanned or typed. Raises Refused as domain.scan_text, and `stub-scanned`."""
    found = resolve(text, settings().base_url)
    if found.kind == "token":
        raise stub_scanned()
    return found.value
