"""The chain of custody read back: who had the sample when, where nobody is known to have had it, and the words.

A gap is never left for the reader to notice (ISO/IEC 17025:2017, 7.4.3, doubt about an item is said on the
report): it is computed from the events and said with its length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tracker.domain.custody import Event, Holder, Standing, after, that_count
from tracker.domain.practice import COMMON, Practice
from tracker.domain.times import duration_said, said

Names = Mapping[str, str]


@dataclass(frozen=True)
class Gap:
    """A span in which nobody is known to have had the sample in their keeping."""

    since: datetime
    until: datetime
    words: str


def holder_at(events: Iterable[Event], when: datetime) -> Holder | None:
    """The one holder at that instant; while the sample is in transfer, still the one who gave it."""
    standing = Standing()
    for event in that_count(events):
        if event.occurred_at > when:
            break
        standing = after(standing, event)
    return standing.holder


def gaps(events: Iterable[Event], names: Names, practice: Practice = COMMON) -> tuple[Gap, ...]:
    """Every span in which the keeping of the sample is not accounted for, in order.

    Three kinds: received without having been relinquished, left in a place that does not lock, and a hand-over
    between two people that took longer than the programme's `handover_silence`.
    """
    silence = timedelta(minutes=int(practice.number("handover_silence")))
    found: list[Gap] = []
    standing, signed_at = Standing(), None
    for event in that_count(events):
        if event.kind == "received":
            gap = _gap(standing, event, signed_at, names, silence)
            if gap:
                found.append(gap)
        elif event.kind == "taken out" and _unlocked(standing) and signed_at is not None:
            found.append(_left_unlocked(standing, signed_at, event.occurred_at, names))
        standing = after(standing, event)
        if event.kind in ("bagged", "sealed", "relinquished", "received", "stored", "taken out", "archived"):
            signed_at = event.occurred_at
    return tuple(found)


def _gap(
    before: Standing, event: Event, signed_at: datetime | None, names: Names, silence: timedelta
) -> Gap | None:
    if before.transfer is not None:
        return _slow_transfer(before, event, names, silence)
    if _unlocked(before) and signed_at is not None:
        return _left_unlocked(before, signed_at, event.occurred_at, names)
    if event.data.get("unannounced") and signed_at is not None:
        giver = _name(names, before.holder.party) if before.holder else "anybody"
        span = duration_said(event.occurred_at - signed_at)
        return Gap(
            signed_at,
            event.occurred_at,
            f"For {span}, from {said(signed_at)} to {said(event.occurred_at)}, it is not known who had the bag: "
            f"it arrived without having been signed away by {giver}. Reason given: {event.data['unannounced']}",
        )
    return None


def _slow_transfer(before: Standing, event: Event, names: Names, silence: timedelta) -> Gap | None:
    transfer = before.transfer
    assert transfer is not None
    took = event.occurred_at - transfer.since
    # A carrier is named with a waybill and has the parcel for days: that is known, and no gap.
    if transfer.to.kind == "carrier" or took <= silence:
        return None
    return Gap(
        transfer.since,
        event.occurred_at,
        f"Between {said(transfer.since)}, when {_name(names, transfer.giver.party)} signed the bag away, and "
        f"{said(event.occurred_at)}, when {_name(names, event.by)} signed for it, {duration_said(took)} passed.",
    )


def _unlocked(standing: Standing) -> bool:
    holder = standing.holder
    return holder is not None and holder.kind == "place" and not holder.secure


def _left_unlocked(standing: Standing, since: datetime, until: datetime, names: Names) -> Gap:
    place = _name(names, standing.holder.party) if standing.holder else "a place"
    return Gap(
        since,
        until,
        f"From {said(since)} to {said(until)} ({duration_said(until - since)}) the bag lay in {place}, "
        "which is not kept locked.",
    )


def in_words(event: Event, names: Names) -> str:
    """The event as one sentence for people: what, and what was seen; who and when stand beside it."""
    write = _SENTENCES.get(event.kind)
    words = write(event.data, names) if write else f"{event.kind.capitalize()}."
    if event.data.get("hold"):
        words += f" Put on hold: {_stopped(event.data['hold'])}"
    changed = _changed(event) if event.amended else []
    if changed:
        original = event.amended[0].data
        was = (_said(key, "was", original.get(key, "not given"), names) for key in changed)
        words += f" Corrected since: {', '.join(was)}."
    if event.undone:
        words += " Taken back at once; it counts for nothing."
    if event.late_reason:
        words += f" Entered late: {_stopped(event.late_reason)}"
    if event.clock_doubted:
        words += " The device's clock ran ahead; the office's time stands here."
    return " ".join([words, *_came(event.data.get("origin") or {}, names)])


def _came(origin: Mapping[str, Any], names: Names) -> list[str]:
    """How an entry from the field came here, where that is more than a phone sending its own person's entry."""
    said_of: list[str] = []
    paper, sender = origin.get("paper"), origin.get("sent_by")
    if paper:
        typed = f", typed in by {_name(names, str(sender))}" if sender else ""
        said_of.append(f"From paper, form {paper['form']}{typed}.")
    elif sender:
        said_of.append(f"Sent under the sign-in of {_name(names, str(sender))}.")
    if origin.get("signed_on_phone_of"):
        said_of.append(f"Signed on the phone of {_name(names, str(origin['signed_on_phone_of']))}.")
    if origin.get("clock"):
        said_of.append(str(origin["clock"]))
    if origin.get("moved_from"):
        by_clock = said(datetime.fromisoformat(origin["moved_from"]))
        said_of.append(
            f"By its own time, {by_clock}, it cannot have happened; it stands at the nearest that fits."
        )
    return said_of


def _changed(event: Event) -> list[str]:
    original = event.amended[0].data
    return [key for key, value in event.data.items() if original.get(key) != value]


def _said(key: str, verb: str, value: Any, names: Names) -> str:
    if isinstance(value, Mapping) and "party" in value:
        value = _name(names, str(value["party"]))
    return f"{key.replace('_', ' ')} {verb} {value}"


def _stopped(text: Any) -> str:
    words = str(text).strip()
    return words if words.endswith((".", "!", "?")) else f"{words}."


def _name(names: Names, party: str) -> str:
    return names.get(party, party)


def _cored(data: Mapping[str, Any], names: Names) -> str:
    words = f"{data['cores_taken']} cores taken from the {data['entry']}."
    if data.get("deviations"):
        words += f" Differs from the plan: {'; '.join(data['deviations'])}."
    return words


def _received(data: Mapping[str, Any], names: Names) -> str:
    words = f"Received, {', '.join(data.get('condition') or ['condition not noted'])}"
    if data.get("seal_state") not in (None, "none"):
        words += f"; seal {data['seal_state']}"
    if data.get("discrepancy"):
        words += f"; {data['discrepancy']}"
    return _stopped(words)


def _relinquished(data: Mapping[str, Any], names: Names) -> str:
    words = f"Signed away to {_name(names, data['to']['party'])}"
    if data.get("waybill"):
        words += f", waybill {data['waybill']}"
    return _stopped(words)


def _amended(data: Mapping[str, Any], names: Names) -> str:
    changes = ", ".join(_said(key, "is", value, names) for key, value in data["changes"].items())
    return f"Correction: {changes}. {_stopped(data['reason'])}"


def _weighed(what: str) -> Callable[[Mapping[str, Any], Names], str]:
    def write(data: Mapping[str, Any], names: Names) -> str:
        return f"{what} weighed: {data['grams']} g on {data.get('balance') or 'a balance not named'}."

    return write


_SENTENCES: dict[str, Callable[[Mapping[str, Any], Names], str]] = {
    "plan issued": lambda data, names: f"Coring plan version {data['plan']} issued.",
    "cored": _cored,
    "bagged": lambda data, names: f"Cores closed in one bag, tag {data['code']} bound to it.",
    "tag replaced": lambda data, names: (
        f"Tag {data['old_code']} replaced by {data['code']}: {_stopped(data['reason'])}"
    ),
    "sealed": lambda data, names: f"Bag closed with seal {data['seal']}.",
    "relinquished": _relinquished,
    "received": _received,
    "transfer refused": lambda data, names: f"Hand-over refused: {_stopped(data['reason'])}",
    "transfer cancelled": lambda data, names: f"Hand-over called off: {_stopped(data['reason'])}",
    "noted": lambda data, names: f"Noted: {_stopped(data['words'])}",
    "tag settled": lambda data, names: (
        f"Decided: the bag keeps tag {data['code']}. {_stopped(data['reason'])}"
        if data["code"] == data.get("old_code")
        else f"Decided: the bag gives up tag {data.get('old_code', '')} and carries {data['code']}. "
        f"{_stopped(data['reason'])}"
    ),
    "stored": lambda data, names: f"Put in {_name(names, data['place']['party'])}.",
    "seal broken": lambda data, names: f"Seal {data['seal_read']} opened.",
    "tare weighed": _weighed("Empty sack"),
    "fresh weighed": _weighed("Sack with fresh hay"),
    "dry weighed": _weighed("Sack with dry hay"),
    "dry weighed again": _weighed("Sack with dry hay, again"),
    "oven in": lambda data, names: (
        f"Into the oven, load {data['load']}, position {data.get('position', '–')}, "
        f"set to {data.get('set_celsius', '–')} C."
    ),
    "oven out": lambda data, names: f"Out of the oven, load {data['load']}.",
    "coarse ground": lambda data, names: (
        f"Ground through {data['screen_mm']} mm on {data.get('mill', 'a mill')}."
    ),
    "fine ground": lambda data, names: (
        f"Ground through {data['screen_mm']} mm on {data.get('mill', 'a mill')}."
    ),
    "scanned": lambda data, names: (
        f"Scanned on {data.get('instrument') or data.get('source', 'an instrument')}."
    ),
    "analysed outside": lambda data, names: f"Analysis returned by {data.get('source', 'a laboratory')}.",
    "analysis chosen": lambda data, names: (
        f"Analysis {data.get('number', data['analysis'])} chosen to stand: {_stopped(data['reason'])}"
    ),
    "reported": lambda data, names: f"Report {data['report']} issued.",
    "amended": _amended,
    "undone": lambda data, names: (
        f"What was entered just before was taken back: {data.get('kind', 'an entry')}."
    ),
    "held": lambda data, names: f"Put on hold: {_stopped(data['reason'])}",
    "hold lifted": lambda data, names: f"Hold lifted: {_stopped(data['reason'])}",
    "archived": lambda data, names: f"Rest kept in {_name(names, data['place']['party'])}.",
    "disposed": lambda data, names: f"Disposed of: {_stopped(data['method'])}",
    "returned": lambda data, names: f"Returned: {_stopped(data['reason'])}",
    "lost": lambda data, names: f"Lost: {_stopped(data['circumstances'])}",
    "cancelled": lambda data, names: f"Cancelled: {_stopped(data['reason'])}",
}
