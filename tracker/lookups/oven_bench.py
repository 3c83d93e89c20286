"""The loads on the oven's page: where each stands, who put it in and took it out, and which sack is next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.custody import ENDED
from tracker.lookups.bench_sack import BenchSack, sacks_of
from tracker.lookups.oven_load import Load, load_named, load_of
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.intake import LoadClosed, OvenLoad, OvenPlace, SetAside, weighings_in_force_of
from tracker.storage.people import party_names

WEIGHED = "weighed"
BEFORE_OVEN = StandingRow.state == "weighed"


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
        rows=_rows(session, row, places),
        by_in=_by(session, "oven in", ids, name),
        by_out=_by(session, "oven out", ids, name),
        closed_at=closed.at if closed else None,
    )


def sheet_of(found: BenchLoad) -> Load:
    """The load as its sheet may show it: a weight to be taken again blind must not hang beside the balance."""
    hidden = {row.position for row in found.rows if row.sack.blind}
    sacks = tuple(replace(s, dry=None) if s.position in hidden else s for s in found.load.sacks)
    return replace(found.load, sacks=sacks)


def _rows(session: Session, load: OvenLoad, places: Sequence[OvenPlace]) -> tuple[Row, ...]:
    sacks = sacks_of(session, [place.sample_id for place in places])
    wanted = select(SetAside).where(SetAside.place_id.in_([place.id for place in places]))
    aside = {row.place_id: row.reason for row in session.scalars(wanted)}
    return tuple(_row(load, place, sacks[place.sample_id], aside.get(place.id)) for place in places)


def _row(load: OvenLoad, place: OvenPlace, sack: BenchSack, aside: str | None) -> Row:
    settled = _settled(load, sack.state, sack.dry_at, aside)
    again = settled == WEIGHED and sack.load == load.name and sack.blind and sack.state == "dried"
    return Row(place.position, sack, settled, again, aside or "")


def _settled(load: OvenLoad, state: str, dry_at: datetime | None, aside: str | None) -> str:
    if load.out_at is not None and dry_at is not None and dry_at >= load.out_at:
        return WEIGHED
    return state if state in ENDED else "" if aside is None else "set aside"


def _by(session: Session, kind: str, ids: list[int], name: str) -> str:
    wanted = select(EventRow).where(EventRow.kind == kind, EventRow.sample_id.in_(ids)).order_by(EventRow.seq)
    for event in session.scalars(wanted):
        if event.data.get("load") == name:
            return party_names(session).get(event.by, event.by)
    return ""


def load_names(session: Session) -> tuple[str, ...]:
    """The names of every load there ever was."""
    return tuple(session.scalars(select(OvenLoad.name)))


@dataclass(frozen=True)
class OpenLoad:
    """A load that is not closed, without its sacks. unsettled: the positions of which nothing is said yet."""

    load: Load
    sacks: int
    unsettled: tuple[int, ...]


def open_loads(session: Session) -> tuple[OpenLoad, ...]:
    """Every load that is not closed, the oldest first."""
    rows = select(OvenLoad).where(OvenLoad.id.not_in(select(LoadClosed.load_id))).order_by(OvenLoad.id)
    return tuple(_open_load(session, row) for row in session.scalars(rows).all())


def _open_load(session: Session, row: OvenLoad) -> OpenLoad:
    wanted = (
        select(OvenPlace.position, OvenPlace.sample_id, StandingRow.state, SetAside.reason)
        .join(StandingRow, StandingRow.sample_id == OvenPlace.sample_id)
        .outerjoin(SetAside, SetAside.place_id == OvenPlace.id)
        .where(OvenPlace.load_id == row.id)
        .order_by(OvenPlace.position)
    )
    places = session.execute(wanted).all()
    # What is in the oven has no dry weight of it.
    weighed = {} if row.out_at is None else _dry_at(session, [place.sample_id for place in places])
    unsettled = tuple(
        place.position
        for place in places
        if not _settled(row, place.state, weighed.get(place.sample_id), place.reason)
    )
    return OpenLoad(load_of(session, row), len(places), unsettled)


def _dry_at(session: Session, ids: Sequence[int]) -> dict[int, datetime]:
    rows = weighings_in_force_of(session, ids)
    return {row.sample_id: row.weighed_at for row in rows if row.what == "dry"}


def waiting_for_oven(session: Session, most: int | None = None) -> tuple[BenchSack, ...]:
    """The sacks that were weighed fresh and are not in an oven, the longest wait first. most: only so many."""
    wanted = select(StandingRow.sample_id).where(BEFORE_OVEN).order_by(StandingRow.last_at).limit(most)
    ids = session.scalars(wanted).all()
    sacks = sacks_of(session, ids)
    return tuple(sacks[sample_id] for sample_id in ids)


def how_many_before_oven(session: Session) -> int:
    """How many sacks those are."""
    return session.scalars(select(func.count()).select_from(StandingRow).where(BEFORE_OVEN)).one()
