"""The operator's commands, one for each act. Only argparse is imported here: the help must come at once."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from tracker.cli import bags, bench, hand_overs, lots, office, people, results
from tracker.cli.doing import keep
from tracker.errors import TrackerError

ROOMS = (lots, bags, hand_overs, bench, results, people, office)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. 0 done, 1 refused (and kept), 2 not understood."""
    asked = parser().parse_args(argv)
    try:
        return int(asked.run(asked) or 0)
    except TrackerError as refused:
        keep(asked, refused)
        return _refuse(refused, asked.json)
    except BrokenPipeError:
        # The reader went away, as `head` does; there is nobody left to tell.
        sys.stderr.close()
        return 0


def _refuse(refused: TrackerError, as_json: bool) -> int:
    if as_json:
        import json

        print(json.dumps({"refused": refused.as_dict()}, ensure_ascii=False, indent=1))
    else:
        print(f"Refused ({refused.code}): {refused}", file=sys.stderr)
    return 1


def parser() -> argparse.ArgumentParser:
    """Every command with its help."""
    top = argparse.ArgumentParser(
        prog="tracker", description="Follows a hay sample from the stack to the feeding decision."
    )
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for room in ROOMS:
        room.add(commands)
    return top
