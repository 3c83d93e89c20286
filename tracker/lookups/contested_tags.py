"""Tags that more than one bag carries, and the bags that claim them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.errors import NotFound
from tracker.storage.coring import sample_with_lot
from tracker.storage.custody import StandingRow, events_of
from tracker.storage.people import party_names
from tracker.storage.tags import Tag, TagContest, rivals, tag_coded


@dataclass(frozen=True)
class Claim:
    """One bag that carries the tag: who put it on and when, when the office heard of it, and who has it now."""

    sample: int
    lot: int
    producer: str
    field: str
    cutting: int
    bound_by: str
    bound_at: datetime
    heard_at: datetime
    state: str
    holder: str | None


@dataclass(frozen=True)
class Contest:
    """A contested tag; the claims by lot. Who was heard of first says nothing about who is right."""

    code: str
    claims: tuple[Claim, ...]

    @property
    def shown(self) -> str:
        """The code as printed."""
        return payload.shown(self.code)


def contested_tags(session: Session) -> tuple[Contest, ...]:
    """Every tag that waits for a decision, in the order in which it was contested."""
    wanted = select(TagContest.tag_id).order_by(TagContest.id)
    found = (session.get_one(Tag, tag) for tag in dict.fromkeys(session.scalars(wanted)))
    return tuple(_contest(session, tag) for tag in found if rivals(session, tag))


def contest_of(session: Session, text: str) -> Contest:
    """The contest of one tag. Raises as tag_coded, and NotFound `tag-not-contested`."""
    tag = tag_coded(session, text)
    if not rivals(session, tag):
        raise NotFound(
            "tag-not-contested",
            f"Only one bag carries tag {payload.shown(tag.code)}.",
            field="code",
            remedy="Nothing to decide: it may have been decided already.",
        )
    return _contest(session, tag)


def _contest(session: Session, tag: Tag) -> Contest:
    ids = sorted({sample for sample in (tag.sample_id, *rivals(session, tag)) if sample is not None})
    claims = [_claim(session, sample, tag.code) for sample in ids]
    return Contest(tag.code, tuple(sorted(claims, key=lambda claim: (claim.lot, claim.sample))))


def _claim(session: Session, sample_id: int, code: str) -> Claim:
    names = party_names(session)
    sample, standing = sample_with_lot(session, sample_id), session.get_one(StandingRow, sample_id)
    # The tag may also have come to the bag in place of another one.
    bound = next(
        event
        for event in reversed(events_of(session, sample_id))
        if event.kind in ("bagged", "tag replaced") and event.data["code"] == code
    )
    return Claim(
        sample=sample_id,
        lot=sample.lot_id,
        producer=sample.lot.field.producer.name,
        field=sample.lot.field.name,
        cutting=sample.lot.cutting,
        bound_by=names.get(bound.by, bound.by),
        bound_at=bound.occurred_at,
        heard_at=bound.recorded_at,
        state=standing.state,
        holder=names.get(standing.holder or ""),
    )
