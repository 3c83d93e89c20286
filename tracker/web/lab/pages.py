"""The laboratory's pages: the mill, instrument runs, result files, analyses, charts, and release."""

from __future__ import annotations

from tracker.web.lab import analyses, charts, decisions, files, mill, parked, release, runs
from tracker.web.lab.door import door

# Importing a module puts its pages behind the door.
MODULES = (mill, runs, files, parked, analyses, charts, decisions, release)

__all__ = ["MODULES", "door"]
