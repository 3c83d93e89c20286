"""Signed heads that somebody outside keeps: in a text, an e-mail, or a report's PDF."""

from __future__ import annotations

import json
from email import message_from_bytes
from email.policy import default
from pathlib import Path

from tracker.custody_check import NotProven, record_in
from tracker.domain.signed_head import Head, heads_in
from tracker.errors import Refused
from tracker.files.consistency_file import is_consistency, read_consistency


def read_heads(name: str, content: bytes) -> list[Head]:
    """Every head in the file's bytes. Raises Refused `no-head-in-file`, `consistency-not-proven`."""
    if is_consistency(content):
        return read_consistency(name, content).heads
    found = heads_in(_text(content))
    if not found:
        raise Refused(
            "no-head-in-file",
            f"There is no signed head in {name}.",
            field="heads",
            remedy="Name a report of ours, or a text that holds the head whole, with its long dash.",
        )
    return found


def _text(content: bytes) -> str:
    """The text that the heads stand in: of a report, the head in its record."""
    if content.startswith((b"%PDF", b"{")):
        try:
            return str(json.loads(record_in(content))["head"]) + "\n"
        except (NotProven, ValueError, KeyError, TypeError):
            return ""
    mail = message_from_bytes(content, policy=default)
    body = mail.get_body(("plain",)) if mail["From"] and mail["Subject"] else None
    return content.decode("utf-8", errors="replace") if body is None else str(body.get_content())


def add_head(path: Path, head: Head) -> None:
    """Write the head behind what the file holds. Raises Refused `file-not-written`."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{head}\n")
    except OSError as fault:
        raise Refused(
            "file-not-written",
            f"{path} cannot be written: {fault.strerror or fault}.",
            field="out",
            remedy="Name a file in a folder that you may write in, on a disk that is not full.",
        ) from fault
