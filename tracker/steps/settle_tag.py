"""A tag that two phones put on two bags while neither could know of the other: both are kept, a person decides.

Which of the two the office heard of first says nothing about which is right, and neither do the phones' clocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import ENDED, LAB_ROLES, Act, fold
from tracker.errors import Refused
from tracker.steps.append_event import following, on_sample, on_tag
from tracker.steps.bag_cores import bind, refuse_other_lot
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, events_of
from tracker.storage.tags import Tag, TagContest, TagSettled, rivals, tag_coded


def contest_tag(session: Session, tag: Tag, sample: Sample, act: Act) -> EventRow:
    """Keep that the sample's bag carries a tag which names another bag already; all of these bags go on hold.

    Raises what custody raises.
    """
    row = on_sample(session, "bagged", sample, {"code": tag.code}, act, tag_id=tag.id)
    on_tag(session, "tag contested", tag, {"code": tag.code, "sample": sample.id}, following(act))
    session.add(TagContest(tag_id=tag.id, sample_id=sample.id, event_id=row.event_id, at=act.now))
    session.flush()
    claims = _claims(session, tag)
    lots = " and ".join(f"lot {lot}" for lot in sorted(claim.lot_id for claim in claims))
    reason = f"Tag {payload.shown(tag.code)} was put on more than one bag: {lots}."
    # The hold is the office's own thought, and of the moment in which it had it.
    heard = replace(following(act), at=act.now.astimezone(act.at.tzinfo))
    for claim in claims:
        if fold(events_of(session, claim.id)).state not in ENDED:
            on_sample(session, "held", claim, {"reason": reason, "contest": tag.code}, heard)
    return row


def settle_tag(
    session: Session, text: str, keeps: Sample, fresh: Sequence[str], act: Act, *, reason: str
) -> tuple[Sample, ...]:
    """Decide which bag keeps the tag; each other one gets a fresh tag, in the order of the samples' numbers.

    The holds of the contest are lifted by it; what else holds a sample stays. The samples that gave it up come
    back. Raises Refused `reason-missing`, `not-allowed`, `tag-not-contested`, `not-a-claim`, `codes-miscounted`,
    `code-used`, and what tag_coded and custody raise.
    """
    require_reason(reason)
    tag = tag_coded(session, text)
    others = _others(session, tag, keeps, act)
    if len(fresh) != len(others):
        raise Refused(
            "codes-miscounted",
            f"{len(others)} fresh tags are needed, and {len(fresh)} are given.",
            field="fresh",
            remedy="Each bag that gives the tag up gets one fresh tag.",
        )
    tag.sample_id, tag.lot_id = keeps.id, keeps.lot_id
    on_tag(session, "tag settled", tag, {"code": tag.code, "sample": keeps.id, "reason": reason}, act)
    _decided(session, keeps, tag.code, tag.code, following(act), reason)
    for sample, code in zip(others, fresh, strict=True):
        _give_up(session, tag, keeps, sample, code, following(act), reason)
    return tuple(others)


def _others(session: Session, tag: Tag, keeps: Sample, act: Act) -> list[Sample]:
    if act.by.role not in LAB_ROLES:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not decide on a contested tag.",
            field="by",
            remedy="Somebody of the laboratory who answers for the samples decides.",
        )
    claims = _claims(session, tag)
    if len(claims) < 2:
        raise Refused(
            "tag-not-contested",
            f"Only one bag carries tag {payload.shown(tag.code)}.",
            field="code",
            remedy="Nothing to decide. To give a bag another tag: `tracker retag`.",
        )
    if keeps.id not in {claim.id for claim in claims}:
        raise Refused(
            "not-a-claim",
            f"Lot {keeps.lot_id} is none of those whose bag carries tag {payload.shown(tag.code)}.",
            field="keeps",
            remedy=f"Choose from {', '.join(f'lot {claim.lot_id}' for claim in claims)}.",
        )
    return [claim for claim in claims if claim.id != keeps.id]


def _claims(session: Session, tag: Tag) -> list[Sample]:
    ids = sorted({sample for sample in (tag.sample_id, *rivals(session, tag)) if sample is not None})
    return [session.get_one(Sample, sample) for sample in ids]


def _give_up(
    session: Session, tag: Tag, keeps: Sample, sample: Sample, code: str, act: Act, reason: str
) -> None:
    fresh = tag_coded(session, code)
    refuse_other_lot(fresh, sample)
    bind(session, fresh, sample, act)
    settled = TagSettled(
        tag_id=tag.id,
        keeps_id=keeps.id,
        sample_id=sample.id,
        code=fresh.code,
        reason=reason,
        by=act.by.key,
        at=act.now,
    )
    session.add(settled)
    session.flush()
    _decided(session, sample, tag.code, fresh.code, following(act), reason)


def _decided(session: Session, sample: Sample, old: str, code: str, act: Act, reason: str) -> None:
    """Say it in the sample's own life, and let it go on where nothing but the contest held it."""
    standing = fold(events_of(session, sample.id))
    if standing.state in ENDED:
        return
    on_sample(session, "tag settled", sample, {"code": code, "old_code": old, "reason": reason}, act)
    contests = {event.event_id for event in events_of(session, sample.id) if event.data.get("contest") == old}
    if standing.holds and all(hold.event_id in contests for hold in standing.holds):
        on_sample(session, "hold lifted", sample, {"reason": reason}, following(act))
