"""Commands about results: sources, files of analyses, parked rows, release and report."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import (
    acting,
    as_json,
    changes_in,
    command,
    counted,
    integer,
    plain,
    progress,
    reading,
    say,
    table,
    writing,
)
from tracker.cli.hand_overs import on_sample
from tracker.cli.lots import assumed, content

if TYPE_CHECKING:
    from tracker.errors import TrackerError


def add(commands: Any) -> None:
    """Add the commands of this room."""
    source = command(commands, "add-source", "add a source of results, or its next column map", _add_source)
    source.add_argument("source")
    source.add_argument("map", help="a JSON file that says what its columns are")
    source.add_argument("--name", help="which map of a file that holds several")
    source.add_argument("--kind", default="instrument", help="instrument, or laboratory for one outside")
    source.add_argument("--reason", default="", help="why the map changes")
    taken = command(commands, "import-analyses", "take in a file of results", _import)
    taken.add_argument("source")
    taken.add_argument("file")
    taken.add_argument("--sheet")
    parked = command(commands, "parked", "list the rows that could not go in", _parked, acts=False)
    parked.add_argument("--all", action="store_true", help="also those somebody has decided about")
    repair = command(commands, "take-in", "take in a parked row for a sample", _take_in)
    repair.add_argument("row", type=integer, help="its number in `tracker parked`")
    repair.add_argument("code", help="the tag's code of the bag it belongs to")
    repair.add_argument(
        "--value", action="append", default=[], metavar="HEADER=VALUE", help="a corrected cell"
    )
    repair.add_argument("--reason", required=True)
    aside = command(commands, "set-aside", "decide that a parked row is not taken in", _set_aside)
    aside.add_argument("row", type=integer)
    aside.add_argument("--reason", required=True)
    shown = command(commands, "analyses", "list a sample's analyses", _analyses, acts=False)
    shown.add_argument("sample", help="the tag's code, or `lot 12`")
    choose = on_sample(commands, "choose-analysis", "say which of several analyses stands", _choose)
    choose.add_argument("analysis", type=integer, help="its number in `tracker analyses`")
    choose.add_argument("--reason", required=True)
    release = on_sample(commands, "release", "issue a sample's report, or its next version", _release)
    release.add_argument("--reason", default="", help="why there is another version")
    release.add_argument(
        "--no-interpretation",
        action="store_true",
        help="release the results alone, without advice on feeding",
    )
    report = command(commands, "report", "write an issued report as PDF or JSON", _report, acts=False)
    report.add_argument("sample", help="the report's number, the tag's code, or `lot 12`")
    report.add_argument("--version", type=integer, help="else the latest")
    report.add_argument(
        "--out", metavar="FILE", help="a name ending in .pdf or .json; else JSON on the terminal"
    )


def _add_source(asked: argparse.Namespace) -> None:
    from pathlib import Path

    from tracker.steps.add_source import add_source_map

    written = content(Path(asked.map), "map").decode("utf-8", errors="replace")
    if asked.name is not None:
        written = _map_named(written, asked.map, asked.name)
    with acting(asked) as (session, act):
        row = add_source_map(session, asked.source, written, act, kind=asked.kind, reason=asked.reason)
    values = {"source": asked.source, "version": row.version}
    say(asked, values, f"{asked.source} is read by version {row.version} of its column map.")


def _map_named(written: str, file: str, name: str) -> str:
    import json

    from tracker.errors import NotFound

    try:
        maps = json.loads(written)
    except ValueError:
        maps = {}
    if not isinstance(maps, dict) or name not in maps:
        known = ", ".join(maps) if isinstance(maps, dict) and maps else "no maps with names"
        raise NotFound(
            "no-such-map", f"{file} has no map {name!r}.", field="name", remedy=f"It has: {known}."
        )
    return json.dumps(maps[name])


def _import(asked: argparse.Namespace) -> int:
    from pathlib import Path

    from tracker.steps.record_results import record_results

    path = Path(asked.file)
    with acting(asked) as (session, act):
        data = content(path)
        taken = record_results(
            session,
            asked.source,
            path.name,
            data,
            act,
            sheet=asked.sheet,
            progress=progress(asked, "Rows"),
        )
    known = "This file was taken in before; nothing changes. " if taken.known else ""
    became = f"{counted(taken.rows, 'row')}: {taken.taken} taken in, {taken.parked} parked"
    line = f"{known}{became}. SHA-256 {taken.sha256[:16]}..."
    hint = ["`tracker parked` shows the parked rows and how to repair them."] if taken.parked else []
    checked = f"Check samples: {counted(taken.checks, 'row')}; {counted(taken.held, 'sample')} put on hold."
    hint += [checked, *taken.remarks] if taken.checks else []
    notes = assumed(path.name, data, asked.sheet)
    say(asked, {**plain(taken), "notes": notes}, line, *hint, *notes)
    return 1 if taken.parked and not taken.known else 0


def _parked(asked: argparse.Namespace) -> None:
    from tracker.lookups.kept_refusals import parked_rows

    with reading(asked) as session:
        found = parked_rows(session, answered=asked.all)
    rows = [
        (
            one.id,
            one.file,
            one.line,
            one.sample_text,
            "; ".join(f"{problem['message']} {problem['remedy']}" for problem in one.problems),
            " or ".join(one.suggestions),
            one.answer,
        )
        for one in found
    ]
    header = ("row", "file", "line", "sample as written", "what is wrong", "perhaps", "decided")
    say(asked, found, *table(header, rows))


def _take_in(asked: argparse.Namespace) -> None:
    from tracker.steps.answer_parked import take_in

    corrected = changes_in(asked.value, "value")
    with acting(asked) as (session, act):
        analysis = take_in(session, asked.row, asked.code, act, corrected=corrected, reason=asked.reason)
    say(asked, {"analysis": analysis.id}, f"Row {asked.row} is analysis {analysis.id} of {asked.code} now.")


def _set_aside(asked: argparse.Namespace) -> None:
    from tracker.steps.answer_parked import set_aside

    with acting(asked) as (session, act):
        set_aside(session, asked.row, act, reason=asked.reason)
    say(asked, {"row": asked.row}, f"Row {asked.row} is set aside.")


def _analyses(asked: argparse.Namespace) -> None:
    from tracker.lookups.analyses import analyses_of
    from tracker.lookups.find import sample_ever_named

    with reading(asked) as session:
        found = analyses_of(session, sample_ever_named(session, asked.sample).id)
    lines: list[str] = []
    for one in found:
        lines.append(
            f"Analysis {one.id}, {one.source}, {one.scanned_at or 'time not given'}, {one.file} line {one.line}"
        )
        lines += [f"  {value.constituent} {value.value} {value.unit} {value.basis}" for value in one.values]
        lines += [f"  {words}" for words in one.remarks]
    say(asked, found, *lines)


def _choose(asked: argparse.Namespace) -> None:
    from tracker.cli.hand_overs import record
    from tracker.steps.choose_analysis import choose_analysis

    record(asked, choose_analysis, asked.analysis, reason=asked.reason)


def _release(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_named
    from tracker.lookups.lot_report import report_body
    from tracker.settings import read
    from tracker.steps.release_results import release_results

    with acting(asked) as (session, act):
        sample = sample_named(session, asked.sample)
        body = report_body(session, sample, read(), on=act.occurred_at.date())
        row = release_results(
            session, sample, body, act, reason=asked.reason, interpretation=not asked.no_interpretation
        )
    say(asked, {"report": row.number, "version": row.version}, f"Report {row.number} is issued.")


def _report(asked: argparse.Namespace) -> None:
    import json

    from tracker.lookups.find import sample_ever_named
    from tracker.lookups.issued_reports import issued_report, report_numbered

    if asked.out is not None and not asked.out.lower().endswith((".pdf", ".json")):
        raise _no_report_file(asked.out)
    with reading(asked) as session:
        if asked.sample.upper().startswith("R-"):
            of_sample, _, version = asked.sample.rpartition("-")
            issued = report_numbered(session, f"{of_sample.upper()}-{version.lower()}")
        else:
            issued = issued_report(session, sample_ever_named(session, asked.sample).id, asked.version)
    if asked.out is None:
        print(as_json(issued.body))
        return
    with writing(asked.out) as path:
        if asked.out.lower().endswith(".json"):
            path.write_text(json.dumps(plain(issued.body), ensure_ascii=False, indent=1), encoding="utf-8")
        else:
            from tracker.papers.lot_report import lot_report

            lot_report(path, issued.body, issued.proof)
    say(asked, {"report": issued.number, "file": asked.out}, f"Report {issued.number} is in {asked.out}.")


def _no_report_file(name: str) -> TrackerError:
    from tracker.errors import Refused

    return Refused(
        "not-a-report-file",
        f"{name!r} says neither PDF nor JSON.",
        field="out",
        remedy="Give a name that ends in .pdf or .json.",
    )
