"""Where a sample has been and is: its stations, its events in words, and what is not accounted for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from labels import payload
from tracker.domain import chain, way
from tracker.domain.chain import Gap
from tracker.domain.custody import Event, Standing, corrected, fold
from tracker.domain.findings import HOLD
from tracker.domain.practice import Practice
from tracker.domain.way import Station
from tracker.storage.coring import Sample
from tracker.storage.custody import events_of
from tracker.storage.kept import practice_in_force
from tracker.storage.people import party_names


@dataclass(frozen=True)
class Step:
    """One event as people read it. at: the device's time with its offset; recorded_at: the office's, UTC."""

    number: int
    kind: str
    at: datetime
    recorded_at: datetime
    by: str
    role: str
    words: str
    remarks: tuple[str, ...]
    late: bool
    note: str = ""
    undone: bool = False


@dataclass(frozen=True)
class Way:
    """A sample's whole way. waits_for: what the next person has to do, None at the end."""

    lot: int
    sample: int
    code: str | None
    producer: str
    field: str
    cutting: int
    state: str
    holder: str | None
    in_transfer_to: str | None
    holds: tuple[str, ...]
    waits_for: str | None
    stations: tuple[Station, ...]
    steps: tuple[Step, ...]
    gaps: tuple[Gap, ...]

    @property
    def heard(self) -> tuple[int, ...]:
        """The entries' numbers as the office heard of them; empty where that is the order in which they happened."""
        happened = tuple(step.number for step in self.steps)
        return () if happened == tuple(sorted(happened)) else tuple(sorted(happened))

    def as_dict(self) -> dict[str, Any]:
        """Plain values, times as RFC 3339."""
        return {
            "lot": self.lot,
            "sample": self.sample,
            "code": self.code,
            "producer": self.producer,
            "field": self.field,
            "cutting": self.cutting,
            "state": self.state,
            "holder": self.holder,
            "in_transfer_to": self.in_transfer_to,
            "holds": list(self.holds),
            "waits_for": self.waits_for,
            "stations": [station_dict(station) for station in self.stations],
            "events": [step_dict(step) for step in self.steps],
            "heard": list(self.heard),
            "gaps": [gap.words for gap in self.gaps],
        }


def station_dict(station: Station) -> dict[str, Any]:
    """A station as plain values."""
    return {
        "name": station.name,
        "word": station.word,
        "at": station.at.isoformat() if station.at else None,
        "by": station.by,
        "here": station.here,
    }


def step_dict(step: Step) -> dict[str, Any]:
    """An event as plain values."""
    return {
        "number": step.number,
        "kind": step.kind,
        "at": step.at.isoformat(),
        "recorded_at": step.recorded_at.isoformat(),
        "by": step.by,
        "role": step.role,
        "words": step.words,
        "remarks": list(step.remarks),
        "late": step.late,
        "note": step.note,
        "undone": step.undone,
    }


def way_of(session: Session, sample: Sample) -> Way:
    """The sample's way; its lot, field and producer must be loaded."""
    names, practice = party_names(session), practice_in_force(session)
    return way_from(sample, events_of(session, sample.id), names, practice)


def way_from(sample: Sample, events: Sequence[Event], names: Mapping[str, str], practice: Practice) -> Way:
    """The same from the sample's events, with everybody's name by his short one."""
    standing = fold(events)
    transfer = standing.transfer
    lot = sample.lot
    return Way(
        lot=lot.id,
        sample=sample.number,
        code=payload.shown(standing.code) if standing.code else None,
        producer=lot.field.producer.name,
        field=lot.field.name,
        cutting=lot.cutting,
        state=standing.state,
        holder=names.get(standing.holder.party) if standing.holder else None,
        in_transfer_to=names.get(transfer.to.party) if transfer else None,
        holds=tuple(hold.reason for hold in standing.holds),
        waits_for=_waits_for(standing),
        stations=_named(way.stations(events), names),
        steps=tuple(_step(event, names) for event in corrected(events)),
        gaps=chain.gaps(events, names, practice),
    )


def _waits_for(standing: Standing) -> str | None:
    return way.waits_for(standing.state, standing.holds[0].reason if standing.holds else None)


def _named(line: tuple[Station, ...], names: Mapping[str, str]) -> tuple[Station, ...]:
    return tuple(
        Station(stop.name, stop.word, stop.at, names.get(stop.by, stop.by), stop.here) for stop in line
    )


def _step(event: Event, names: Mapping[str, str]) -> Step:
    # What put the sample on hold stands in the sentence itself.
    remarks = tuple(
        str(finding["words"]) for finding in event.data.get("findings", ()) if finding["level"] != HOLD
    )
    return Step(
        number=event.seq,
        kind=event.kind,
        at=event.occurred_at,
        recorded_at=event.recorded_at,
        by=names.get(event.by, event.by),
        role=event.role,
        words=chain.in_words(event, names),
        remarks=remarks,
        late=event.late,
        note=event.note,
        undone=event.undone,
    )
