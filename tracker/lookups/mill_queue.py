"""What waits for the mill, and what each mill did last."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Event, corrected
from tracker.domain.grinding import COARSE, FINE, GRIND_STAGES
from tracker.lookups.bench_queue import Waiting, waiting
from tracker.lookups.last_entry import last_entry
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow, Undone, events_of
from tracker.storage.kept import practice_in_force
from tracker.storage.people import party_names

_EVENTS = {"coarse ground": COARSE, "fine ground": FINE}
_WAIT_FOR = {COARSE: "the coarse grind", FINE: "the fine grind"}
_NEXT = {"received": COARSE, "dried": COARSE, "coarse ground": FINE}
LAST_SHOWN = 10


@dataclass(frozen=True)
class Pass:
    """One pass through a mill; cleaned: it was cleaned before this sample."""

    code: str
    stage: str
    at: datetime
    by: str
    screen_mm: str
    mill: str
    cleaned: bool


@dataclass(frozen=True)
class MillQueue:
    """The sacks for each grind, the longest wait first, and the latest passes, newest first."""

    coarse: tuple[Waiting, ...]
    fine: tuple[Waiting, ...]
    last: tuple[Pass, ...]


@dataclass(frozen=True)
class MillSack:
    """A sack at the mill. stage: the grind it waits for, None if it waits for something else; seen: last entry."""

    code: str
    lot: int
    producer: str
    field: str
    cutting: int
    state: str
    hold: str | None
    stage: str | None
    usual_screen: Decimal | None
    passes: tuple[Pass, ...]
    seen: int

    @property
    def shown(self) -> str:
        """The code as printed."""
        return payload.shown(self.code)


def mill_queue(session: Session) -> MillQueue:
    """What the mill has before it."""
    found = waiting(session, _WAIT_FOR.values())
    by_stage = {
        stage: tuple(one for one in found if one.waits_for == _WAIT_FOR[stage]) for stage in GRIND_STAGES
    }
    return MillQueue(by_stage[COARSE], by_stage[FINE], _last(session))


def _last(session: Session) -> tuple[Pass, ...]:
    undone = select(Undone.event_id).where(Undone.event_id == EventRow.event_id).exists()
    ids = session.scalars(
        select(EventRow.sample_id)
        .where(EventRow.kind.in_(_EVENTS), ~undone)
        # As the office heard of them: from the end of the log it is never far to the last ten.
        .order_by(EventRow.seq.desc())
        .limit(LAST_SHOWN)
    )
    names = party_names(session)
    found = [
        one for sample_id in dict.fromkeys(ids) if sample_id for one in _passes(session, sample_id, names)
    ]
    return tuple(sorted(found, key=lambda one: one.at, reverse=True)[:LAST_SHOWN])


def _passes(session: Session, sample_id: int, names: dict[str, str]) -> list[Pass]:
    """The sample's passes as corrected, those taken back left out."""
    events = corrected(events_of(session, sample_id))
    code = next((str(event.data["code"]) for event in reversed(events) if event.data.get("code")), "")
    return [_pass(event, code, names) for event in events if event.kind in _EVENTS and not event.undone]


def _pass(event: Event, code: str, names: dict[str, str]) -> Pass:
    return Pass(
        code=payload.shown(code),
        stage=_EVENTS[event.kind],
        at=event.occurred_at,
        by=names.get(event.by, event.by),
        screen_mm=str(event.data["screen_mm"]),
        mill=str(event.data.get("mill") or ""),
        cleaned=bool(event.data.get("cleaned", True)),
    )


def mill_sack(session: Session, sample: Sample) -> MillSack:
    """The sack as the mill's page shows it; the sample's lot, field and producer must be loaded."""
    standing = session.get_one(StandingRow, sample.id)
    stage = None if standing.hold else _NEXT.get(standing.state)
    lot = sample.lot
    return MillSack(
        code=standing.code or "",
        lot=lot.id,
        producer=lot.field.producer.name,
        field=lot.field.name,
        cutting=lot.cutting,
        state=standing.state,
        hold=standing.hold,
        stage=stage,
        usual_screen=practice_in_force(session).number(f"{stage}_screen") if stage else None,
        passes=tuple(_passes(session, sample.id, party_names(session))),
        seen=last_entry(session, sample.id),
    )
