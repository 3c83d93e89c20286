"""Weigh the sacks of a load dry, and one in ten a second time."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.steps.append_event import following, on_sample
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, has_ended
from tracker.storage.intake import OvenLoad, OvenPlace

DIFFER = "dry-weighings-differ"


def weigh_dry(
    session: Session,
    load: str,
    sample: Sample,
    what: str,
    grams: Decimal,
    act: Act,
    *,
    balance: str,
    zeroed: bool = False,
    raw: str = "",
) -> EventRow:
    """Keep one dry weight of a sack of this load. what: "dry" or "dry again".

    Where a second weight is further from the first than the programme allows, every sack of the load is put on hold:
    what is true of the one that was drawn may be true of all. Raises Refused `other-load`, and what weigh raises.
    """
    places = session.scalars(
        select(OvenPlace)
        .join(OvenLoad, OvenLoad.id == OvenPlace.load_id)
        .where(OvenLoad.name == load)
        .order_by(OvenPlace.position)
    ).all()
    if sample.id not in [place.sample_id for place in places]:
        raise Refused(
            "other-load",
            f"This sack is not of load {load}.",
            field="code",
            remedy="Put it back; its own page says to which load it belongs.",
        )
    event = weigh(session, sample, what, grams, act, balance=balance, zeroed=zeroed, raw=raw)
    differ = [found["words"] for found in event.data.get("findings", ()) if found["code"] == DIFFER]
    for place in places if differ else ():
        other = session.get_one(Sample, place.sample_id)
        if not has_ended(session, other.id):
            reason = f"Load {load}: the sack at one place weighed otherwise when weighed again. {differ[0]}"
            on_sample(session, "held", other, {"reason": reason}, following(act))
    return event
