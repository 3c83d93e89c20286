"""Which sacks of an oven load are weighed dry a second time, by somebody who does not see the first weight.

One in ten is asked for (our choice, after laboratories that weigh a share of their samples twice). Which one follows
from the load's name, so that nobody chooses and anybody can check it afterwards.
"""

from __future__ import annotations

import hashlib

ONE_IN = 10


def reweighed(load: str, sacks: int) -> tuple[int, ...]:
    """The positions, counted from 1, that are weighed twice: one of each ten, and one of the rest."""
    return tuple(
        first + _drawn(f"{load}/{first}", min(ONE_IN, sacks - first + 1))
        for first in range(1, sacks + 1, ONE_IN)
    )


def _drawn(seed: str, among: int) -> int:
    return int.from_bytes(hashlib.sha256(seed.encode()).digest()[:8], "big") % among
