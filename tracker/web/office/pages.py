"""The office's pages: signing in, the first page, the people of the programme, and tags."""

from __future__ import annotations

from tracker.web.office import first, people, phones, sign_in, tags
from tracker.web.office.door import door

# Importing a module puts its pages behind the door.
MODULES = (first, sign_in, people, tags, phones)

__all__ = ["MODULES", "door"]
