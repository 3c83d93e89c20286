"""A bag or sack on the bench: which it is, what has been weighed of it, and what is next for it there."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import IN_FIELD
from tracker.domain.reweighing import reweighed
from tracker.lookups.find import sample_named
from tracker.lookups.last_entry import last_entry
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.custody import EventRow, StandingRow, events_of
from tracker.storage.intake import OvenLoad, OvenPlace, Photo, weighings_in_force
from tracker.storage.people import party_names


@dataclass(frozen=True)
class BenchSack:
    """One sample on the bench; weights in grams as the balance showed them, None where not weighed.

    last: the number of its last entry. holder and to: names. in_place: it lies in a place. unannounced: nobody has
    signed it away. load and position: the oven load it is in or was in last. twice: its dry weight is to be taken
    a second time by somebody who does not see the first. photos: of its receipt, by their SHA-256.
    """

    sample_id: int
    code: str
    lot: int
    producer: str
    field: str
    cutting: int
    state: str
    hold: str | None
    seal: str | None
    holder: str | None
    to: str | None
    unannounced: bool
    last: int
    tare: Decimal | None = None
    fresh: Decimal | None = None
    dry: Decimal | None = None
    dry_again: Decimal | None = None
    zeroed: bool = False
    load: str | None = None
    position: int | None = None
    twice: bool = False
    photos: tuple[str, ...] = ()

    @property
    def shown(self) -> str:
        """The code as printed."""
        return payload.shown(self.code) if self.code else f"lot {self.lot}"

    @property
    def next(self) -> str:
        """What is next for it on this bench: an act, or the state that says where else it belongs."""
        if self.state in (*IN_FIELD, "in transfer"):
            return "receive"
        if self.state == "received" and self.seal:
            return "break seal"
        if self.state in ("received", "weighed") and self.fresh is None:
            return "fresh" if self.tare is not None else "tare"
        if self.state == "out of oven":
            return "dry"
        if self.state == "dried" and self.blind:
            return "dry again"
        return {"weighed": "oven", "in oven": "oven out"}.get(self.state, self.state)

    @property
    def blind(self) -> bool:
        """Whether its first dry weight must not be seen yet."""
        return self.twice and self.dry is not None and self.dry_again is None


def bench_sack(session: Session, text: str) -> BenchSack:
    """The sack with this tag. Raises as lookups.find.sample_named."""
    return sack_of(session, sample_named(session, text))


def sack_of(session: Session, sample: Sample) -> BenchSack:
    """The sample as it stands on the bench."""
    lot = sample_with_lot(session, sample.id).lot
    standing = session.get_one(StandingRow, sample.id)
    names = party_names(session)
    load, position, twice = _place(session, sample.id)
    rows = {row.what: row for row in weighings_in_force(session, sample.id)}
    return BenchSack(
        sample_id=sample.id,
        code=standing.code or "",
        lot=lot.id,
        producer=lot.field.producer.name,
        field=lot.field.name,
        cutting=lot.cutting,
        state=standing.state,
        hold=standing.hold,
        seal=standing.seal,
        holder=names.get(standing.holder or ""),
        to=names.get(standing.transfer_to or ""),
        unannounced=_unannounced(session, sample.id, standing),
        last=last_entry(session, sample.id),
        **{what.replace(" ", "_"): row.grams for what, row in rows.items() if what != "composite"},
        zeroed="fresh" in rows and rows["fresh"].zeroed,
        load=load,
        position=position,
        twice=twice,
        photos=_photos(session, sample.id),
    )


def _unannounced(session: Session, sample_id: int, standing: StandingRow) -> bool:
    if standing.state not in IN_FIELD:
        return False
    stored = [
        event
        for event in events_of(session, sample_id)
        if event.kind in ("stored", "taken out", "received", "bagged")
    ]
    return not stored or stored[-1].kind != "stored"


def _place(session: Session, sample_id: int) -> tuple[str | None, int | None, bool]:
    wanted = (
        select(OvenLoad, OvenPlace.position)
        .join(OvenPlace, OvenPlace.load_id == OvenLoad.id)
        .where(OvenPlace.sample_id == sample_id)
        .order_by(OvenLoad.id.desc())
        .limit(1)
    )
    found = session.execute(wanted).first()
    if found is None:
        return None, None, False
    load, position = found
    count = session.scalar(select(func.count()).where(OvenPlace.load_id == load.id)) or 0
    return load.name, position, position in reweighed(load.name, count)


def _photos(session: Session, sample_id: int) -> tuple[str, ...]:
    wanted = (
        select(Photo.sha256)
        .join(EventRow, EventRow.event_id == Photo.event_id)
        .where(EventRow.sample_id == sample_id)
        .order_by(Photo.id)
    )
    return tuple(session.scalars(wanted))
