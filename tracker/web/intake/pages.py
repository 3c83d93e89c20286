"""The intake: the desk where bags arrive, the balances, and the oven. Each part of it adds its pages to the door."""

from __future__ import annotations

from tracker.web.intake import balances, oven, receipt, weighing
from tracker.web.intake.door import door

__all__ = ["balances", "door", "oven", "receipt", "weighing"]
