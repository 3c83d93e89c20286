"""What may happen to a sample next: the rules of custody, each with the words that refuse and what to do instead."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta

from tracker.domain.custody import (
    AT_LAB,
    ENDED,
    IN_FIELD,
    KINDS,
    LAB_ROLES,
    Event,
    Kind,
    Standing,
    after,
    corrected,
    in_order,
)
from tracker.domain.times import said
from tracker.errors import Refused


def admit(events: Sequence[Event], new: Event) -> Standing:
    """Where the sample stands with the new event added, or Refused with what stands in its way.

    An event that belongs before others needs a late reason (else `out-of-order`), and every later event must
    still follow from it (else `late-entry-breaks-chain`).
    """
    later = in_order(event for event in events if event.occurred_at > new.occurred_at)
    if later and not new.late_reason:
        raise Refused(
            "out-of-order",
            f"{later[-1].kind!r} at {said(later[-1].occurred_at)} is already recorded, and this happened before.",
            field="at",
            remedy="If the time is right, record it as a late entry with the reason.",
        )
    standing, broken = _gone_through(events, new)
    if broken is not None:
        raise broken
    return standing


def _gone_through(events: Sequence[Event], new: Event) -> tuple[Standing, Refused | None]:
    """Where the sample stands with the new event, and the first later event that could not have followed from it.

    An event that did not follow before either is not held against the new one. Raises Refused as check, for the
    new event itself.
    """
    _check_complete(_kind_of(new), new)
    # The whole life is gone through again, with its corrections: an amendment changes what stood before it.
    standing, reached = Standing(), False
    broken: Refused | None = None
    for event in corrected([*events, new]):
        if event.event_id == new.event_id:
            check(standing, event)
            reached = True
        elif reached and broken is None and not event.undone:
            broken = _broken(standing, event, events)
        standing = after(standing, event)
    return standing, broken


def admit_from_field(
    events: Sequence[Event], new: Event, reach: timedelta | None
) -> tuple[Event, Standing, str]:
    """As admit, for an entry whose clock may be off: where it does not fit at its time, it is moved to the nearest
    moment of the sample's life at which it does, `reach` away at most (None: as far as it takes). Where it could
    have happened at its time, and only what is on record after it could not, it is admitted and the doubt is said.

    The event as it stands, where the sample stands with it, and the doubt in words. Raises Refused as admit, where
    it can have happened at none of these moments.
    """
    late = replace(new, late_reason=new.late_reason or _OUT_OF_ORDER) if _is_late(events, new) else new
    try:
        return late, admit(events, late), ""
    except Refused as refused:
        if refused.code in _NOT_A_MATTER_OF_TIME:
            raise
        for moment in _moments(events, late, reach):
            moved = replace(late, occurred_at=moment, late_reason=late.late_reason or _OUT_OF_ORDER)
            with suppress(Refused):
                return moved, admit(events, moved), ""
        if refused.code != _BREAKS:
            raise
        standing, broken = _gone_through(events, late)
        return late, standing, broken.message if broken else ""


_BREAKS = "late-entry-breaks-chain"
_OUT_OF_ORDER = "the office heard of it after what followed it"
_NOT_A_MATTER_OF_TIME = ("unknown-event", "entry-incomplete", "sample-ended")


def _is_late(events: Sequence[Event], new: Event) -> bool:
    return any(event.occurred_at > new.occurred_at for event in events)


def _moments(events: Sequence[Event], new: Event, reach: timedelta | None) -> list[datetime]:
    """When it may have been instead: right after each entry that is there, and before the first; nearest first."""
    zone = new.occurred_at.tzinfo
    times = {event.occurred_at.astimezone(zone) for event in events}
    if times:
        times.add(min(times) - timedelta(seconds=1))
    near = (when for when in times if reach is None or abs(when - new.occurred_at) <= reach)
    return sorted(near, key=lambda when: (abs(when - new.occurred_at), when))


def _broken(standing: Standing, event: Event, before: Sequence[Event]) -> Refused | None:
    """The complaint, if the event cannot follow on this standing and did follow without the new one."""
    try:
        check(standing, event, history=True)
    except Refused as refused:
        if not _followed(event, before):
            return None
        return Refused(
            "late-entry-breaks-chain",
            f"With this in its place, {event.kind!r} at {said(event.occurred_at)} could not have happened: "
            f"{refused.message}",
            field="at",
            remedy="Check the time and the kind of the entry; amend what is wrong.",
        )
    return None


def _followed(event: Event, events: Sequence[Event]) -> bool:
    """Whether the event follows from what is on record before it."""
    standing = Standing()
    for one in corrected(events):
        if one.event_id == event.event_id:
            try:
                check(standing, one, history=True)
            except Refused:
                return False
            return True
        standing = after(standing, one)
    return True


def check(standing: Standing, event: Event, *, history: bool = False) -> None:
    """Nothing, if the event may happen to a sample that stands so; else Refused.

    history: it has happened, and a hold that was heard of only now did not stand in its way then.
    Codes: `unknown-event`, `entry-incomplete`, `wrong-state`, `sample-ended`, `on-hold`, `not-on-hold`,
    `not-the-holder`, `not-the-receiver`, `no-open-transfer`, `not-stored`.
    """
    kind = _kind_of(event)
    _check_complete(kind, event)
    _check_state(kind, standing, event)
    if kind.testing and standing.on_hold and not history:
        raise Refused(
            "on-hold",
            f"The sample is on hold: {standing.holds[0].reason}",
            field="sample",
            remedy="Somebody who answers for it must decide and lift the hold first.",
        )
    if kind.who == "receiver":
        _check_receiver(standing, event)
    elif kind.who == "taker":
        _check_taker(standing, event)
    elif kind.who == "holder" and not _may_act(standing, event):
        raise _not_the_holder(standing, event)


def _kind_of(event: Event) -> Kind:
    kind = KINDS.get(event.kind)
    if kind is None:
        raise Refused(
            "unknown-event",
            f"{event.kind!r} is not something that happens to a sample.",
            field="kind",
            remedy=f"Known are: {', '.join(KINDS)}.",
        )
    return kind


def _check_complete(kind: Kind, event: Event) -> None:
    for needed in kind.needs:
        if event.data.get(needed) in (None, ""):
            raise Refused(
                "entry-incomplete",
                f"{event.kind!r} needs {needed.replace('_', ' ')}.",
                field=needed,
                remedy="Fill it in.",
            )


def _check_state(kind: Kind, standing: Standing, event: Event) -> None:
    # What was seen can be told of a sample at any time, also once it has ended.
    if event.kind in ("amended", "noted"):
        return
    if standing.state in ENDED:
        raise Refused(
            "sample-ended",
            f"The sample is {standing.state}, and nothing more can be done with it.",
            field="sample",
            remedy="If that was entered by mistake, add an amendment that says so.",
        )
    if event.kind in ("held", "hold lifted", "lost"):
        if event.kind == "hold lifted" and not standing.on_hold:
            raise Refused(
                "not-on-hold", "The sample is not on hold.", field="sample", remedy="Nothing to lift."
            )
        return
    if event.kind == "received" and standing.state in (*IN_FIELD, *AT_LAB):
        return
    if standing.state not in kind.frm:
        raise Refused(
            "wrong-state",
            f"The sample is {_state_said(standing.state)}; {event.kind!r} can follow only on "
            f"{', '.join(_state_said(state) for state in kind.frm)}.",
            field="sample",
            remedy=f"Next for it: {', '.join(next_acts(standing)) or 'nothing'}.",
        )


def _state_said(state: str) -> str:
    return "not yet begun" if state == "none" else state


def _may_act(standing: Standing, event: Event) -> bool:
    holder = standing.holder
    if holder is None or holder.party == event.by:
        return True
    # A colleague of the laboratory may act on what the laboratory has; the event keeps who it was.
    lab_has_it = holder.role in LAB_ROLES or (holder.kind == "place" and holder.secure)
    return lab_has_it and event.role in LAB_ROLES


def _not_the_holder(standing: Standing, event: Event) -> Refused:
    holder = standing.holder.party if standing.holder else "nobody"
    return Refused(
        "not-the-holder",
        f"{event.by} does not have this sample; {holder} does.",
        field="by",
        remedy="The holder relinquishes it first, and you receive it.",
    )


def _check_receiver(standing: Standing, event: Event) -> None:
    transfer = standing.transfer
    if transfer is None:
        _check_unannounced(standing, event)
        return
    # A colleague who signed for the giver is still the giving side: one person cannot be both.
    if event.by in (transfer.giver.party, transfer.by):
        raise Refused(
            "not-the-receiver",
            f"{event.by} relinquished the sample and cannot also receive it.",
            field="by",
            remedy="The other side signs; if nobody takes it, cancel the transfer.",
        )
    named = transfer.to
    # Carriers and places do not sign, and a colleague at the desk may sign for the one named.
    stands_in = event.role in LAB_ROLES and (named.kind != "person" or named.role in LAB_ROLES)
    if named.party != event.by and not stands_in:
        raise Refused(
            "not-the-receiver",
            f"The sample was relinquished to {named.party}, not to {event.by}.",
            field="by",
            remedy=f"{named.party} receives it, or the transfer is cancelled and made again.",
        )


def _check_unannounced(standing: Standing, event: Event) -> None:
    if event.kind != "received":
        return
    if _in_place(standing):
        return
    if standing.state in IN_FIELD and event.data.get("unannounced"):
        return
    holder = standing.holder.party if standing.holder else "nobody"
    raise Refused(
        "no-open-transfer",
        f"Nobody has relinquished this sample to anyone; {holder} has it.",
        field="sample",
        remedy="The holder relinquishes it first. If it arrived without that, receive it as unannounced with "
        "the reason; it goes on hold.",
    )


def _check_taker(standing: Standing, event: Event) -> None:
    if not _with_place(standing):
        raise Refused(
            "not-stored",
            "The sample is not stored anywhere it could be taken out of.",
            field="sample",
            remedy="The holder relinquishes it, and you receive it.",
        )
    # A bag may be fetched from a drop box by whoever carries it on; what the laboratory keeps, only it takes out.
    if standing.state in AT_LAB and event.role not in LAB_ROLES:
        raise _not_the_holder(standing, event)


def next_acts(standing: Standing) -> tuple[str, ...]:
    """What may happen next to a sample that stands so, in the order of its way; corrections left out."""
    if standing.state in ENDED:
        return ()
    return tuple(
        name
        for name, kind in KINDS.items()
        if standing.state in kind.frm
        and name not in ("undone", "tag settled")
        and not (kind.testing and standing.on_hold)
        # A receipt without an open transfer is the exception, not what comes next.
        and (name != "received" or standing.transfer is not None or _in_place(standing))
        and (name != "taken out" or _with_place(standing))
    ) + (("hold lifted",) if standing.on_hold else ())


def _in_place(standing: Standing) -> bool:
    return _with_place(standing) and standing.state in IN_FIELD


def _with_place(standing: Standing) -> bool:
    return standing.holder is not None and standing.holder.kind == "place"
