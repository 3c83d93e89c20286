"""Take in a lot's bundle from another season or office: checked whole, kept to be read, apart from our own lots."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.files.lot_bundle import read_bundle
from tracker.storage.bundles import KeptBundle, KeptPaper

MAY_KEEP = ("analyst", "lead")


@dataclass(frozen=True)
class Kept:
    """The bundle's number here. known: it had been taken in before, and nothing changed."""

    number: int
    known: bool


def keep_bundle(session: Session, content: bytes, act: Act) -> Kept:
    """Keep the bundle. Its lot gets no number of ours: its custody was another office's, and its log too.

    Raises Refused `not-allowed`, and what read_bundle raises.
    """
    if act.by.role not in MAY_KEEP:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not take in a lot of another office.",
            field="by",
            remedy="An analyst or the lead takes it in.",
        )
    digest = hashlib.sha256(content).hexdigest()
    before = session.scalar(select(KeptBundle.id).where(KeptBundle.sha256 == digest))
    if before is not None:
        return Kept(before, known=True)
    bundle = read_bundle(content)
    row = KeptBundle(sha256=digest, lot=dict(bundle.lot), by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    session.add_all(
        KeptPaper(bundle_id=row.id, name=name, content=paper) for name, paper in sorted(bundle.papers.items())
    )
    session.flush()
    return Kept(row.id, known=False)
