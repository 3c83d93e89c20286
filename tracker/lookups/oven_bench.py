"""The loads on the oven's page: where each stands, who put it in and took it out, and which sack is next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import ENDED
from tracker.lookups.bench_sack import BenchSack, sack_of
from tracker.lookups.oven_load import Load, load_named
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.intake import LoadClosed, OvenLoad, OvenPlace, SetAside, weighings_in_force
from tracker.storage.people import party_names


@dataclass(frozen=True)
class Row:
    """One sack of a load. settled: "weighed", "lost", "set aside", or "" while nothing is said of it.

    again: its second, blind dry weight is still to be taken, and its first must not be seen. reason: why it
    is set aside.
    """

    position: int
    sack: BenchSack
    settled: str
    again: bool
    reason: str = ""


@dataclass(frozen=True)
class BenchLoad:
    """A load with its rows by position. by_in and by_out: names of those who put it in and took it out."""

    load: Load
    rows: tuple[Row, ...]
    by_in: str
    by_out: str
    closed_at: datetime | None

    @property
    def gaps(self) -> tuple[Row, ...]:
        """The sacks that nothing is said of."""
        return tuple(row for row in self.rows if not row.settled)

    @property
    def to_weigh(self) -> tuple[tuple[Row, str], ...]:
        """What is to be weighed, in order: each sack dry, and after all of them those that are weighed again."""
        first = [(row, "dry") for row in self.rows if not row.settled and row.sack.state == "out of oven"]
        return (*first, *((row, "dry again") for row in self.rows if row.again))

    @property
    def is_out(self) -> bool:
        """Whether it is out of the oven."""
        return self.load.out_at is not None


def bench_load(session: Session, name: str) -> BenchLoad:
    """The load as it stands on the bench. Raises NotFound `unknown-load`."""
    load = load_named(session, name)
    row = session.scalars(select(OvenLoad).where(OvenLoad.name == name)).one()
    places = session.scalars(
        select(OvenPlace).where(OvenPlace.load_id == row.id).order_by(OvenPlace.position)
    ).all()
    closed = session.scalar(select(LoadClosed).where(LoadClosed.load_id == row.id))
    ids = [place.sample_id for place in places]
    return BenchLoad(
        load=load,
        rows=tuple(_row(session, row, place) for place in places),
        by_in=_by(session, "oven in", ids, name),
        by_out=_by(session, "oven out", ids, name),
        closed_at=closed.at if closed else None,
    )


def _row(session: Session, load: OvenLoad, place: OvenPlace) -> Row:
    sack = sack_of(session, session.get_one(Sample, place.sample_id))
    aside = session.scalar(select(SetAside).where(SetAside.place_id == place.id))
    dry = [
        row
        for row in weighings_in_force(session, place.sample_id)
        if row.what == "dry" and load.out_at is not None and row.weighed_at >= load.out_at
    ]
    settled = "weighed" if dry else sack.state if sack.state in ENDED else "set aside" if aside else ""
    again = bool(dry) and sack.load == load.name and sack.blind and sack.state == "dried"
    return Row(place.position, sack, settled, again, aside.reason if aside else "")


def _by(session: Session, kind: str, ids: list[int], name: str) -> str:
    wanted = select(EventRow).where(EventRow.kind == kind, EventRow.sample_id.in_(ids)).order_by(EventRow.seq)
    for event in session.scalars(wanted):
        if event.data.get("load") == name:
            return party_names(session).get(event.by, event.by)
    return ""


def open_loads(session: Session) -> tuple[BenchLoad, ...]:
    """Every load that is not closed, the oldest first."""
    closed = select(LoadClosed.load_id)
    names = session.scalars(select(OvenLoad.name).where(OvenLoad.id.not_in(closed)).order_by(OvenLoad.id))
    return tuple(bench_load(session, name) for name in names.all())


def waiting_for_oven(session: Session) -> tuple[BenchSack, ...]:
    """The sacks that were weighed fresh and are not in an oven, the longest wait first."""
    wanted = select(StandingRow).where(StandingRow.state == "weighed").order_by(StandingRow.last_at)
    return tuple(
        sack_of(session, session.get_one(Sample, row.sample_id)) for row in session.scalars(wanted).all()
    )
