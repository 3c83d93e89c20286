"""Commands of a lot's bundle: everything known of a lot in open forms, and whether such a bundle can be relied on."""

from __future__ import annotations

import argparse
from typing import Any

from tracker.cli.doing import acting, command, counted, integer, reading, say, table, writing


def add(commands: Any) -> None:
    """Add the commands of this room."""
    export = command(
        commands, "export-lot", "write everything known of a lot as a zip in open forms", _export, acts=False
    )
    export.add_argument("lot", type=integer, help="its number; with --kept, that in `tracker bundles`")
    export.add_argument("--out", required=True, metavar="ZIP")
    export.add_argument("--kept", action="store_true", help="a lot of another office that was taken in here")
    taken = command(
        commands, "import-bundle", "take in a lot of another season or office, to be read", _import
    )
    taken.add_argument("file")
    command(commands, "bundles", "list the lots of others that were taken in", _bundles, acts=False)
    check = command(
        commands, "check-bundle", "look whether a lot's bundle is whole and proven", _check, acts=False
    )
    check.add_argument("file")
    check.add_argument("--key", metavar="LINE", help="the public key to trust; else any, and it is shown")


def _export(asked: argparse.Namespace) -> None:
    from tracker.files.lot_bundle import write_bundle
    from tracker.lookups.kept_bundles import kept_bundle
    from tracker.papers.bundled import bundle_of
    from tracker.settings import read

    with reading(asked) as session:
        if asked.kept:
            content = write_bundle(kept_bundle(session, asked.lot))
        else:
            content = bundle_of(session, asked.lot, read())
    with writing(asked.out) as path:
        path.write_bytes(content)
    say(
        asked,
        {"lot": asked.lot, "file": asked.out, "bytes": len(content)},
        f"Lot {asked.lot} is in {asked.out}.",
    )


def _import(asked: argparse.Namespace) -> None:
    from pathlib import Path

    from tracker.cli.lots import content
    from tracker.steps.keep_bundle import keep_bundle

    with acting(asked) as (session, act):
        kept = keep_bundle(session, content(Path(asked.file), "file"), act)
    known = "It was taken in before; nothing changes. " if kept.known else ""
    say(
        asked,
        kept,
        f"{known}It is bundle {kept.number}, and no lot of ours: `tracker export-lot {kept.number} --kept`.",
    )


def _bundles(asked: argparse.Namespace) -> None:
    from tracker.lookups.kept_bundles import kept_lots

    with reading(asked) as session:
        found = kept_lots(session)
    rows = [
        (
            one.number,
            one.programme,
            one.producer,
            one.lot,
            one.field,
            one.cutting,
            one.season,
            ", ".join(one.reports),
        )
        for one in found
    ]
    header = ("no.", "programme", "producer", "lot there", "field", "cutting", "season", "reports")
    say(asked, found, *table(header, rows))


def _check(asked: argparse.Namespace) -> int:
    from pathlib import Path

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
