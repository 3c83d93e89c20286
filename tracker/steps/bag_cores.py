"""Close the cores in one bag and bind a tag to it; seal it; give it another tag when the first is spoilt."""

from __future__ import annotations

from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.steps.append_event import following, on_sample, on_tag
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.tags import Tag, refuse_contested, tag_coded


def bag_cores(session: Session, sample: Sample, text: str, act: Act) -> EventRow:
    """Bind the tag to the sample's bag; from here on somebody has it. text: the code as typed or scanned.

    Raises Conflict `tag-bound`, Refused `tag-void`, `tag-of-other-lot`, and what tag_coded and custody raise.
    """
    tag = tag_coded(session, text)
    refuse_other_lot(tag, sample)
    row = on_sample(session, "bagged", sample, {"code": tag.code}, act, tag_id=tag.id)
    bind(session, tag, sample, following(act))
    return row


def replace_tag(session: Session, sample: Sample, text: str, act: Act, *, reason: str) -> EventRow:
    """Bind a fresh tag to a bag that has one, and make the old one void.

    Raises as bag_cores, and Refused `reason-missing`, `no-tag-yet`, `tag-contested`, `tag-replaced-since`.
    """
    require_reason(reason)
    fresh = tag_coded(session, text)
    refuse_other_lot(fresh, sample)
    standing = session.get_one(StandingRow, sample.id)
    if standing.code is None:
        raise Refused(
            "no-tag-yet", "The bag has no tag yet.", field="sample", remedy="Bind one: `tracker bind`."
        )
    old = tag_coded(session, standing.code)
    refuse_contested(session, old)
    data = {"code": fresh.code, "old_code": old.code, "reason": reason}
    row = on_sample(session, "tag replaced", sample, data, act, tag_id=fresh.id)
    # A late entry that belongs before the last change of tags: the bag has gone by another since.
    if standing.code != fresh.code:
        raise Refused(
            "tag-replaced-since",
            f"After that the bag was given tag {payload.shown(old.code)}, and that is on it now.",
            field="code",
            remedy="Make this tag void if it was on the bag for a while, and write so in a note.",
        )
    on_tag(session, "tag voided", old, {"code": old.code, "reason": reason}, following(act))
    bind(session, fresh, sample, following(act))
    return row


def seal_bag(session: Session, sample: Sample, seal: str, act: Act) -> EventRow:
    """Note the numbered seal that closes the bag. Raises Refused `entry-incomplete` and what custody raises."""
    return on_sample(session, "sealed", sample, {"seal": "".join(seal.split()).upper()}, act)


def bind(session: Session, tag: Tag, sample: Sample, act: Act) -> None:
    """The tag names this sample's bag from now on. Raises as domain.tag.after."""
    on_tag(session, "tag bound", tag, {"code": tag.code, "sample": sample.id}, act)
    tag.sample_id, tag.lot_id = sample.id, sample.lot_id
    session.flush()


def refuse_other_lot(tag: Tag, sample: Sample) -> None:
    """Nothing, unless the tag was printed for another lot. Raises Refused `tag-of-other-lot`."""
    # A tag that names a bag got its lot from there; that it is taken is the better thing to say.
    if tag.sample_id is None and tag.lot_id is not None and tag.lot_id != sample.lot_id:
        raise Refused(
            "tag-of-other-lot",
            f"Tag {payload.shown(tag.code)} was printed for lot {tag.lot_id}, and this bag is of lot "
            f"{sample.lot_id}.",
            field="code",
            remedy="Take the tag of this lot, or one from a roll.",
        )
