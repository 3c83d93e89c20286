"""Commands about how sure the numbers are."""

from __future__ import annotations

import argparse
from typing import Any

from tracker.cli.doing import command, progress, say, table

WANTED = (93.0, 97.0)


def add(commands: Any) -> None:
    """Add the commands of this room."""
    tried = command(
        commands,
        "coverage",
        "try the margins on made lots whose truth is known",
        _coverage,
        acts=False,
    )
    tried.add_argument("--draws", type=_count, default=2000, help="lots to make (default %(default)s)")
    tried.add_argument(
        "--seed", type=_count, default=5, help="the same makes the same lots (default %(default)s)"
    )
    tried.add_argument(
        "--own", action="store_true", help="programmes that estimate their SDs from their own repeats"
    )


def _count(text: str) -> int:
    """For argparse: 1 to a million."""
    found = int(text)
    if not 1 <= found <= 1_000_000:
        raise ValueError(text)
    return found


def _coverage(asked: argparse.Namespace) -> None:
    from tracker.domain.coverage import covered
    from tracker.domain.fed_example import with_feeding

    found = covered(
        asked.draws, asked.seed, own=asked.own, extend=with_feeding, progress=progress(asked, "lots made:")
    )
    low, high = WANTED
    rows = [
        (one.code, f"{one.percent:.1f} %", one.draws, "" if low <= one.percent <= high else "outside")
        for one in found
    ]
    outside = sum(1 for row in rows if row[3])
    sds = "each programme's own SDs, from its repeats" if asked.own else "the SDs as they are set by default"
    said = [
        f"{asked.draws} made lots, seed {asked.seed}, with {sds}.",
        *table(("value", "held the truth", "lots", f"{low:.0f} to {high:.0f} %"), rows),
        f"{len(rows) - outside} of {len(rows)} values lie within {low:.0f} to {high:.0f} %.",
    ]
    answer = [{"value": one.code, "percent": round(one.percent, 2), "draws": one.draws} for one in found]
    say(asked, answer, *said)
