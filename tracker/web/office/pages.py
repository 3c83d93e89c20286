"""The office's pages: each module beside this one puts its own behind the door."""

from __future__ import annotations

from tracker.web.office import (
    bringing_in,
    clients,
    exports,
    first,
    people,
    phones,
    producers,
    programme,
    rolls,
    searching,
    season,
    season_kept,
    second_factor,
    settings_pages,
    sign_in,
    tags,
    year,
)
from tracker.web.office.door import door

# Importing a module puts its pages behind the door.
MODULES = (
    first,
    programme,
    year,
    season,
    season_kept,
    searching,
    bringing_in,
    sign_in,
    second_factor,
    people,
    clients,
    producers,
    phones,
    tags,
    exports,
    rolls,
    settings_pages,
)

__all__ = ["MODULES", "door"]
