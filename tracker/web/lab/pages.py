"""The laboratory's pages: the mill, instrument runs, result files, analyses, charts, release, and bundles."""

from __future__ import annotations

from tracker.web.lab import analyses, bundles, charts, decisions, files, mill, parked, release, runs
from tracker.web.lab.door import door

# Importing a module puts its pages behind the door.
MODULES = (mill, runs, files, parked, analyses, charts, decisions, release, bundles)

__all__ = ["MODULES", "door"]
