"""A bag or sack on the bench: which it is, what has been weighed of it, and what is next for it there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import IN_FIELD
from tracker.domain.reweighing import reweighed
from tracker.lookups.find import sample_named
from tracker.lookups.last_entry import last_entries
from tracker.storage.coring import Sample, samples_with_lots
from tracker.storage.custody import EventRow, StandingRow, events_of
from tracker.storage.intake import OvenLoad, OvenPlace, Photo, Weighing, weighings_in_force_of
from tracker.storage.people import party_names
from tracker.storage.tags import tag_in_use


@dataclass(frozen=True)
class BenchSack:
    """One sample on the bench; weights in grams as the balance showed them, None where not weighed.

    last: the number of its last entry. holder and to: names. in_place: it lies in a place. unannounced: nobody has
    signed it away. load and position: the oven load it is in or was in last. twice: its dry weight is to be taken
    a second time by somebody who does not see the first. dry_at: when the dry weight was taken, UTC. photos: of
    its receipt, by their SHA-256.
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
    dry_at: datetime | None = None
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


def found_sack(session: Session, text: str) -> int:
    """The id of the sample that this tag names, for sacks_of. Raises as tag_in_use."""
    return tag_in_use(session, text)[1]


def sack_of(session: Session, sample: Sample) -> BenchSack:
    """The sample as it stands on the bench."""
    return sacks_of(session, [sample.id])[sample.id]


def sacks_of(session: Session, ids: Sequence[int]) -> dict[int, BenchSack]:
    """Several samples as they stand, by their ids. A load of sacks costs as many queries as one sack."""
    names, last = party_names(session), last_entries(session, ids)
    weights, places, photos = _weights(session, ids), _places(session, ids), _photos(session, ids)
    standings = {row.sample_id: row for row in session.scalars(_in(StandingRow, StandingRow.sample_id, ids))}
    found = {}
    for sample in samples_with_lots(session, ids):
        lot, standing = sample.lot, standings[sample.id]
        rows = weights.get(sample.id, {})
        load, position, twice = places.get(sample.id, (None, None, False))
        found[sample.id] = BenchSack(
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
            last=last.get(sample.id, 0),
            **{what.replace(" ", "_"): row.grams for what, row in rows.items() if what != "composite"},
            dry_at=rows["dry"].weighed_at if "dry" in rows else None,
            zeroed="fresh" in rows and rows["fresh"].zeroed,
            load=load,
            position=position,
            twice=twice,
            photos=photos.get(sample.id, ()),
        )
    return found


def _in(row: Any, column: Any, ids: Sequence[int]) -> Any:
    return select(row).where(column.in_(ids))


def _weights(session: Session, ids: Sequence[int]) -> dict[int, dict[str, Weighing]]:
    found: dict[int, dict[str, Weighing]] = {}
    for row in weighings_in_force_of(session, ids):
        found.setdefault(row.sample_id, {})[row.what] = row
    return found


def _unannounced(session: Session, sample_id: int, standing: StandingRow) -> bool:
    if standing.state not in IN_FIELD:
        return False
    stored = [
        event
        for event in events_of(session, sample_id)
        if event.kind in ("stored", "taken out", "received", "bagged")
    ]
    return not stored or stored[-1].kind != "stored"


def _places(session: Session, ids: Sequence[int]) -> dict[int, tuple[str, int, bool]]:
    """The load each sample is in or was in last, its position, and whether it is weighed dry twice."""
    wanted = select(OvenPlace, OvenLoad.name).join(OvenLoad, OvenLoad.id == OvenPlace.load_id)
    latest = {
        place.sample_id: (place, name)
        for place, name in session.execute(wanted.where(OvenPlace.sample_id.in_(ids)).order_by(OvenLoad.id))
    }
    loads = {place.load_id for place, _ in latest.values()}
    counted = select(OvenPlace.load_id, func.count()).where(OvenPlace.load_id.in_(loads))
    counts = {row[0]: row[1] for row in session.execute(counted.group_by(OvenPlace.load_id))}
    twice = {
        load: reweighed(name, counts[load]) for load, name in {(p.load_id, n) for p, n in latest.values()}
    }
    return {
        sample: (name, place.position, place.position in twice[place.load_id])
        for sample, (place, name) in latest.items()
    }


def _photos(session: Session, ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    wanted = select(EventRow.sample_id, Photo.sha256).join(EventRow, EventRow.event_id == Photo.event_id)
    found: dict[int, tuple[str, ...]] = {}
    for sample, sha256 in session.execute(wanted.where(EventRow.sample_id.in_(ids)).order_by(Photo.id)):
        if sample is not None:
            found[sample] = (*found.get(sample, ()), sha256)
    return found
