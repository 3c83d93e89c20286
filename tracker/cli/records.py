"""Commands for what is kept and for how long: what is due, its disposal, and the erasure of a person."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, counted, open_season, say, table

if TYPE_CHECKING:
    from tracker.lookups.retention import Kept
    from tracker.steps.erase_person import Erased


def add(commands: Any) -> None:
    """Add the commands of this room."""
    command(commands, "retention", "list what is kept, for how long, and what is due", _retention, acts=False)
    gone = command(commands, "dispose-data", "take data away whose time is over", _dispose)
    gone.add_argument("what", help="photos, refusals or sign-ins")
    gone.add_argument("--reason", required=True)
    person = command(commands, "erase-person", "take somebody's name out of the season", _erase_person)
    person.add_argument("key")
    person.add_argument("--reason", required=True)
    producer = command(
        commands, "erase-producer", "take a producer's name and address out of the season", _erase_producer
    )
    producer.add_argument("name")
    producer.add_argument("--reason", required=True)


def _retention(asked: argparse.Namespace) -> None:
    from contextlib import closing

    from tracker.lookups.retention import kept

    with closing(open_season(asked)) as season, season.read() as session:
        found = kept(session, season.clock())
    rows = [
        (
            one.name,
            one.holds,
            "as long as the season" if one.days is None else f"{one.days} days",
            one.due,
            one.act if one.due else "–",
        )
        for one in found
    ]
    lines = [_thrown_away(one) for one in found if one.samples]
    say(asked, found, *table(("kind", "what it is", "kept", "due", "what to do"), rows), *lines)


def _thrown_away(rests: Kept) -> str:
    more = rests.due - len(rests.samples)
    after = f" {more} more are told once these are gone." if more else ""
    return f"Throw away the rest of: {', '.join(rests.samples)}.{after}"


def _dispose(asked: argparse.Namespace) -> None:
    from tracker.steps.dispose_data import dispose_data

    with acting(asked) as (session, act):
        event = dispose_data(session, asked.what, act, reason=asked.reason)
    count = sum(int(one) for one in event.data["rows"].values())
    say(
        asked,
        {"event": event.seq, **event.data},
        f"{counted(count, 'record')} of {asked.what} from before {event.data['before']} taken away.",
    )


def _erase_person(asked: argparse.Namespace) -> None:
    from tracker.steps.erase_person import erase_person

    with acting(asked) as (session, act):
        erased = erase_person(session, asked.key, act, reason=asked.reason)
    _say_erased(asked, asked.key, erased)


def _erase_producer(asked: argparse.Namespace) -> None:
    from tracker.steps.erase_person import erase_producer

    with acting(asked) as (session, act):
        erased = erase_producer(session, asked.name, act, reason=asked.reason)
    _say_erased(asked, "The producer", erased)


def _say_erased(asked: argparse.Namespace, who: str, erased: Erased) -> None:
    lines = [
        f"{who} is {erased.label} from now on.",
        f"Written anew without the name: {counted(erased.entries, 'event')}; "
        f"taken away: {counted(erased.refusals, 'refusal')}.",
    ]
    if erased.reports:
        lines.append(
            f"{counted(erased.reports, 'report')} issued before keep the name: a report is not changed once issued."
        )
    if erased.key_tells:
        lines.append(f"The short name {asked.key!r} stays in the log, and tells a part of the name.")
    lines.append("Backups from before still have it: write it down where they are kept.")
    say(asked, erased, *lines)
