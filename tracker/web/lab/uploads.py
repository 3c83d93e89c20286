"""Files between their preview and their import: outside the season, named by what is in them, for a day."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import time
from pathlib import Path

from tracker.errors import Refused
from tracker.web.shared.season import season

_DAY_SECONDS = 24 * 3600


def _folder() -> Path:
    # Each season has its own, so that two on one machine never answer for one another.
    place = hashlib.sha256(season().url.encode()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"tracker-uploads-{place}"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def keep(content: bytes) -> str:
    """Keep the file for a day; its SHA-256 in hex."""
    digest, folder = hashlib.sha256(content).hexdigest(), _folder()
    for old in folder.iterdir():
        if time.time() - old.stat().st_mtime > _DAY_SECONDS:
            old.unlink(missing_ok=True)
    part = folder / f"{digest}.{os.getpid()}.part"
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(content)
    part.replace(folder / digest)
    return digest


def kept(digest: str) -> bytes:
    """The file with this SHA-256. Raises Refused `upload-gone`."""
    content = b""
    if re.fullmatch(r"[0-9a-f]{64}", digest):
        path = _folder() / digest
        content = path.read_bytes() if path.is_file() else b""
    if hashlib.sha256(content).hexdigest() != digest:
        raise Refused(
            "upload-gone",
            "The file that was looked at is no longer here.",
            field="file",
            remedy="Choose the file again; nothing was taken in.",
        )
    return content


def forget(digest: str) -> None:
    """Take the file away once it is in the season."""
    if re.fullmatch(r"[0-9a-f]{64}", digest):
        (_folder() / digest).unlink(missing_ok=True)
