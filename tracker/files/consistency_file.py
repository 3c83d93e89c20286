"""A proof that the log of today begins with the one of an older head, as a file for somebody who has no season.

One JSON text in the form of RFC 8785 and a line feed. The proofs are those of RFC 9162, 2.1.4, in hexadecimal.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.domain.canonical import canonical
from tracker.domain.signed_head import Head, PublicKey, public_key, read_head, signed_by
from tracker.domain.tree import is_consistent
from tracker.errors import Refused

FORM = "custody-consistency/1"


@dataclass(frozen=True)
class Grown:
    """What a log grew from. keys: its public keys; newer: the head over all of it; older: heads with their proofs."""

    keys: tuple[PublicKey, ...]
    newer: Head
    older: tuple[tuple[Head, tuple[bytes, ...]], ...]

    @property
    def heads(self) -> list[Head]:
        """Every head in it, the newest last."""
        return [*(head for head, _ in self.older), self.newer]

    def fault(self) -> str:
        """What does not hold, in words; empty where all of it does."""
        for head in self.heads:
            if signed_by(head, self.keys) is None:
                return f"The head over {head.size} entries is signed by none of the log's keys."
        for head, path in self.older:
            if not is_consistent(head.size, self.newer.size, path, head.root, self.newer.root):
                return f"The log of {self.newer.size} entries does not begin with the {head.size} of the older head."
        return ""

    def __bytes__(self) -> bytes:
        """The file."""
        older = [{"head": str(head), "proof": [one.hex() for one in path]} for head, path in self.older]
        keys = [str(key) for key in self.keys]
        return canonical({"form": FORM, "keys": keys, "newer": str(self.newer), "older": older}) + b"\n"


def is_consistency(content: bytes) -> bool:
    """Whether the file says that it is such a proof."""
    return content.startswith(b"{") and f'"form":"{FORM}"'.encode() in content


def read_consistency(name: str, content: bytes) -> Grown:
    """The proof in the file, all of which holds. Raises Refused `consistency-not-proven`."""
    try:
        said = json.loads(content)
        older = [
            (read_head(one["head"]), tuple(bytes.fromhex(part) for part in one["proof"]))
            for one in said["older"]
        ]
        found = Grown(tuple(map(public_key, said["keys"])), read_head(said["newer"]), tuple(older))
    except (ValueError, KeyError, TypeError, AttributeError, Refused):
        raise not_proven(f"{name} is no whole proof.") from None
    if bytes(found) != content:
        raise not_proven(f"{name} is not written in its one form.")
    if why := found.fault():
        raise not_proven(why)
    return found


def not_proven(why: str) -> Refused:
    """The refusal of a proof that does not hold."""
    return Refused(
        "consistency-not-proven",
        why,
        field="heads",
        remedy="Keep the older head: with `tracker custody audit --heads` it says what became of the log.",
    )


def grown(keys: Sequence[PublicKey], newer: Head, older: Sequence[tuple[Head, Sequence[bytes]]]) -> Grown:
    """The proof to be given away, which holds. Raises Refused `consistency-not-proven`."""
    found = Grown(tuple(keys), newer, tuple((head, tuple(path)) for head, path in older))
    if why := found.fault():
        raise not_proven(why)
    return found
