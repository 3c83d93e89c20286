"""Commands about programs that talk to the office."""

from __future__ import annotations

import argparse
from typing import Any

from tracker.cli.doing import acting, command, reading, say, table


def add(commands: Any) -> None:
    """Add the commands of this room."""
    made = command(commands, "add-client", "let a program talk to the office, and show its token", _add)
    made.add_argument("name", help="what the program is called")
    made.add_argument("--as", dest="party", required=True, metavar="KEY", help="the person it acts for")
    made.add_argument(
        "--scope",
        action="append",
        default=[],
        help="read, field, intake, lab, release or office; once for each",
    )
    command(commands, "clients", "list the programs that may talk to the office", _clients, acts=False)
    ended = command(commands, "revoke-client", "end a program's token for ever", _revoke)
    ended.add_argument("name")
    ended.add_argument("--reason", required=True)


def _add(asked: argparse.Namespace) -> None:
    from tracker.steps.make_client import make_client

    with acting(asked) as (session, act):
        row, token = make_client(session, asked.name, asked.party, asked.scope, act, place="command line")
    values = {"client": row.name, "party": row.party_key, "scopes": row.scopes, "token": token}
    say(asked, values, token, f"This is the token of {row.name}. It is shown only now, and kept nowhere.")


def _clients(asked: argparse.Namespace) -> None:
    from tracker.domain.times import said
    from tracker.lookups.clients import clients

    with reading(asked) as session:
        found = clients(session)
    rows = [
        (
            one.name,
            one.party,
            " ".join(one.scopes),
            said(one.made_at),
            f"ended {said(one.ended_at)}: {one.why}" if one.ended_at else "open",
        )
        for one in found
    ]
    say(asked, found, *table(("program", "acts for", "may", "since", "token"), rows))


def _revoke(asked: argparse.Namespace) -> None:
    from tracker.steps.make_client import revoke_client

    with acting(asked) as (session, act):
        revoke_client(session, asked.name, act, reason=asked.reason, place="command line")
    say(asked, {"client": asked.name}, f"{asked.name}'s token opens nothing from now on.")
