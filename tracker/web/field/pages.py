"""The field's pages: shells that open without a network, and what they fetch and send."""

from __future__ import annotations

from tracker.web.field import entries, load, pack, shells
from tracker.web.field.door import door

# Importing a module puts its pages behind the door.
MODULES = (shells, pack, entries, load)

__all__ = ["MODULES", "door"]
