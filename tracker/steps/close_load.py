"""Bring an oven load to its end: every sack in it is weighed dry, lost, or set aside with a reason."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Conflict, NotFound, Refused
from tracker.steps.append_event import on_sample
from tracker.steps.end_sample import lose
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, has_ended
from tracker.storage.intake import LoadClosed, OvenLoad, OvenPlace, SetAside, weighings_in_force


def set_aside(session: Session, name: str, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Say why a sack of the load is not weighed dry with it; it goes on hold until somebody decides.

    Raises NotFound `unknown-load`, `not-in-load`, Refused `reason-missing`, Conflict `load-closed`, `set-aside`.
    """
    require_reason(reason)
    place = _place(session, name, sample)
    if session.scalar(select(SetAside.id).where(SetAside.place_id == place.id)) is not None:
        raise Conflict(
            "set-aside", "The sack is set aside already.", field="code", remedy="Nothing is left to do."
        )
    session.add(SetAside(place_id=place.id, reason=reason.strip(), by=act.by.key, at=act.now))
    words = f"Set aside from oven load {name}: {reason.strip()}"
    return on_sample(session, "held", sample, {"reason": words}, act)


def lose_from_load(session: Session, name: str, sample: Sample, act: Act, *, circumstances: str) -> EventRow:
    """Say that a sack of the load is lost, and how. Raises as set_aside, save its last, and as lose."""
    _place(session, name, sample)
    return lose(session, sample, act, circumstances=circumstances)


def close_load(session: Session, name: str, act: Act) -> LoadClosed:
    """Close the load. Raises NotFound `unknown-load`, Conflict `load-closed`, Refused `load-has-gaps`."""
    load = _open_load(session, name)
    places = session.scalars(
        select(OvenPlace).where(OvenPlace.load_id == load.id).order_by(OvenPlace.position)
    ).all()
    gaps = [place.position for place in places if not _settled(session, load, place)]
    if gaps:
        raise Refused(
            "load-has-gaps",
            f"Load {name} has sacks that nothing is said of, at place {', '.join(map(str, gaps))}.",
            field="load",
            remedy="Weigh them dry, say that they are lost, or set them aside with a reason.",
        )
    row = LoadClosed(load_id=load.id, by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    return row


def _open_load(session: Session, name: str) -> OvenLoad:
    load = session.scalar(select(OvenLoad).where(OvenLoad.name == name))
    if load is None:
        raise NotFound("unknown-load", f"There is no load {name}.", field="load", remedy="Check its name.")
    if session.scalar(select(LoadClosed.id).where(LoadClosed.load_id == load.id)) is not None:
        raise Conflict(
            "load-closed", f"Load {name} is closed.", field="load", remedy="Nothing is left to do."
        )
    return load


def _place(session: Session, name: str, sample: Sample) -> OvenPlace:
    load = _open_load(session, name)
    place = session.scalar(
        select(OvenPlace).where(OvenPlace.load_id == load.id, OvenPlace.sample_id == sample.id)
    )
    if place is None:
        raise NotFound(
            "not-in-load",
            f"The sack was not in load {name}.",
            field="code",
            remedy="Scan it: its own page says where it belongs.",
        )
    return place


def _settled(session: Session, load: OvenLoad, place: OvenPlace) -> bool:
    dry = [
        row
        for row in weighings_in_force(session, place.sample_id)
        if row.what == "dry" and load.out_at is not None and row.weighed_at >= load.out_at
    ]
    if dry or session.scalar(select(SetAside.id).where(SetAside.place_id == place.id)) is not None:
        return True
    return has_ended(session, place.sample_id)
