"""A signed head: how many entries the log has and what they hash to, in the text form of a signed checkpoint.

Three lines (whose log, how many entries, the head in base64), an empty line, and a line for each signature with the
key's name (C2SP tlog-checkpoint and signed-note; Ed25519, RFC 8032). It fits on a report, in an e-mail and in a QR.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from tracker.domain.tree import HASH_BYTES
from tracker.errors import Refused

DASH = "\u2014"
# The kind of key: Ed25519 over the text (C2SP signed-note).
ED25519 = b"\x01"
KEY_ID_BYTES, KEY_BYTES, SIGNATURE_BYTES = 4, 32, 64


@dataclass(frozen=True)
class PublicKey:
    """Who signs: the key's name and its 32 bytes."""

    name: str
    raw: bytes

    @property
    def key_id(self) -> bytes:
        """The first four bytes of SHA-256 over name, line feed, kind and key."""
        return hashlib.sha256(self.name.encode() + b"\n" + ED25519 + self.raw).digest()[:KEY_ID_BYTES]

    def __str__(self) -> str:
        """name+id+key, in one line without spaces, as it is published."""
        return f"{self.name}+{self.key_id.hex()}+{base64.b64encode(ED25519 + self.raw).decode()}"


@dataclass(frozen=True)
class Signature:
    """One line under a head: who, by which key, and the 64 bytes."""

    name: str
    key_id: bytes
    raw: bytes


@dataclass(frozen=True)
class Head:
    """How many entries the log had and what they hashed to, and who put his name to it."""

    origin: str
    size: int
    root: bytes
    signatures: tuple[Signature, ...] = ()

    @property
    def text(self) -> str:
        """What is signed: three lines, the last one ended."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"

    def __str__(self) -> str:
        """The whole note with its signatures."""
        lines = (
            f"{DASH} {one.name} {base64.b64encode(one.key_id + one.raw).decode()}\n"
            for one in self.signatures
        )
        return f"{self.text}\n{''.join(lines)}"


def public_key(line: str) -> PublicKey:
    """The key in a line name+id+key. Raises Refused `not-a-public-key`."""
    name, _, rest = line.strip().partition("+")
    key_id, _, coded = rest.partition("+")
    raw = _decoded(coded)
    if name and raw is not None and len(raw) == 1 + KEY_BYTES and raw[:1] == ED25519:
        found = PublicKey(name, raw[1:])
        if found.key_id.hex() == key_id:
            return found
    raise Refused(
        "not-a-public-key",
        f"{line.strip()[:80]!r} is not a public key of a log.",
        field="key",
        remedy="Copy the whole line that `tracker custody-key` shows: name+id+key.",
    )


def read_head(note: str) -> Head:
    """The head in a note, exactly as it would be written again. Raises Refused `not-a-head`."""
    text, _, below = note.partition("\n\n")
    lines = text.split("\n")
    if len(lines) == 3 and lines[0] and lines[1].isascii() and lines[1].isdigit():
        root = _decoded(lines[2])
        signatures = tuple(_signature(line) for line in below.splitlines())
        if root is not None and len(root) == HASH_BYTES:
            found = Head(lines[0], int(lines[1]), root, tuple(one for one in signatures if one))
            # Whatever was lost or added on the way would be written otherwise.
            if str(found) == note:
                return found
    raise Refused(
        "not-a-head",
        f"{note.strip()[:40]!r} is not a signed head of a log.",
        field="head",
        remedy="Keep the text whole: three lines, an empty one, and the lines that begin with a long dash.",
    )


def heads_in(text: str) -> list[Head]:
    """Every head in a text that may hold several and other words between. Raises nothing."""
    found: list[Head] = []
    lines = text.replace("\r\n", "\n").split("\n")
    for at in range(len(lines) - 4):
        end = at + 4
        while end < len(lines) and lines[end].startswith(DASH + " "):
            end += 1
        if lines[at + 3] == "" and end > at + 4:
            try:
                found.append(read_head("\n".join(lines[at:end]) + "\n"))
            except Refused:
                continue
    return found


def _signature(line: str) -> Signature | None:
    dash, _, rest = line.partition(" ")
    name, _, coded = rest.partition(" ")
    raw = _decoded(coded)
    if dash != DASH or not name or raw is None or len(raw) != KEY_ID_BYTES + SIGNATURE_BYTES:
        return None
    return Signature(name, raw[:KEY_ID_BYTES], raw[KEY_ID_BYTES:])


def _decoded(text: str) -> bytes | None:
    """The bytes of base64 written the one way (RFC 4648, 4)."""
    try:
        found = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
    return found if base64.b64encode(found).decode() == text else None


def signed_by(head: Head, keys: Iterable[PublicKey]) -> PublicKey | None:
    """The first of these keys whose signature under the head holds, None where none does."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    for key in keys:
        for one in head.signatures:
            if (one.name, one.key_id) != (key.name, key.key_id):
                continue
            try:
                Ed25519PublicKey.from_public_bytes(key.raw).verify(one.raw, head.text.encode())
            except (InvalidSignature, ValueError):
                continue
            return key
    return None
