"""A disk without room: known by the system's own code, and said in one way everywhere."""

from __future__ import annotations

import errno

from tracker.errors import Unavailable

# No space, no more for this account, a file as large as a file may be here. Not every system has all three.
_CODES = {getattr(errno, name) for name in ("ENOSPC", "EDQUOT", "EFBIG") if hasattr(errno, name)}


def is_full(fault: OSError) -> bool:
    """Whether it failed for want of room."""
    return fault.errno in _CODES


def disk_full(message: str) -> Unavailable:
    """Nothing can be written until somebody makes room."""
    return Unavailable(
        "disk-full", message, remedy="Nothing was recorded. Make room on the disk, then do it again."
    )
