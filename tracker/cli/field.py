"""Commands about the field: phones, what they sent, tags on two bags, and the sheet of paper."""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, counted, open_season, say, table, writing

if TYPE_CHECKING:
    import argparse

    from tracker.steps.entry_answers import Answer

# Locks of the season are short, so that a long file keeps no desk waiting.
AT_ONCE = 50


def add(commands: Any) -> None:
    """Add the commands of this room."""
    load = command(commands, "load-phone", "take in a phone's file of unsent entries", _load_phone)
    load.add_argument("file", help="unsent-….json, as the phone wrote it")
    command(
        commands,
        "phones",
        "list the phones: last heard of, what never came, whose clock is wrong",
        _phones,
        acts=False,
    )
    settle = command(commands, "settle-tag", "decide which of two bags keeps a tag", _settle_tag)
    settle.add_argument("code", help="the contested tag")
    settle.add_argument("keeps", help="the lot whose bag keeps it, like `lot 12`")
    settle.add_argument(
        "--fresh",
        action="append",
        default=[],
        metavar="CODE",
        help="the fresh tag of each other bag, by the lots' numbers; once for each",
    )
    settle.add_argument("--reason", required=True)
    sheet = command(commands, "field-sheet", "print a sheet of spare tags to write on in the field", _sheet)
    sheet.add_argument("code", nargs="*", help="the tags on it; else all that the person carries")
    sheet.add_argument("--to", metavar="KEY", help="who carries the tags")
    sheet.add_argument("--paper", default="a4", help="a4 or letter (default %(default)s)")
    sheet.add_argument("--out", required=True, metavar="PDF")


def _load_phone(asked: argparse.Namespace) -> int:
    from dataclasses import replace
    from pathlib import Path

    from tracker.errors import NotFound
    from tracker.files.field_entries import read_batch
    from tracker.steps.entry_answers import answers_in
    from tracker.steps.take_entries import FILE, take_entries

    try:
        batch = read_batch(Path(asked.file).read_bytes())
    except OSError as fault:
        raise NotFound(
            "file-missing",
            f"{asked.file} cannot be read: {fault.strerror or fault}.",
            field="file",
            remedy="Name the file that the phone wrote.",
        ) from fault
    answers: list[Answer] = []
    kinds = [getattr(entry, "kind", "unreadable") for entry in batch.entries]
    for first in range(0, len(batch.entries) or 1, AT_ONCE):
        part = replace(batch, entries=batch.entries[first : first + AT_ONCE])
        with acting(asked) as (session, act):
            answers += take_entries(session, part, act.by, act.now, via=FILE)
    found = answers_in(answers)
    lines = [
        f"{batch.called or batch.device[:8]}: {found.get('accepted', 0)} taken in, "
        f"{found.get('duplicate', 0)} were here already, {found.get('later', 0)} wait for another entry, "
        f"{found.get('refused', 0)} refused."
    ]
    lines += [
        f"  {number}, {kind}: {answer.answer}. {answer.words} {answer.remedy or ''}".rstrip()
        for number, (kind, answer) in enumerate(zip(kinds, answers, strict=True), start=1)
        if answer.words
    ]
    say(asked, [answer.as_data() for answer in answers], *lines)
    return 1 if found.get("refused") else 0


def _phones(asked: argparse.Namespace) -> None:
    from tracker.domain.times import said
    from tracker.lookups.contested_tags import contested_tags
    from tracker.lookups.phones import phones, refused_entries, waiting_for_others

    with closing(open_season(asked)) as season, season.read() as session:
        found, contested = phones(session), contested_tags(session)
        waiting, refused = waiting_for_others(session), refused_entries(session)
    rows = [
        (
            one.short,
            one.called,
            said(one.last_at.astimezone()),
            one.by,
            one.entries,
            "not said" if one.unsent is None else one.unsent,
            one.gaps_said,
            one.clock,
        )
        for one in found
    ]
    header = ("phone", "called", "last heard of", "with", "entries", "not sent", "never came", "clock")
    lines = [
        *(f"Tag {one.shown} is on {counted(len(one.claims), 'bag')}: {_lots(one)}." for one in contested),
        *(f"Waits: {one.device[:8]} {one.number}, {one.kind} by {one.who}." for one in waiting),
        *(
            f"Refused: {one.device[:8]} {one.number}, {one.kind} by {one.who}: {one.words}"
            f"{' Put right by another entry.' if one.fixed else ''}"
            for one in refused
        ),
    ]
    values = {"phones": found, "contested": contested, "waiting": waiting, "entries_refused": refused}
    say(asked, values, *table(header, rows), *lines)


def _lots(contest: Any) -> str:
    return ", ".join(f"lot {claim.lot}" for claim in contest.claims)


def _settle_tag(asked: argparse.Namespace) -> None:
    from labels.payload import shown
    from tracker.lookups.contested_tags import contest_of
    from tracker.lookups.find import sample_numbered
    from tracker.steps.settle_tag import settle_tag

    with acting(asked) as (session, act):
        contest = contest_of(session, asked.code)
        keeps = sample_numbered(session, _claim(contest, asked.keeps))
        others = settle_tag(session, asked.code, keeps, asked.fresh, act, reason=asked.reason)
    given = [
        f"lot {other.lot_id} carries {shown(code)}" for other, code in zip(others, asked.fresh, strict=True)
    ]
    values = {"code": contest.code, "keeps": keeps.lot_id, "fresh": asked.fresh}
    say(asked, values, f"Lot {keeps.lot_id} keeps tag {contest.shown}; {'; '.join(given)}.")


def _claim(contest: Any, text: str) -> int:
    """The sample of the contest that is of this lot. Raises Refused `not-a-claim`."""
    from tracker.errors import Refused
    from tracker.lookups.find import lot_number

    mine = [claim.sample for claim in contest.claims if claim.lot == lot_number(text)]
    if len(mine) != 1:
        raise Refused(
            "not-a-claim",
            f"{text!r} is none of those whose bag carries tag {contest.shown}.",
            field="keeps",
            remedy=f"Choose from {_lots(contest)}.",
        )
    return int(mine[0])


def _sheet(asked: argparse.Namespace) -> None:
    from tracker.papers.field_sheet import SpareTag, field_sheet
    from tracker.settings import read
    from tracker.steps.print_field_sheet import print_field_sheet
    from tracker.steps.print_tags import PrintedTag
    from tracker.storage.people import party

    settings = read()
    # The paper appears only once the form is in the log, and is in the log only if it can be drawn.
    with writing(asked.out) as path, acting(asked) as (session, act):
        to = party(session, asked.to, field="to") if asked.to else None
        form, tags = print_field_sheet(session, act, to=to, codes=asked.code)
        spare = [SpareTag(tag.code, PrintedTag(tag, "").number) for tag in tags]
        name = to.name if to else ""
        pages = field_sheet(path, form, spare, base_url=settings.base_url, carrier=name, paper=asked.paper)
    values = {"form": form, "codes": [tag.code for tag in tags], "pages": pages, "file": asked.out}
    say(asked, values, f"Form {form}, {counted(len(tags), 'tag')}, in {asked.out}.")
