"""What a scanned tag names: the bag, its lot, and what the sample waits for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.tag import VOID, code_in
from tracker.domain.way import waits_for
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.intake import OvenLoad, OvenPlace
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.questions import Asked, Question
from tracker.storage.tags import Tag, TagContest, rivals, tag_coded, unknown_tag


@dataclass(frozen=True)
class TagOwner:
    """A tag and what it names. replaced_by: the code the bag carries now, where this one is void.

    contested: another bag carries it too, and nobody has decided which one keeps it.
    load: the oven load that the sack is in, or came out of and is not weighed dry from.
    """

    code: str
    tag_state: str
    lot: int | None
    producer: str
    field: str
    cutting: int | None
    harvested: date | None
    state: str | None
    waits_for: str | None
    hold: str | None
    load: str | None
    replaced_by: str | None
    contested: bool = False

    @property
    def shown(self) -> str:
        """The code as printed."""
        return payload.shown(self.code)


# Made once: a phone that opens a code should not wait for a sentence of SQL to be written.
_OF_CODE = Question(
    select(
        Tag.code,
        Tag.state.label("tag_state"),
        Tag.sample_id,
        Lot.id.label("lot"),
        Lot.cutting,
        Lot.harvested,
        Field.name.label("field"),
        Producer.name.label("producer"),
        StandingRow.state,
        StandingRow.hold,
        StandingRow.code.label("carried"),
        select(TagContest.id).where(TagContest.tag_id == Tag.id).exists().label("contested"),
    )
    .outerjoin(Sample, Sample.id == Tag.sample_id)
    .outerjoin(Lot, Lot.id == func.coalesce(Sample.lot_id, Tag.lot_id))
    .outerjoin(Field, Field.id == Lot.field_id)
    .outerjoin(Producer, Producer.id == Field.producer_id)
    .outerjoin(StandingRow, StandingRow.sample_id == Tag.sample_id)
    .where(Tag.code == bindparam("code"))
)


_THERE = Question(select(Tag.id).where(Tag.code == bindparam("code")))


def refuse_unknown_tag(asked: Asked, code: str) -> None:
    """Nothing, if there is a tag with exactly this code. Raises NotFound `unknown-tag`."""
    if _THERE.first(asked, code=code) is None:
        raise unknown_tag(code)


def tag_owner(session: Session, text: str) -> TagOwner:
    """The tag with this code. Raises Refused and NotFound as tag_coded."""
    code = code_in(text)
    found = _OF_CODE.first(session, code=code)
    if found is None:
        raise unknown_tag(code)
    return TagOwner(
        code=found.code,
        tag_state=found.tag_state,
        lot=found.lot,
        producer=found.producer or "",
        field=found.field or "",
        cutting=found.cutting,
        harvested=found.harvested,
        state=found.state,
        waits_for=waits_for(found.state, found.hold) if found.state else None,
        hold=found.hold,
        load=_load(session, found.sample_id) if found.state in ("in oven", "out of oven") else None,
        replaced_by=found.carried if found.state and found.tag_state == VOID else None,
        contested=bool(found.contested) and bool(rivals(session, tag_coded(session, text))),
    )


def _load(session: Session, sample_id: int | None) -> str | None:
    wanted = select(OvenLoad.name).join(OvenPlace, OvenPlace.load_id == OvenLoad.id)
    return session.scalar(
        wanted.where(OvenPlace.sample_id == sample_id).order_by(OvenLoad.id.desc()).limit(1)
    )
