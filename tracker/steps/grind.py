"""Grind a dried sample, coarse and then fine."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.domain.custody import Act, that_count
from tracker.domain.grinding import COARSE, FINE, gate
from tracker.domain.practice import Practice
from tracker.domain.units import percent, positive
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, events_of
from tracker.storage.equipment import version_used
from tracker.storage.kept import practice_in_force

EVENTS = {COARSE: "coarse ground", FINE: "fine ground"}


def grind(
    session: Session,
    sample: Sample,
    stage: str,
    act: Act,
    *,
    screen_mm: str | Decimal | None = None,
    mill: str = "",
    cleaned: bool = True,
    dm: str | Decimal | None = None,
) -> EventRow:
    """Record one pass through the mill. stage: "coarse" or "fine"; screen_mm None for the programme's usual
    screen; dm: % dry matter by a moisture meter, if measured; cleaned: the mill was cleaned before.

    Raises what domain.grinding.gate and custody raise.
    """
    practice = practice_in_force(session)
    screen = _screen(stage, screen_mm, practice)
    events = that_count(events_of(session, sample.id))
    done = {
        key: Decimal(event.data["screen_mm"])
        for event in events
        for key, kind in EVENTS.items()
        if event.kind == kind
    }
    measured = None if dm is None else percent(dm, field="dm")
    dried = any(event.kind == "dry weighed" for event in events)
    findings = gate(stage, screen, done=done, dm=measured, dried=dried, practice=practice)
    data = {
        "screen_mm": str(screen),
        "mill": mill.strip() or None,
        "cleaned": cleaned,
        "dm": None if measured is None else str(measured),
        **version_used(session, "mill", mill.strip()),
    }
    return on_sample(session, EVENTS[stage], sample, data, act, findings=findings)


def _screen(stage: str, screen_mm: str | Decimal | None, practice: Practice) -> Decimal:
    if screen_mm is not None:
        return positive(screen_mm, field="screen_mm")
    # A grind nobody knows has no usual screen; the gate refuses it by its name.
    return practice.number(f"{stage}_screen") if stage in EVENTS else Decimal(1)
