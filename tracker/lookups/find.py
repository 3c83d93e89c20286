"""Find what a person means by what he types: a code, a lot's number, or the end of a code."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import ENDED
from tracker.errors import NotFound, Refused
from tracker.storage.coring import Sample, sample_with_lot, samples_of
from tracker.storage.custody import StandingRow
from tracker.storage.lots import lot_numbered
from tracker.storage.tags import tag_coded, tag_in_use


def sample_named(session: Session, text: str) -> Sample:
    """The sample meant by a tag's code, or by `lot 12` (its newest sample that has not ended, else its newest).

    Raises Refused and NotFound as tag_in_use, lot_numbered; NotFound `no-sample`.
    """
    number = lot_number(text)
    if number is None:
        _, sample_id = tag_in_use(session, text)
        return sample_with_lot(session, sample_id)
    lot_numbered(session, number)
    rows = samples_of(session, number)
    if not rows:
        raise NotFound(
            "no-sample",
            f"Lot {number} has no coring plan yet.",
            field="sample",
            remedy=f"Make one: `tracker plan {number}`.",
        )
    of_lot = select(StandingRow.sample_id).where(StandingRow.sample_id.in_([row.id for row in rows]))
    ended = set(session.scalars(of_lot.where(StandingRow.state.in_(ENDED))))
    going = [row for row in rows if row.id not in ended] or rows
    return sample_with_lot(session, going[-1].id)


def code_on_bag(session: Session, sample: Sample) -> str:
    """The code of the tag on this sample's bag. Raises Refused `no-tag-yet`."""
    code = session.get_one(StandingRow, sample.id).code
    if code is None:
        raise Refused(
            "no-tag-yet",
            f"Lot {sample.lot_id} has no bag with a tag yet.",
            field="sample",
            remedy="Bind a tag to its bag first.",
        )
    return code


def sample_ever_named(session: Session, text: str) -> Sample:
    """As sample_named, and by a tag that is void by now: for questions, where the old paper still asks.

    Raises as sample_named, but for `tag-void` only where the tag never named a bag.
    """
    if lot_number(text) is None:
        tag = tag_coded(session, text)
        if tag.sample_id is not None:
            return sample_with_lot(session, tag.sample_id)
    return sample_named(session, text)


def sample_numbered(session: Session, number: int) -> Sample:
    """The sample with this number of the office's own, its lot, field and producer loaded.

    Raises NotFound `unknown-sample`.
    """
    if session.get(Sample, number) is None:
        raise NotFound(
            "unknown-sample",
            f"There is no sample {number}.",
            field="sample",
            remedy="Open the page again, and choose from it.",
        )
    return sample_with_lot(session, number)


def lot_number(text: str) -> int | None:
    """12 from "lot 12" or "lot12"; None from anything else. A bare number is no lot: it may be a weight."""
    words = text.strip().lower()
    if not words.startswith("lot"):
        return None
    digits = words[3:].strip()
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 10 else None
