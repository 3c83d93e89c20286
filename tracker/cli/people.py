"""Commands about those who hold samples and those who own the hay."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import Any

from tracker.cli.doing import command, open_season, reading, say, table


def add(commands: Any) -> None:
    """Add the commands of this room."""
    person = command(commands, "add-person", "add somebody of the programme", _add_person, acts=False)
    person.add_argument("key", help="short name for commands, like marit-sund")
    person.add_argument("name")
    person.add_argument("role", help="technician, clerk, analyst or lead")
    place = command(commands, "add-place", "add a place that keeps samples", _add_place, acts=False)
    place.add_argument("key")
    place.add_argument("name")
    place.add_argument(
        "--locked", action="store_true", help="kept locked, so that it can hold a sample by itself"
    )
    carrier = command(commands, "add-carrier", "add somebody who carries parcels", _add_carrier, acts=False)
    carrier.add_argument("key")
    carrier.add_argument("name")
    producer = command(commands, "add-producer", "add a producer", _add_producer, acts=False)
    producer.add_argument("name")
    producer.add_argument("--phone", default="")
    producer.add_argument("--email", default="")
    producer.add_argument("--place", default="")
    command(commands, "people", "list everyone and everywhere that can hold a sample", _people, acts=False)
    command(commands, "producers", "list the producers", _producers, acts=False)


def _add_person(asked: argparse.Namespace) -> None:
    _add_party(asked, kind="person", role=asked.role)


def _add_place(asked: argparse.Namespace) -> None:
    _add_party(asked, kind="place", secure=asked.locked)


def _add_carrier(asked: argparse.Namespace) -> None:
    _add_party(asked, kind="carrier")


def _add_party(asked: argparse.Namespace, **rest: Any) -> None:
    from tracker.steps.add_people import add_party

    given = {"key": asked.key, "name": asked.name, **rest}
    with closing(open_season(asked)) as season, season.act(asked.act, "", given) as session:
        row = add_party(session, key=asked.key, name=asked.name, now=season.clock(), **rest)
    say(
        asked,
        {"key": row.key, "name": row.name, "kind": row.kind, "role": row.role},
        f"{row.name} is {row.key}.",
    )


def _add_producer(asked: argparse.Namespace) -> None:
    from tracker.steps.add_people import add_producer

    given = {"name": asked.name, "phone": asked.phone, "email": asked.email, "place": asked.place}
    with closing(open_season(asked)) as season, season.act(asked.act, "", given) as session:
        row = add_producer(session, now=season.clock(), **given)
    say(asked, {"producer": row.name}, f"{row.name} is a producer now.")


def _people(asked: argparse.Namespace) -> None:
    from tracker.lookups.lots import parties

    with reading(asked) as session:
        found = parties(session)
    rows = [(one.key, one.name, one.kind, one.role or ("locked" if one.secure else "")) for one in found]
    say(asked, found, *table(("key", "name", "kind", "role"), rows))


def _producers(asked: argparse.Namespace) -> None:
    from tracker.lookups.lots import producers

    with reading(asked) as session:
        found = producers(session)
    rows = [(one.name, one.place, one.phone, one.email) for one in found]
    say(asked, found, *table(("producer", "place", "phone", "e-mail"), rows))
