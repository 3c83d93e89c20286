"""What each kind of a phone's entry does: the same steps that the office's own commands and pages take."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from sqlalchemy.orm import Session

from labels import payload as codes
from tracker.domain.custody import Act, Party
from tracker.domain.tag import BOUND
from tracker.errors import Refused
from tracker.steps.append_event import following, standing_of
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.field_lots import core, plan, register
from tracker.steps.field_notes import note, photo
from tracker.steps.field_refs import (
    Made,
    Payload,
    Waits,
    bag_coded,
    sample_meant,
    text,
    texts,
)
from tracker.steps.hand_over import relinquish, store, take_out
from tracker.steps.issue_tags import count_in
from tracker.steps.print_tags import void_tag
from tracker.steps.receive import receive
from tracker.steps.settle_tag import contest_tag
from tracker.storage.coring import Sample
from tracker.storage.people import party
from tracker.storage.tags import rivals, tag_coded

# A receipt without the giver's own entry waits this long for it; then it stands alone, and says so (our choice).
WAIT_FOR_GIVER = timedelta(hours=24)


@dataclass(frozen=True)
class Done:
    """What an entry did. notices: what the person with the phone should know of it."""

    made: Made = field(default_factory=Made)
    contested: bool = False
    notices: tuple[str, ...] = ()


def do(session: Session, kind: str, payload: Payload, act: Act, waited: timedelta) -> Done:
    """Do what the entry says. waited: how long the office has had it.

    Raises Waits where it hangs on another entry, and what the steps raise.
    """
    if kind == "receive":
        return _receive(session, payload, act, waited)
    return _KINDS[kind](session, payload, act)


def _register(session: Session, payload: Payload, act: Act) -> Done:
    lot, notices = register(session, payload, act)
    return Done(Made(lot=lot), notices=notices)


def _plan(session: Session, payload: Payload, act: Act) -> Done:
    sample, notices = plan(session, payload, act)
    return Done(_made(sample), notices=notices)


def _core(session: Session, payload: Payload, act: Act) -> Done:
    sample = sample_meant(session, payload)
    core(session, sample, payload, act)
    return Done(_made(sample))


def _bag(session: Session, payload: Payload, act: Act) -> Done:
    tag, sample = tag_coded(session, text(payload, "code", needed=True)), sample_meant(session, payload)
    made = _made(sample, tag.code)
    if sample.id in (tag.sample_id, *rivals(session, tag)):
        return Done(made, notices=("The office had this tag on this bag already.",))
    if standing_of(session, sample).state in ("none", "planned"):
        raise Waits(f"The coring of lot {sample.lot_id} is not here yet.")
    if tag.state != BOUND:
        bag_cores(session, sample, tag.code, act)
        return Done(made)
    contest_tag(session, tag, sample, act)
    words = f"Tag {codes.shown(tag.code)} is on record on another bag too. Both bags are on hold; the office decides."
    return Done(made, contested=True, notices=(words,))


def _seal(session: Session, payload: Payload, act: Act) -> Done:
    sample = bag_coded(session, text(payload, "code", needed=True), act.by)
    seal_bag(session, sample, text(payload, "seal", needed=True), act)
    return Done(_made(sample))


def _hand_over(session: Session, payload: Payload, act: Act) -> Done:
    to = party(session, text(payload, "to", needed=True), field="to")
    if to.kind == "place":
        return _each(session, payload, act, lambda sample, one: store(session, sample, to, one))
    waybill = text(payload, "waybill")
    signs = _second_person(session, payload, to)

    def hand(sample: Sample, one: Act) -> None:
        relinquish(session, sample, to, one, waybill=waybill)
        if signs is not None:
            second = replace(
                following(one), by=signs, origin={**one.origin, "signed_on_phone_of": act.by.key}
            )
            receive(session, sample, second, **_seen(payload, session, sample))

    return _each(session, payload, act, hand)


def _second_person(session: Session, payload: Payload, to: Party) -> Party | None:
    """Who signed for the bags on the giver's own phone, if somebody did. Raises Refused `not-the-receiver`."""
    if not payload.get("to_signs"):
        return None
    signs = party(session, text(payload, "receiver") or to.key, field="receiver")
    if signs.key != to.key:
        raise Refused(
            "not-the-receiver",
            f"The bags were handed to {to.key}, and {signs.key} signed for them.",
            field="receiver",
            remedy="Whoever takes the bags signs for them.",
        )
    return signs


def _seen(payload: Payload, session: Session, sample: Sample) -> dict[str, Any]:
    """What the receiver saw. A seal that nobody spoke of is taken as whole and not read, not as missing."""
    state = text(payload, "seal_state")
    if not state:
        state = "intact" if standing_of(session, sample).seal else "none"
    return {
        "condition": texts(payload, "condition"),
        "seal_state": state,
        "seal_read": text(payload, "seal_read"),
    }


def _receive(session: Session, payload: Payload, act: Act, waited: timedelta) -> Done:
    giver = text(payload, "from")

    def sign(sample: Sample, one: Act) -> None:
        seen = _seen(payload, session, sample)
        try:
            receive(session, sample, one, **seen)
        except Refused as refused:
            if refused.code != "no-open-transfer":
                raise
            if waited < WAIT_FOR_GIVER:
                raise Waits(f"{giver or 'The giver'} has not signed the bag away here yet.") from None
            why = "entered on a phone; the giver's own entry had not come a day later"
            receive(session, sample, one, unannounced=why, **seen)

    return _each(session, payload, act, sign)


def _store(session: Session, payload: Payload, act: Act) -> Done:
    place = party(session, text(payload, "place", needed=True), field="place")
    return _each(session, payload, act, lambda sample, one: store(session, sample, place, one))


def _take_out(session: Session, payload: Payload, act: Act) -> Done:
    return _each(session, payload, act, lambda sample, one: take_out(session, sample, one))


def _void(session: Session, payload: Payload, act: Act) -> Done:
    tag = void_tag(session, text(payload, "code", needed=True), act, reason=text(payload, "reason"))
    return Done(Made(code=tag.code))


def _replace(session: Session, payload: Payload, act: Act) -> Done:
    sample = bag_coded(session, text(payload, "old_code", needed=True), act.by)
    code = text(payload, "code", needed=True)
    row = replace_tag(session, sample, code, act, reason=text(payload, "reason"))
    return Done(_made(sample, row.data["code"]))


def _count_in(session: Session, payload: Payload, act: Act) -> Done:
    count_in(session, texts(payload, "codes", needed=True), act)
    return Done()


def _note(session: Session, payload: Payload, act: Act) -> Done:
    lot, sample = note(session, payload, act)
    return Done(_made(sample) if sample else Made(lot=lot.id if lot else None))


def _photo(session: Session, payload: Payload, act: Act) -> Done:
    lot, sample = photo(session, payload, act)
    return Done(_made(sample) if sample else Made(lot=lot.id if lot else None))


def _each(session: Session, payload: Payload, act: Act, do_one: Callable[[Sample, Act], object]) -> Done:
    """The same for each bag of the entry; all of it or nothing, and the refusal names the bag."""
    given = list(dict.fromkeys(texts(payload, "codes", needed=True)))
    samples = [bag_coded(session, code, act.by) for code in given]
    for place, (code, sample) in enumerate(zip(given, samples, strict=True)):
        try:
            do_one(sample, following(act, place) if place else act)
        except Refused as refused:
            with suppress(Refused):
                code = codes.shown(code)
            refused.message = f"{code}: {refused.message}"
            raise
    return Done(_made(samples[0]) if len(samples) == 1 else Made())


def _made(sample: Sample, code: str | None = None) -> Made:
    return Made(lot=sample.lot_id, sample=sample.id, code=code)


_KINDS: dict[str, Callable[[Session, Payload, Act], Done]] = {
    "register lot": _register,
    "plan coring": _plan,
    "core lot": _core,
    "bag cores": _bag,
    "seal bag": _seal,
    "hand over": _hand_over,
    "store": _store,
    "take out": _take_out,
    "void tag": _void,
    "replace tag": _replace,
    "count in": _count_in,
    "note": _note,
    "photo": _photo,
}
