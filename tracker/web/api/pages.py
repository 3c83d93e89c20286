"""Every address of this door, made from the entries that the other files of this room hold."""

from __future__ import annotations

import json
from typing import Any

from flask import Response

from tracker.web.api import (  # noqa: F401
    bench,
    boxes,
    bundles,
    custody,
    feeding,
    lists,
    log,
    lots,
    mending,
    office,
    programme_kept,
    results,
    runs,
    samples,
    season,
    sharing,
    tags,
)
from tracker.web.api.asking import ask, told
from tracker.web.api.description import description
from tracker.web.api.doing import do
from tracker.web.api.door import door
from tracker.web.api.entry import ENTRIES, JSON, Entry
from tracker.web.shared.access import as_json, for_roles


def _view(entry: Entry) -> Any:
    """The token decides here, not a sign-in; so the guard of the pages lets everybody through to it."""

    @as_json
    @for_roles("anyone")
    def view(**place: Any) -> Response:
        return do(entry, place) if entry.acts else ask(entry, place)

    view.__name__ = entry.name.replace("-", "_")
    view.__doc__ = entry.words
    view.provide_automatic_options = False  # type: ignore[attr-defined]
    return view


for _entry in ENTRIES:
    door.add_url_rule(_entry.path, _entry.name.replace("-", "_"), _view(_entry), methods=[_entry.method])


@door.get("/openapi.json", provide_automatic_options=False)
@as_json
@for_roles("anyone")
def openapi() -> Response:
    """The description; it tells nothing of anybody, so it needs no token."""
    return told(json.dumps(description(), ensure_ascii=False).encode(), JSON)
