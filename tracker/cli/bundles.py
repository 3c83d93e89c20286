"""Commands of a lot's bundle: everything known of a lot in open forms, and whether such a bundle can be relied on."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from tracker.cli.doing import command, counted, integer, reading, say, writing


def add(commands: Any) -> None:
    """Add the commands of this room."""
    export = command(
        commands, "export-lot", "write everything known of a lot as a zip in open forms", _export, acts=False
    )
    export.add_argument("lot", type=integer)
    export.add_argument("--out", required=True, metavar="ZIP")
    check = command(
        commands, "check-bundle", "look whether a lot's bundle is whole and proven", _check, acts=False
    )
    check.add_argument("file")
    check.add_argument("--key", metavar="LINE", help="the public key to trust; else any, and it is shown")


def _export(asked: argparse.Namespace) -> None:
    from tracker.papers.bundled import bundle_of
    from tracker.settings import read

    with reading(asked) as session:
        content = bundle_of(session, asked.lot, read())
    with writing(asked.out) as path:
        path.write_bytes(content)
    say(
        asked,
        {"lot": asked.lot, "file": asked.out, "bytes": len(content)},
        f"Lot {asked.lot} is in {asked.out}.",
    )


def _check(asked: argparse.Namespace) -> int:
    from tracker.cli.lots import content
    from tracker.custody_check import check
    from tracker.files.lot_bundle import proofs, read_bundle

    bundle = read_bundle(content(Path(asked.file), "file"))
    found = {name: check(bundle.papers[name]) for name in proofs(bundle)}
    keys = sorted({str(one["key"]) for one in found.values()})
    strange = [key for key in keys if asked.key and key != asked.key.strip()]
    events, reports = len(bundle.lot["events"]), [one["number"] for one in bundle.lot["reports"]]
    values = {
        "lot": bundle.lot["lot"]["number"],
        "events": events,
        "reports": reports,
        "proofs": sorted(found),
        "keys": keys,
        "trusted": bool(asked.key) and not strange,
    }
    say(
        asked,
        values,
        f"Lot {bundle.lot['lot']['number']} of {bundle.lot['programme']['name']}: {counted(events, 'event')}, "
        f"{counted(len(reports), 'report')}. Every file follows from lot.json and has its checksum.",
        *([f"NOT TRUSTED: signed by {key}" for key in strange] or _proven_lines(keys, found)),
    )
    return int(bool(strange))


def _proven_lines(keys: list[str], found: dict[str, Any]) -> list[str]:
    if not found:
        return ["No proof is in it, so nothing shows whether the history was changed before it was written."]
    return [f"Proven: {', '.join(sorted(found))}.", *(f"Signed by {key}" for key in keys)]
