"""Commands that take in lists from a spreadsheet or a map, or say first what each line would do."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from tracker.cli.doing import acting, command, counted, progress, say
from tracker.cli.lots import assumed, content

WORDS = {
    "producers": "add the producers of a CSV or XLSX file",
    "fields": "add the fields of a CSV, XLSX or GeoJSON file, with their boundaries",
    "lots": "register the lots of a CSV or XLSX file",
}


def add(commands: Any) -> None:
    """Add the commands of this room."""
    for kind, words in WORDS.items():
        many = command(commands, f"import-{kind}", words, partial(_bring_in, kind))
        many.add_argument("file")
        many.add_argument("--sheet", help="which sheet of a workbook, if not the first")
        many.add_argument(
            "--try", dest="only_try", action="store_true", help="only say what each line would do"
        )


def _bring_in(kind: str, asked: argparse.Namespace) -> int:
    from tracker.cli.doing import plain
    from tracker.steps.bring_in import LISTS, try_in

    path = Path(asked.file)
    with acting(asked) as (session, act):
        data = content(path)
        if asked.only_try:
            answers = try_in(session, kind, path.name, data, act, sheet=asked.sheet)
        else:
            shown = progress(asked, kind.capitalize())
            answers = LISTS[kind](session, path.name, data, act, sheet=asked.sheet, progress=shown)
    notes = assumed(path.name, data, asked.sheet)
    refused = [one for one in answers if one.complaint is not None and not one.known]
    new = [one.made for one in answers if one.made is not None]
    known = sum(one.known for one in answers)
    values = {
        "tried_only": asked.only_try,
        # What was only tried has no number yet.
        "registered": [] if asked.only_try else new,
        "would_register": len(new),
        "known_before": known,
        "refused_lines": [plain(one.complaint.as_dict()) for one in refused if one.complaint],
        "notes": notes,
    }
    done = "would be registered" if asked.only_try else "registered"
    lines = [f"{counted(len(new), kind[:-1])} {done}, {known} known before, {len(refused)} refused."]
    looks = (f"  line {one.line}: {one.words}" for one in answers if one.words and asked.only_try)
    say(asked, values, *lines, *(f"  {one.complaint}" for one in refused), *looks, *notes)
    return 1 if refused else 0
