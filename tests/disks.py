"""Disks that are full: a small one of the test's own where it may mount one, and limits that anybody may set."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from sqlalchemy import event

from tracker.storage.engine import Database


@contextmanager
def small_disk(place: Path, megabytes: int) -> Iterator[Path]:
    """A disk of its own at this place, in memory; skips where only an administrator may mount one."""
    if sys.platform != "linux" or os.getuid() != 0:
        pytest.skip("only root mounts a small disk; the limits that anybody may set are tried beside it")
    place.mkdir(exist_ok=True)
    words = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "none", str(place)]
    mounted = subprocess.run(words, capture_output=True, text=True, check=False)
    if mounted.returncode:
        pytest.skip(f"no disk can be mounted here: {mounted.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def fill(folder: Path, leave: int = 0) -> Path:
    """A file that takes all room of the disk but so many bytes."""
    path = folder / "ballast"
    with suppress(OSError), path.open("wb", buffering=0) as file:
        while file.write(b"\0" * 4096):
            pass
    os.truncate(path, max(0, path.stat().st_size - leave))
    return path


def allow_pages(season: Database, pages: int) -> None:
    """Let the season in a file grow to so many pages and no further, as on a disk without room (SQLITE_FULL)."""
    season.engine.dispose()
    event.listen(season.engine, "connect", lambda opened, _: opened.execute(f"pragma max_page_count={pages}"))
