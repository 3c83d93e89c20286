"""Commands about tags and bags: printing, binding, sealing, replacing."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, counted, integer, progress, reading, say, table, writing

if TYPE_CHECKING:
    from tracker.papers.tag_sheet import Layout, Office


def add(commands: Any) -> None:
    """Add the commands of this room."""
    tags = command(
        commands, "print-tags", "print tags for lots, or a roll for lots not known yet", _print_tags
    )
    tags.add_argument("--lot", type=integer, action="append", default=[], help="once for each lot")
    tags.add_argument("--roll", type=integer, default=0, metavar="COUNT", help="so many tags without a lot")
    _layout(tags, "a4-2x4")
    again = command(commands, "reprint-tag", "print a tag again: same code, new stub", _reprint_tag)
    again.add_argument("code")
    again.add_argument("--reason", required=True)
    _layout(again, "a4-2x4")
    sacks = command(
        commands, "print-sacks", "print sack labels for bags that were received", _print_sacks, acts=False
    )
    sacks.add_argument("code", nargs="+")
    _layout(sacks, "a4-2x7")
    page = command(
        commands,
        "test-page",
        "print a page that shows whether the printer keeps to the sheet",
        _test_page,
        acts=False,
    )
    _layout(page, "a4-2x4")
    bind = command(commands, "bind", "close the cores in a bag and bind a tag to it", _bind)
    bind.add_argument("sample", help="`lot 12`")
    bind.add_argument("code")
    seal = command(commands, "seal", "note the numbered seal that closes the bag", _seal)
    seal.add_argument("sample", help="the tag's code")
    seal.add_argument("seal")
    retag = command(commands, "retag", "bind a fresh tag to a bag and make the old one void", _retag)
    retag.add_argument("sample", help="the old tag's code, or `lot 12`")
    retag.add_argument("code", help="the fresh tag's code")
    retag.add_argument("--reason", required=True)
    issue = command(commands, "issue-tags", "give a person a stretch of a roll to carry", _issue_tags)
    issue.add_argument("printed", type=integer, metavar="RUN", help="the print run")
    issue.add_argument("first", type=integer, help="number of the first tag, as it stands on the tag")
    issue.add_argument("last", type=integer, help="number of the last tag")
    issue.add_argument("to", help="who carries them, by key")
    back = command(commands, "count-in", "take back tags that were issued and not used", _count_in)
    back.add_argument("code", nargs="+")
    spoilt = command(commands, "void-run", "make void what a print run spoilt, all at once", _void_run)
    spoilt.add_argument("printed", type=integer, metavar="RUN", help="the print run")
    spoilt.add_argument(
        "--from", dest="first", type=integer, default=1, metavar="NUMBER", help="the first spoilt tag"
    )
    spoilt.add_argument("--reason", required=True)
    command(commands, "rolls", "list what became of every tag that was printed", _rolls, acts=False)
    void = command(commands, "void-tag", "make a tag void that is on no bag", _void_tag)
    void.add_argument("code")
    void.add_argument("--reason", required=True)


def _layout(made: argparse.ArgumentParser, stock: str) -> None:
    made.add_argument("--out", required=True, metavar="PDF")
    made.add_argument(
        "--stock", default=stock, help="`python -m labels stocks` lists them (default %(default)s)"
    )
    made.add_argument(
        "--start", type=integer, default=1, metavar="CELL", help="first cell of a part-used sheet"
    )
    made.add_argument(
        "--skip", type=integer, action="append", default=[], metavar="CELL", help="a spoilt cell"
    )
    made.add_argument("--rotation", type=integer, default=0, choices=(0, 90, 180, 270))
    made.add_argument("--offset-x", default="0", metavar="MM", help="this printer's shift to the right")
    made.add_argument("--offset-y", default="0", metavar="MM", help="this printer's shift downwards")


def _layout_asked(asked: argparse.Namespace) -> Layout:
    from tracker.domain.units import number
    from tracker.papers.tag_sheet import Layout

    offset = (number(asked.offset_x, field="offset_x"), number(asked.offset_y, field="offset_y"))
    return Layout(
        asked.stock, asked.start, tuple(asked.skip), asked.rotation, (float(offset[0]), float(offset[1]))
    )


def _office() -> Office:
    from tracker.papers.tag_sheet import Office
    from tracker.settings import read

    settings = read()
    return Office(settings.programme, settings.phone, settings.base_url)


def _print_tags(asked: argparse.Namespace) -> None:
    from tracker.papers.tag_sheet import write_tags
    from tracker.steps.print_tags import print_tags

    office, layout = _office(), _layout_asked(asked)
    wanted = [*asked.lot, *[None] * asked.roll]
    # The paper appears only once the run is in the log, and the run is in the log only if it can be drawn.
    with writing(asked.out) as path, acting(asked) as (session, act):
        run, printed = print_tags(session, wanted, act, base_url=office.base_url, layout=layout.as_dict())
        pairs = [(one.tag.code, one.token) for one in printed]
        write_tags(path, office, run.id, pairs, layout, progress(asked, "Tags"))
    _say_printed(asked, run.id, [code for code, _ in pairs])


def _say_printed(asked: argparse.Namespace, run: int, codes: list[str]) -> None:
    from labels.payload import shown

    said = ", ".join(shown(code) for code in codes)
    values = {"run": run, "codes": codes, "file": asked.out}
    say(
        asked,
        values,
        f"Run {run}, {counted(len(codes), 'tag')} in {asked.out}: {said}.",
        "Print it at 100 %, without scaling.",
    )


def _reprint_tag(asked: argparse.Namespace) -> None:
    from tracker.papers.tag_sheet import write_tags
    from tracker.steps.print_tags import reprint_tag

    office, layout = _office(), _layout_asked(asked)
    with writing(asked.out) as path, acting(asked) as (session, act):
        run, one = reprint_tag(
            session, asked.code, act, reason=asked.reason, base_url=office.base_url, layout=layout.as_dict()
        )
        write_tags(path, office, run.id, [(one.tag.code, one.token)], layout, numbers=[one.number])
    _say_printed(asked, run.id, [one.tag.code])


def _print_sacks(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import code_on_bag, sample_named
    from tracker.lookups.planned import planned
    from tracker.papers.tag_sheet import write_sack_labels

    sacks = []
    with reading(asked) as session:
        for text in asked.code:
            sample = sample_named(session, text)
            found = planned(session, sample)
            lines = (f"lot {found.lot}", f"{found.facts.forage_kind}, cutting {found.facts.cutting}")
            sacks.append((code_on_bag(session, sample), lines))
    with writing(asked.out) as path:
        write_sack_labels(path, _office(), sacks, _layout_asked(asked))
    say(
        asked,
        {"file": asked.out, "codes": [code for code, _ in sacks]},
        f"{counted(len(sacks), 'sack label')} in {asked.out}.",
    )


def _test_page(asked: argparse.Namespace) -> None:
    from tracker.papers.tag_sheet import write_test_page

    with writing(asked.out) as path:
        length = write_test_page(path, _layout_asked(asked))
    say(
        asked,
        {"file": asked.out, "bars_mm": f"{length:g}"},
        f"Print {asked.out}; its bars are {length:g} mm long.",
    )


def _bind(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_named
    from tracker.steps.bag_cores import bag_cores

    with acting(asked) as (session, act):
        event = bag_cores(session, sample_named(session, asked.sample), asked.code, act)
    _say_bound(asked, event.data["code"])


def _say_bound(asked: argparse.Namespace, code: str) -> None:
    from labels.payload import shown

    say(asked, {"code": code}, f"Tag {shown(code)} is on the bag.")


def _seal(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_named
    from tracker.steps.bag_cores import seal_bag

    with acting(asked) as (session, act):
        event = seal_bag(session, sample_named(session, asked.sample), asked.seal, act)
    say(asked, event.data, f"Seal {event.data['seal']} is on the bag.")


def _retag(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_named
    from tracker.steps.bag_cores import replace_tag

    with acting(asked) as (session, act):
        event = replace_tag(
            session, sample_named(session, asked.sample), asked.code, act, reason=asked.reason
        )
    _say_bound(asked, event.data["code"])


def _void_tag(asked: argparse.Namespace) -> None:
    from labels.payload import shown
    from tracker.steps.print_tags import void_tag

    with acting(asked) as (session, act):
        tag = void_tag(session, asked.code, act, reason=asked.reason)
    say(asked, {"code": tag.code, "state": tag.state}, f"Tag {shown(tag.code)} is void. Cut it up.")


def _issue_tags(asked: argparse.Namespace) -> None:
    from tracker.steps.issue_tags import issue_tags
    from tracker.storage.people import party

    with acting(asked) as (session, act):
        to = party(session, asked.to, field="to")
        tags = issue_tags(session, asked.printed, asked.first, asked.last, to, act)
    values = {"to": to.key, "codes": [tag.code for tag in tags]}
    say(asked, values, f"{to.name} carries {len(tags)} more {'tag' if len(tags) == 1 else 'tags'}.")


def _void_run(asked: argparse.Namespace) -> None:
    from tracker.steps.print_tags import void_run

    with acting(asked) as (session, act):
        tags = void_run(session, asked.printed, act, reason=asked.reason, first=asked.first)
    values = {"run": asked.printed, "codes": [tag.code for tag in tags]}
    say(asked, values, f"{counted(len(tags), 'tag')} of run {asked.printed} void. Cut them up.")


def _count_in(asked: argparse.Namespace) -> None:
    from tracker.steps.issue_tags import count_in

    with acting(asked) as (session, act):
        tags = count_in(session, asked.code, act)
    values = {"codes": [tag.code for tag in tags]}
    say(asked, values, f"{len(tags)} {'tag is' if len(tags) == 1 else 'tags are'} back in the office.")


def _rolls(asked: argparse.Namespace) -> None:
    from tracker.lookups.tag_rolls import carried_by_day, rolls, strays

    with reading(asked) as session:
        found, given, lost = rolls(session), carried_by_day(session), strays(session)
    rows = [
        (
            one.run,
            one.printed,
            one.bound,
            one.void,
            one.in_office,
            one.reprinted,
            "; ".join(f"{name} {len(codes)}" for name, codes in one.carried.items()),
        )
        for one in found
    ]
    header = ("run", "printed", "on bags", "void", "in the office", "printed again", "carried by")
    lines = [f"{one.person} carries since {one.day.isoformat()}: {', '.join(one.codes)}." for one in given]
    lines += [f"{one.code} was given to {one.issued_to} and put on a bag by {one.bound_by}." for one in lost]
    say(asked, {"rolls": found, "carried": given, "strays": lost}, *table(header, rows), *lines)
