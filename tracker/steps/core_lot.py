"""Record what was really cored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain import coring
from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Act
from tracker.domain.units import grams, whole
from tracker.errors import Refused
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.custody import EventRow
from tracker.storage.tallies import tally_coring


def core_lot(
    session: Session,
    sample: Sample,
    act: Act,
    *,
    cores_taken: str | int | None = None,
    bales: Mapping[int, int] | None = None,
    entry: str | None = None,
    started_at: datetime | None = None,
    deviations: Sequence[str] = (),
    composite_g: str | Decimal | None = None,
    weather: str = "",
    place: Mapping[str, str] | None = None,
) -> EventRow:
    """Record the coring of a planned sample; act.at is when it ended.

    bales: bale number -> cores, None when the plan's bales were cored as planned. entry: "side" or "end", None
    for the plan's. Anything otherwise than planned becomes a deviation by itself; fewer cores than planned need
    one in words too. composite_g: grams of the bag on a spring scale, if there was one. place: where the device
    said that it was, WGS 84 degrees and metres as text.

    Raises Refused `cores-contradict-bales`, `deviation-missing`, `not-an-entry`, `coring-times-reversed`, and
    what domain.coring.deviations and domain.custody raise.
    """
    planned = CoringPlan.from_dict(plan_in_force(session, sample.id).body)
    taken = _taken(planned, cores_taken, bales)
    side = planned.entry if entry is None else entry_read(entry, field="entry")
    if started_at is not None and started_at > act.at:
        raise Refused(
            "coring-times-reversed",
            "The coring ended before it began.",
            field="started_at",
            remedy="Check both times.",
        )
    said = [words.strip() for words in deviations if words.strip()]
    if taken < planned.cores and not said:
        raise Refused(
            "deviation-missing",
            f"{taken} cores were taken and {planned.cores} planned.",
            field="deviations",
            remedy="Say in a few words why.",
        )
    data: dict[str, Any] = {
        "plan": planned.version,
        "cores_taken": str(taken),
        "entry": side,
        "probe": planned.probe.name,
        "depth_mm": str(planned.depth_mm),
        "bales": {str(bale): str(cores) for bale, cores in (bales or {}).items()} or None,
        "started_at": started_at.isoformat() if started_at else None,
        "composite_g": None if composite_g is None else str(grams(composite_g, field="composite_g")),
        "weather": weather or None,
        **({"place": dict(place)} if place else {}),
        "deviations": [*_departures(planned, bales, taken, side), *said],
    }
    event = on_sample(session, "cored", sample, data, act)
    tally_coring(session, event, planned)
    return event


def _taken(planned: CoringPlan, cores_taken: str | int | None, bales: Mapping[int, int] | None) -> int:
    if bales is None:
        return planned.cores if cores_taken is None else whole(cores_taken, field="cores_taken", least=1)
    counted = sum(bales.values())
    if cores_taken is not None and whole(cores_taken, field="cores_taken", least=1) != counted:
        raise Refused(
            "cores-contradict-bales",
            f"{cores_taken} cores are given, and the bales add up to {counted}.",
            field="cores_taken",
            remedy="Count the ticks on the card again.",
        )
    return counted


def entry_read(text: str, *, field: str) -> str:
    """Where the probe went in, "side" or "end". Raises Refused `not-an-entry`."""
    if text not in (coring.SIDE, coring.END):
        raise Refused(
            "not-an-entry",
            f"{text!r} is not where a probe enters.",
            field=field,
            remedy=f"Write {coring.SIDE} or {coring.END}.",
        )
    return text


def _departures(
    planned: CoringPlan, bales: Mapping[int, int] | None, taken: int, entry: str
) -> tuple[str, ...]:
    if bales is not None:
        return coring.deviations(planned, bales, entry)
    as_planned = {pick.bale: pick.cores for pick in planned.picks}
    found = coring.deviations(planned, as_planned, entry)
    return (
        found if taken == planned.cores else (*found, f"{taken} cores in all, planned were {planned.cores}.")
    )
