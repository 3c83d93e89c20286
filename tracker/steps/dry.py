"""Oven loads: which sacks go in together, at what setting, and when they come out."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.dry_matter import load_findings
from tracker.domain.findings import Finding
from tracker.domain.times import offset_minutes
from tracker.domain.units import positive
from tracker.errors import Conflict, NotFound, Refused
from tracker.steps.append_event import following, on_sample
from tracker.storage.coring import Sample
from tracker.storage.custody import has_ended
from tracker.storage.equipment import version_used
from tracker.storage.intake import OvenLoad, OvenPlace
from tracker.storage.kept import practice_in_force

HOTTEST_CELSIUS = 150


def load_oven(
    session: Session, name: str, samples: Sequence[Sample], act: Act, *, oven: str, set_celsius: str | Decimal
) -> OvenLoad:
    """Put sacks in the oven as one load; positions are 1, 2, 3 in the order given. set_celsius: degrees Celsius.

    Raises Refused `load-empty`, `sample-twice`, `not-an-oven-setting`, Conflict `load-known`, and what custody
    raises for any sack, in which case no sack is in.
    """
    celsius = positive(set_celsius, field="set_celsius")
    if celsius > HOTTEST_CELSIUS:
        raise Refused(
            "not-an-oven-setting",
            f"{celsius} C chars hay.",
            field="set_celsius",
            remedy="Set the oven near 55 C, and write the setting in degrees Celsius.",
        )
    _check_load(session, name, samples)
    load = OvenLoad(
        name=name,
        oven=oven,
        set_celsius=celsius,
        in_at=act.occurred_at,
        offset_minutes=offset_minutes(act.at),
    )
    session.add(load)
    session.flush()
    described = version_used(session, "oven", oven)
    for position, sample in enumerate(samples, start=1):
        session.add(OvenPlace(load_id=load.id, sample_id=sample.id, position=position))
        data = {"load": name, "oven": oven, "position": str(position), "set_celsius": str(celsius)}
        data |= described
        on_sample(session, "oven in", sample, data, following(act, position))
    session.flush()
    return load


def _check_load(session: Session, name: str, samples: Sequence[Sample]) -> None:
    if not samples:
        raise Refused(
            "load-empty", "No sack goes in.", field="samples", remedy="Scan the sacks of this load."
        )
    ids = [sample.id for sample in samples]
    if len(set(ids)) < len(ids):
        raise Refused(
            "sample-twice",
            "One sack stands twice in this load.",
            field="samples",
            remedy="Scan each sack once; look for the one that was missed.",
        )
    if session.scalar(select(OvenLoad.id).where(OvenLoad.name == name)) is not None:
        raise Conflict(
            "load-known", f"There is a load {name} already.", field="load", remedy="Give it a new name."
        )


def empty_oven(session: Session, name: str, act: Act) -> tuple[OvenLoad, tuple[Finding, ...]]:
    """Take the whole load out; each sack carries what is to be said of the hours and the setting.

    Raises NotFound `unknown-load`, Conflict `load-out`, Refused `oven-times-reversed`, and what custody raises.
    """
    load = session.scalar(select(OvenLoad).where(OvenLoad.name == name))
    if load is None:
        raise NotFound(
            "unknown-load", f"There is no load {name}.", field="load", remedy="`tracker waiting` lists them."
        )
    if load.out_at is not None:
        raise Conflict(
            "load-out", f"Load {name} is out already.", field="load", remedy="Nothing is left to do."
        )
    hours = Decimal(int((act.occurred_at - load.in_at).total_seconds())) / 3600
    findings = load_findings(hours, load.set_celsius, practice_in_force(session))
    places = select(OvenPlace).where(OvenPlace.load_id == load.id).order_by(OvenPlace.position)
    for place in session.scalars(places).all():
        sample = session.get_one(Sample, place.sample_id)
        if has_ended(session, sample.id):
            # A sack lost from the oven must not keep the others in it.
            continue
        data = {"load": name, "oven": load.oven, "hours": format(hours.quantize(Decimal("0.01")), "f")}
        on_sample(session, "oven out", sample, data, following(act, place.position), findings=findings)
    load.out_at = act.occurred_at
    session.flush()
    return load, findings
