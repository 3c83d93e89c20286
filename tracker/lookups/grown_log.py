"""Whether today's log begins with what somebody outside has a head of, as a proof that he can check himself."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from tracker.domain.signed_head import Head, PublicKey
from tracker.domain.tree import consistency
from tracker.files.consistency_file import Grown, grown, not_proven
from tracker.storage.log import node


def grown_since(session: Session, keys: Sequence[PublicKey], older: Sequence[Head], newer: Head) -> Grown:
    """The proof that the log under the newer head grew from each older one; it costs two hashes for each doubling.

    Raises Refused `consistency-not-proven` where it did not, or where a kept hash is gone.
    """
    proofs = []
    for head in older:
        try:
            path = consistency(head.size, newer.size, lambda number: node(session, number))
        except (ValueError, KeyError):
            raise not_proven(
                f"A head over {head.size} entries leads to none over {newer.size} in this log."
            ) from None
        proofs.append((head, path))
    return grown(keys, newer, proofs)
