"""Commands about who has the sample: handing over, receiving, storing, holds, and the end of the way."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import Any

from tracker.cli.doing import acting, changes_in, command, integer, open_season, reading, say, table


def add(commands: Any) -> None:
    """Add the commands of this room."""
    over = on_sample(commands, "hand-over", "sign a sample away to a person or carrier", _hand_over)
    over.add_argument("to", help="who takes it, by key")
    over.add_argument("--waybill", default="", help="the carrier's number")
    for name, words, run in (
        ("refuse-hand-over", "decline to take a sample that was signed away to you", _refuse_hand_over),
        ("cancel-hand-over", "call off a hand-over that nobody has signed for", _cancel_hand_over),
        ("hold", "stop testing until somebody decides", _hold),
        ("lift-hold", "decide that a sample on hold may go on", _lift_hold),
        ("give-back", "give what remains back to its owner", _give_back),
        ("cancel-sample", "call off a sample that was planned and not cored", _cancel),
    ):
        on_sample(commands, name, words, run).add_argument("--reason", required=True)
    for name, words, run in (
        ("store", "put a sample in a place that holds it", _store),
        ("archive", "keep what remains in a place", _archive),
    ):
        on_sample(commands, name, words, run).add_argument("place", help="by key")
    on_sample(commands, "take-out", "take a sample out of its place", _take_out)
    taken = on_sample(commands, "receive", "sign for a sample", _receive)
    taken.add_argument(
        "--condition", action="append", default=[], help="dry, damp, torn, mould, ...; once for each"
    )
    taken.add_argument("--seal-state", default="none", help="intact, broken, missing, number differs or none")
    taken.add_argument("--seal-read", default="", help="the number on the seal")
    taken.add_argument("--temperature", metavar="CELSIUS")
    taken.add_argument("--discrepancy", default="", metavar="WORDS", help="anything else that differs")
    taken.add_argument("--unannounced", default="", metavar="WHY", help="it came without being signed away")
    broken = on_sample(commands, "break-seal", "read the seal's number and open the bag", _break_seal)
    broken.add_argument("seal", help="the number as read")
    on_sample(commands, "dispose", "throw away what remains", _dispose).add_argument(
        "--method", required=True
    )
    on_sample(commands, "lost", "say that a sample is lost", _lost).add_argument(
        "--circumstances", required=True
    )
    amend = command(commands, "amend", "correct an entry; the original stays beside it", _amend)
    amend.add_argument("event", type=integer, help="its number in `tracker way`")
    amend.add_argument("change", nargs="+", metavar="FIELD=VALUE")
    amend.add_argument("--reason", required=True)
    way = command(commands, "way", "show where a sample has been and is", _way, acts=False)
    way.add_argument("sample", help="a tag's code or `lot 12`")
    command(commands, "waiting", "list what waits where", _waiting, acts=False)


def on_sample(commands: Any, name: str, words: str, run: Any) -> argparse.ArgumentParser:
    """Add a command that is about one sample."""
    made = command(commands, name, words, run)
    made.add_argument("sample", help="the tag's code, or `lot 12`")
    return made


def record(asked: argparse.Namespace, do: Any, *args: Any, **rest: Any) -> None:
    """Do one step on the sample asked for, and say how it stands now."""
    from tracker.lookups.find import sample_named
    from tracker.lookups.sample_way import way_of

    with acting(asked) as (session, act):
        sample = sample_named(session, asked.sample)
        event = do(session, sample, *args, act, **rest)
        way = way_of(session, sample)
    remarks = [finding["words"] for finding in event.data.get("findings", ())]
    values = {
        "event": event.seq,
        "state": way.state,
        "holder": way.holder,
        "holds": way.holds,
        "remarks": remarks,
    }
    say(asked, values, *_standing_lines(way), *(f"  {words}" for words in remarks))


def _standing_lines(way: Any) -> list[str]:
    from tracker.domain.custody import ENDED

    line = f"{way.code or f'Lot {way.lot}'} is {way.state}"
    if way.in_transfer_to:
        line += f", on its way from {way.holder} to {way.in_transfer_to}"
    elif way.holder and way.state not in ENDED:
        line += f", with {way.holder}"
    lines = [f"{line}; it waits for {way.waits_for}." if way.waits_for else f"{line}."]
    return [*lines, *(f"On hold: {reason}" for reason in way.holds)]


def _party(asked: argparse.Namespace, key: str, field: str) -> Any:
    from tracker.storage.people import party

    with reading(asked) as session:
        return party(session, key, field=field)


def _hand_over(asked: argparse.Namespace) -> None:
    from tracker.steps.hand_over import relinquish

    record(asked, relinquish, _party(asked, asked.to, "to"), waybill=asked.waybill)


def _refuse_hand_over(asked: argparse.Namespace) -> None:
    from tracker.steps.hand_over import refuse_transfer

    record(asked, refuse_transfer, reason=asked.reason)


def _cancel_hand_over(asked: argparse.Namespace) -> None:
    from tracker.steps.hand_over import cancel_transfer

    record(asked, cancel_transfer, reason=asked.reason)


def _store(asked: argparse.Namespace) -> None:
    from tracker.steps.hand_over import store

    record(asked, store, _party(asked, asked.place, "place"))


def _take_out(asked: argparse.Namespace) -> None:
    from tracker.steps.hand_over import take_out

    record(asked, take_out)


def _receive(asked: argparse.Namespace) -> None:
    from tracker.steps.receive import receive

    record(
        asked,
        receive,
        condition=asked.condition,
        seal_state=asked.seal_state,
        seal_read=asked.seal_read,
        temperature_c=asked.temperature,
        discrepancy=asked.discrepancy,
        unannounced=asked.unannounced,
    )


def _break_seal(asked: argparse.Namespace) -> None:
    from tracker.steps.receive import break_seal

    record(asked, break_seal, asked.seal)


def _hold(asked: argparse.Namespace) -> None:
    from tracker.steps.hold import hold

    record(asked, hold, reason=asked.reason)


def _lift_hold(asked: argparse.Namespace) -> None:
    from tracker.steps.hold import lift_hold

    record(asked, lift_hold, reason=asked.reason)


def _archive(asked: argparse.Namespace) -> None:
    from tracker.steps.end_sample import archive

    record(asked, archive, _party(asked, asked.place, "place"))


def _dispose(asked: argparse.Namespace) -> None:
    from tracker.steps.end_sample import dispose

    record(asked, dispose, method=asked.method)


def _give_back(asked: argparse.Namespace) -> None:
    from tracker.steps.end_sample import give_back

    record(asked, give_back, reason=asked.reason)


def _lost(asked: argparse.Namespace) -> None:
    from tracker.steps.end_sample import lose

    record(asked, lose, circumstances=asked.circumstances)


def _cancel(asked: argparse.Namespace) -> None:
    from tracker.steps.end_sample import cancel

    record(asked, cancel, reason=asked.reason)


def _amend(asked: argparse.Namespace) -> None:
    from tracker.steps.amend import amend

    changes = changes_in(asked.change, "change")
    with acting(asked) as (session, act):
        event = amend(session, asked.event, changes, act, reason=asked.reason)
    say(asked, event.data, f"Entry {asked.event} is corrected; the original stays beside it.")


def _way(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_ever_named
    from tracker.lookups.sample_way import way_of

    with reading(asked) as session:
        found = way_of(session, sample_ever_named(session, asked.sample))
    say(asked, found.as_dict(), *_way_lines(found))


def _way_lines(way: Any) -> list[str]:
    from tracker.domain.times import said

    lines = [f"Lot {way.lot}, {way.producer}, {way.field}, cutting {way.cutting}.", *_standing_lines(way), ""]
    for station in way.stations:
        mark = "here now" if station.here else ""
        when = said(station.at) if station.at else ""
        lines.append(f"{station.name:7} {station.word:18} {when:32} {station.by:22} {mark}".rstrip())
    lines += [
        "",
        *table(
            ("entry", "when", "who", "what"),
            [(s.number, said(s.at), s.by, _step_words(s)) for s in way.steps],
        ),
    ]
    if way.heard:
        lines += ["", *_heard_lines(way)]
    remarks = [f"  entry {step.number}: {words}" for step in way.steps for words in step.remarks]
    if remarks:
        lines += ["", "Remarks", *remarks]
    lines += (
        ["", *(gap.words for gap in way.gaps)] if way.gaps else ["", "Nobody's keeping of it is in doubt."]
    )
    return lines


def _heard_lines(way: Any) -> list[str]:
    """The same entries in the order in which the office heard of them."""
    from tracker.domain.times import said

    by_number = {step.number: step for step in way.steps}
    found = [by_number[number] for number in way.heard]
    rows = [(s.number, said(s.recorded_at.astimezone(s.at.tzinfo)), said(s.at), s.kind) for s in found]
    return ["As the office heard of it:", *table(("entry", "heard", "happened", "what"), rows)]


def _step_words(step: Any) -> str:
    from tracker.domain.times import said

    if not step.late:
        return str(step.words)
    heard = step.recorded_at.astimezone(step.at.tzinfo)
    return f"{step.words} The office heard of it on {said(heard)}."


def _waiting(asked: argparse.Namespace) -> None:
    from datetime import timedelta

    from tracker.domain.times import duration_said
    from tracker.lookups.bench_queue import waiting

    with closing(open_season(asked)) as season, season.read() as session:
        now = season.clock()
        found = waiting(session)
    rows = [
        (
            one.waits_for,
            one.code or f"lot {one.lot}",
            f"{one.producer}, {one.field}, cut {one.cutting}",
            one.holder,
            duration_said(max(now - one.since, timedelta(0))),
            one.hold,
        )
        for one in found
    ]
    say(asked, found, *table(("waits for", "sample", "lot", "with", "since", "on hold"), rows))
