"""Commands about who sees results without an account: stubs, links, and messages to producers."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, counted, integer, open_season, reading, say, table

if TYPE_CHECKING:
    from tracker.domain.messages import Due
    from tracker.settings import Settings
    from tracker.storage.engine import Database
    from tracker.storage.shares import ResultLink

BY = "command line"


def add(commands: Any) -> None:
    """Add the commands of this room."""
    for name, words, run in (
        ("pause-stub", "keep a producer's stub from opening anything for a while", _pause),
        ("resume-stub", "let a paused stub open again", _resume),
        ("revoke-stub", "end a stub for ever; a reprint of the tag gives a new one", _revoke),
    ):
        stub = command(commands, name, words, run)
        stub.add_argument("code", help="the tag's code")
        stub.add_argument("--reason", required=True)
    share = command(commands, "share-results", "make a link for an adviser, shown only now", _share)
    share.add_argument("who", help="`lot 12` for one lot, or the producer's name for all of his")
    share.add_argument("name", help="whom it is for, like `Dr. Lee`")
    share.add_argument(
        "--until", required=True, metavar="DATE", help="the last day it opens, like 2026-12-31"
    )
    back = command(commands, "take-back-link", "end one link; others stay", _take_back)
    back.add_argument("link", type=integer, help="its number in `tracker links`")
    back.add_argument("--reason", required=True)
    links = command(
        commands, "links", "list a producer's links and how often each was opened", _links, acts=False
    )
    links.add_argument("producer", help="his name")
    want = command(commands, "want-messages", "note that a producer asked for messages", _want)
    want.add_argument("producer", help="his name")
    want.add_argument("--address", default="", help="else the e-mail address that is known of him")
    want.add_argument("--how", required=True, help="how he asked, like `form of 3 June`")
    stop = command(commands, "stop-messages", "note that a producer wants no more messages", _stop)
    stop.add_argument("producer", help="his name")
    stop.add_argument("--how", required=True, help="how he said so, like `answered STOP`")
    sent = command(commands, "send-messages", "send every message that is due", _send, acts=False)
    sent.add_argument("--list", action="store_true", help="list what is due and send nothing")
    shown = command(commands, "messages", "list the messages that were made", _messages, acts=False)
    shown.add_argument("--producer", default="", help="only his")


def _pause(asked: argparse.Namespace) -> None:
    from tracker.steps.stub_access import pause_stub

    _change(asked, pause_stub, "is paused: it opens nothing until `tracker resume-stub`")


def _resume(asked: argparse.Namespace) -> None:
    from tracker.steps.stub_access import resume_stub

    _change(asked, resume_stub, "opens again")


def _revoke(asked: argparse.Namespace) -> None:
    from tracker.steps.stub_access import revoke_stub

    _change(asked, revoke_stub, "is revoked; `tracker reprint-tag` gives the tag a new one")


def _change(asked: argparse.Namespace, step: Any, became: str) -> None:
    with acting(asked) as (session, act):
        row = step(session, asked.code, act, reason=asked.reason)
    say(asked, {"code": asked.code, "change": row.change}, f"The stub of {asked.code} {became}.")


def _share(asked: argparse.Namespace) -> None:
    from tracker.domain.times import day
    from tracker.lookups.find import lot_number
    from tracker.settings import read
    from tracker.steps.share_results import share_at_wish
    from tracker.storage.lots import lot_numbered
    from tracker.storage.people import producer_named

    until, lot = day(asked.until, field="until"), lot_number(asked.who)
    with acting(asked) as (session, act):
        if lot is not None:
            producer = lot_numbered(session, lot).field.producer_id
        else:
            producer = producer_named(session, asked.who).id
        row, token = share_at_wish(session, producer, act, name=asked.name, until=until, lot=lot)
    address = _address(read(), token)
    values = {"link": row.id, "address": address, "name": row.name, "until": row.until}
    say(asked, values, address, f"Link {row.id}, for {row.name}, until {row.until}. It is shown only now.")


def _address(settings: Settings, token: str) -> str:
    from labels import payload

    return f"{settings.base_url.rstrip('/')}/T/{payload.read_token(token)}"


def _take_back(asked: argparse.Namespace) -> None:
    from tracker.steps.share_results import take_back

    with acting(asked) as (session, act):
        take_back(session, asked.link, act, reason=asked.reason)
    say(asked, {"link": asked.link}, f"Link {asked.link} opens nothing any more.")


def _links(asked: argparse.Namespace) -> None:
    from tracker.lookups.readers import shared_links
    from tracker.storage.engine import now_utc
    from tracker.storage.people import producer_named

    with reading(asked) as session:
        producer = producer_named(session, asked.producer).id
        found = shared_links(session, producer, now_utc().astimezone().date())
    rows = [
        (
            one.number,
            one.name,
            f"lot {one.lot}" if one.lot else "all lots",
            one.until,
            one.state,
            one.opened.times,
            one.made_by,
        )
        for one in found
    ]
    say(asked, found, *table(("link", "for", "opens", "until", "state", "opened", "made by"), rows))


def _want(asked: argparse.Namespace) -> None:
    from tracker.steps.choose_messages import want_messages
    from tracker.storage.people import producer_named

    with acting(asked) as (session, act):
        producer = producer_named(session, asked.producer).id
        row = want_messages(session, producer, act, address=asked.address, how=asked.how)
    say(
        asked,
        {"producer": asked.producer, "address": row.address},
        f"{asked.producer} gets messages at {row.address}.",
    )


def _stop(asked: argparse.Namespace) -> None:
    from tracker.steps.choose_messages import stop_messages
    from tracker.storage.people import producer_named

    with acting(asked) as (session, act):
        producer = producer_named(session, asked.producer).id
        stop_messages(session, producer, act.by.key, act.now, how=asked.how)
    say(asked, {"producer": asked.producer}, f"{asked.producer} gets no more messages.")


def _send(asked: argparse.Namespace) -> int:
    from tracker.lookups.messages import messages_due
    from tracker.settings import read

    settings = read()
    with closing(open_season(asked)) as season:
        with season.read() as session:
            due = messages_due(session)
        if asked.list:
            rows = [(one.kind, one.about, one.address, one.attempt) for one in due]
            say(asked, due, *table(("message", "about", "to", "attempt"), rows))
            return 0
        failed = [words for one in due if (words := _send_one(season, settings, one))]
    sent = len(due) - len(failed)
    where = settings.mail_server.rpartition("@")[2] or f"the folder {settings.mail_folder}"
    line = f"{counted(sent, 'message')} sent by {where}." if due else "No message is due."
    say(asked, {"sent": sent, "failed": failed}, line, *failed)
    return 1 if failed else 0


def _send_one(season: Database, settings: Settings, due: Due) -> str:
    """Record it, send it, record its fate; the words of a failure, or nothing."""
    from tracker.files.mail import FAULTS
    from tracker.steps.make_message import make_message, note_fate
    from tracker.storage.messages import FAILED, SENT

    with season.act("make message", BY, {"about": due.about}) as session:
        message, link, token = make_message(session, due, BY, season.clock())
    fate, words = SENT, ""
    try:
        _hand_over(season, settings, due, link, token)
    except FAULTS as fault:
        # What a server says may hold the address; it holds no link.
        fate, words = FAILED, f"{type(fault).__name__}: {fault}".replace(token, "...")[:500]
    with season.act("message " + fate, BY, {"message": message.id}) as session:
        note_fate(session, message, fate, words, BY, season.clock())
    return f"To {due.address} about {due.about}: {words}" if words else ""


def _hand_over(season: Database, settings: Settings, due: Due, link: ResultLink, token: str) -> None:
    from tracker.domain.messages import lines, stop_address, subject
    from tracker.files.mail import Letter, composed, posting

    address = _address(settings, token)
    text = lines(due, address, link.until, settings.programme, settings.phone)
    letter = Letter(due.address, subject(due.kind), text, stop_address(address))
    sender = settings.mail_from or "hay@localhost"
    mail = composed(letter, sender, settings.programme, season.clock().astimezone())
    posting(settings.mail_server, settings.mail_password, settings.mail_folder)(mail)


def _messages(asked: argparse.Namespace) -> None:
    from tracker.lookups.messages import messages
    from tracker.storage.people import producer_named

    with reading(asked) as session:
        producer = producer_named(session, asked.producer).id if asked.producer else None
        found = messages(session, producer)
    rows = [
        (one.number, one.made_at.date(), one.kind, one.about, one.address, one.fate, one.words)
        for one in found
    ]
    say(asked, found, *table(("message", "made", "kind", "about", "to", "fate", "why"), rows))
