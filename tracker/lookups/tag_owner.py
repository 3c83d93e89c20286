"""What a scanned tag names: the bag, its lot, and what the sample waits for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.tag import VOID
from tracker.domain.way import waits_for
from tracker.storage.coring import sample_with_lot
from tracker.storage.custody import StandingRow
from tracker.storage.intake import OvenLoad, OvenPlace
from tracker.storage.lots import lot_numbered
from tracker.storage.tags import Tag, rivals, tag_coded


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


def tag_owner(session: Session, text: str) -> TagOwner:
    """The tag with this code. Raises Refused and NotFound as tag_coded."""
    tag = tag_coded(session, text)
    return _owner(session, tag)


def _owner(session: Session, tag: Tag) -> TagOwner:
    standing = session.get(StandingRow, tag.sample_id) if tag.sample_id is not None else None
    lot = None
    if tag.sample_id is not None:
        lot = sample_with_lot(session, tag.sample_id).lot
    elif tag.lot_id is not None:
        lot = lot_numbered(session, tag.lot_id)
    current = standing.code if standing and tag.state == VOID else None
    return TagOwner(
        code=tag.code,
        tag_state=tag.state,
        lot=lot.id if lot else None,
        producer=lot.field.producer.name if lot else "",
        field=lot.field.name if lot else "",
        cutting=lot.cutting if lot else None,
        harvested=lot.harvested if lot else None,
        state=standing.state if standing else None,
        waits_for=waits_for(standing.state, standing.hold) if standing else None,
        hold=standing.hold if standing else None,
        load=_load(session, tag.sample_id)
        if standing and standing.state in ("in oven", "out of oven")
        else None,
        replaced_by=current,
        contested=bool(rivals(session, tag)),
    )


def _load(session: Session, sample_id: int | None) -> str | None:
    wanted = select(OvenLoad.name).join(OvenPlace, OvenPlace.load_id == OvenLoad.id)
    return session.scalar(
        wanted.where(OvenPlace.sample_id == sample_id).order_by(OvenLoad.id.desc()).limit(1)
    )
