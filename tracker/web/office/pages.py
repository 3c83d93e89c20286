"""The office's pages: signing in, the first page, the people of the programme, and tags."""

from __future__ import annotations

from tracker.web.office import first, people, second_factor, sign_in, tags
from tracker.web.office.door import door

# Importing a module puts its pages behind the door.
MODULES = (first, sign_in, second_factor, people, tags)

__all__ = ["MODULES", "door"]
