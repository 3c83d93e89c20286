"""The office's pages: signing in, the first page, finding, the people of the programme, and tags."""

from __future__ import annotations

from tracker.web.office import (
    exports,
    first,
    people,
    phones,
    programme,
    rolls,
    searching,
    sign_in,
    tags,
    year,
)
from tracker.web.office.door import door

# Importing a module puts its pages behind the door.
MODULES = (first, searching, sign_in, people, tags, rolls, phones, exports, year, programme)

__all__ = ["MODULES", "door"]
