"""Hand a sample over: signed away by one, signed for by the other; or put in a place that holds it."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Party
from tracker.errors import Refused
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow


def relinquish(session: Session, sample: Sample, to: Party, act: Act, *, waybill: str = "") -> EventRow:
    """Sign the sample away; it stays with the giver until somebody signs for it.

    A carrier takes it under a waybill. Raises Refused `handed-to-oneself`, `waybill-missing`, and what custody
    raises.
    """
    if to.key == act.by.key:
        raise Refused(
            "handed-to-oneself",
            f"{act.by.key} cannot hand a sample to the same person.",
            field="to",
            remedy="Name who takes it.",
        )
    if to.kind == "carrier" and not waybill.strip():
        raise Refused(
            "waybill-missing",
            f"{to.name} is a carrier and signs for nothing.",
            field="waybill",
            remedy="Write the number of the waybill.",
        )
    data = {"to": to.as_data(), "waybill": waybill.strip() or None}
    return on_sample(session, "relinquished", sample, data, act)


def refuse_transfer(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Decline to take the sample; it is with the giver as before."""
    return on_sample(session, "transfer refused", sample, {"reason": reason.strip()}, act)


def cancel_transfer(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Call the hand-over off; it is with the giver as before."""
    return on_sample(session, "transfer cancelled", sample, {"reason": reason.strip()}, act)


def store(session: Session, sample: Sample, place: Party, act: Act) -> EventRow:
    """Put the sample in a place, which holds it from then on. Raises Refused `not-a-place-to-store`."""
    require_place(place)
    return on_sample(session, "stored", sample, {"place": place.as_data()}, act)


def require_place(party: Party) -> None:
    """Raises Refused `not-a-place-to-store` for a person or a carrier."""
    if party.kind != "place":
        raise Refused(
            "not-a-place-to-store",
            f"{party.name} is a {party.kind}, not a place.",
            field="place",
            remedy="Name a place; a person or carrier gets it by a hand-over.",
        )


def take_out(session: Session, sample: Sample, act: Act) -> EventRow:
    """Take the sample out of the place that holds it."""
    return on_sample(session, "taken out", sample, {}, act)
