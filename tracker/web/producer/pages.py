"""The producer's pages: his hay, his animals, papers to take away, links for advisers, and an end of messages."""

from __future__ import annotations

from tracker.web.producer import away, hay, links, messages
from tracker.web.producer.door import door

# Importing a module puts its pages behind the door.
MODULES = (hay, away, links, messages)

__all__ = ["MODULES", "door"]
