"""The file with the key that signs the log. It lies outside the database and outside its backups.

A few lines of words, the name of the log, every public key it ever had (the newest last), and the private half of the
newest as PEM (PKCS #8, RFC 8410).
"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.domain.signed_head import Head, PublicKey, Signature, public_key
from tracker.errors import Refused

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

OWNER_ONLY = 0o600
WORDS = (
    "This key signs the log of a hay sample season. Whoever has it can sign a forged log.",
    "Keep it where only the office can read it, and apart from the database and from its backups.",
)


@dataclass(frozen=True)
class SigningKey:
    """The key in force. origin: the log's name; known: every public key of the log, the one in force last."""

    origin: str
    known: tuple[PublicKey, ...]
    private: Ed25519PrivateKey

    @property
    def public(self) -> PublicKey:
        """The public half of the key in force."""
        return self.known[-1]

    def signed(self, size: int, root: bytes) -> Head:
        """The head over the first `size` entries with this key's signature."""
        bare = Head(self.origin, size, root)
        return Head(self.origin, size, root, (self.signature(bare),))

    def signature(self, head: Head) -> Signature:
        """This key's signature under a head."""
        return Signature(self.public.name, self.public.key_id, self.private.sign(head.text.encode()))


class KeyFile:
    """A place for the key. It is read when something is to be signed, and again only where it has changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._read: tuple[tuple[int, int], SigningKey] | None = None

    def key(self) -> SigningKey | None:
        """The key, None where there is no such file. Raises Refused `log-key-unreadable`."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return None
        except OSError as fault:
            raise _unreadable(self.path, fault.strerror or str(fault)) from fault
        stamp = (found.st_mtime_ns, found.st_size)
        if self._read is None or self._read[0] != stamp:
            self._read = stamp, read_key(self.path)
        return self._read[1]

    def make(self, host: str) -> SigningKey:
        """A new key for a new log, in a new file. host: the office's own, for the log's name.

        Raises Refused `log-key-there`, `log-key-unreadable`.
        """
        if self.path.exists():
            raise Refused(
                "log-key-there",
                f"{self.path} is there already.",
                field="TRACKER_LOG_KEY_FILE",
                remedy="A log keeps its key; `tracker custody new-key` changes it.",
            )
        made = _made(f"{host}/log-{secrets.token_hex(4)}", ())
        self._write(made)
        return made

    def change(self) -> tuple[SigningKey, SigningKey]:
        """The key in force and a new one after it; nothing is written yet. Raises Refused `log-key-missing`."""
        old = self.key()
        if old is None:
            raise Refused(
                "log-key-missing",
                f"There is no key in {self.path}.",
                field="TRACKER_LOG_KEY_FILE",
                remedy="Name the file with TRACKER_LOG_KEY_FILE, or make a first key with `tracker init`.",
            )
        return old, _made(old.origin, old.known)

    def replace(self, key: SigningKey) -> None:
        """Put this key in the place of the old one. Raises Refused `log-key-unreadable`."""
        self._write(key)

    def _write(self, key: SigningKey) -> None:
        beside = self.path.with_name(f".{self.path.name}.part")
        try:
            with suppress(FileNotFoundError):
                beside.unlink()
            made = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
            with os.fdopen(made, "w", encoding="ascii") as file:
                file.write(_text(key))
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self.path)
        except OSError as fault:
            raise _unreadable(self.path, fault.strerror or str(fault)) from fault


def read_key(path: Path) -> SigningKey:
    """The key in the file. Raises Refused `log-key-unreadable`."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        text = path.read_text(encoding="ascii")
        begin = text.index("-----BEGIN")
        said = [line.partition(": ") for line in text[:begin].splitlines()]
        (origin,) = (value for name, _, value in said if name == "log")
        known = tuple(public_key(value) for name, _, value in said if name == "key")
        private = load_pem_private_key(text[begin:].encode(), None)
    except (OSError, ValueError, Refused) as fault:
        raise _unreadable(path, getattr(fault, "strerror", None) or "it is not a whole key file") from fault
    if not isinstance(private, Ed25519PrivateKey) or not known:
        raise _unreadable(path, "it holds no Ed25519 key")
    if private.public_key().public_bytes_raw() != known[-1].raw:
        raise _unreadable(path, "its private key is not that of its last public key")
    return SigningKey(origin, known, private)


def _made(origin: str, before: tuple[PublicKey, ...]) -> SigningKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private = Ed25519PrivateKey.generate()
    public = PublicKey(f"{origin}/{len(before) + 1}", private.public_key().public_bytes_raw())
    return SigningKey(origin, (*before, public), private)


def _text(key: SigningKey) -> str:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    pem = key.private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()).decode()
    lines = (*WORDS, f"log: {key.origin}", *(f"key: {one}" for one in key.known))
    return "\n".join(lines) + "\n" + pem


def _unreadable(path: Path, why: str) -> Refused:
    return Refused(
        "log-key-unreadable",
        f"{path} cannot be used as the log's key: {why}.",
        field="TRACKER_LOG_KEY_FILE",
        remedy="Name the whole file that `tracker init` made, where this program may read it.",
    )
