"""The operator's commands, one for each act. Only argparse is imported here: the help must come at once."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from typing import Any

from tracker.cli import (
    backups,
    bags,
    bench,
    bundles,
    clients,
    custody,
    exports,
    feeding,
    field,
    hand_overs,
    lists,
    lots,
    margins,
    messages,
    office,
    people,
    records,
    results,
    season,
    server,
)
from tracker.cli.doing import as_json, keep
from tracker.errors import TrackerError

ROOMS = (
    lots,
    lists,
    bags,
    field,
    hand_overs,
    bench,
    results,
    exports,
    feeding,
    season,
    messages,
    custody,
    people,
    office,
    server,
    backups,
    bundles,
    clients,
    margins,
    records,
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. 0 done, 1 refused (and kept), 2 not understood."""
    asked = _understood(sys.argv[1:] if argv is None else argv)
    try:
        return int(asked.run(asked) or 0)
    except TrackerError as refused:
        keep(asked, refused)
        return _refuse(refused, asked.json)
    except BrokenPipeError:
        # The reader went away, as `head` does; there is nobody left to tell.
        sys.stderr.close()
        return 0


def _understood(words: Sequence[str]) -> argparse.Namespace:
    top = parser()
    for word in words:
        # Bytes that are no text reach us as half characters, which no table and no paper can hold.
        if not word.isascii() and any("\ud800" <= letter <= "\udfff" for letter in word):
            top.error(f"{word!a} holds bytes that are no text; write it in the encoding of this terminal")
    # A terminal without our letters shows a question mark for them, and the act stays done.
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    return top.parse_args(words)


def _refuse(refused: TrackerError, in_json: bool) -> int:
    if in_json:
        print(as_json({"refused": refused.as_dict()}))
    else:
        print(f"Refused ({refused.code}): {refused}", file=sys.stderr)
    return 1


class Later(argparse.ArgumentParser):
    """A command whose options are made when somebody asks for it: a hundred others would keep the help waiting."""

    def __init__(self, **told: Any) -> None:
        self._later: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = [("__init__", (), told)]

    def add_argument(self, *names: Any, **told: Any) -> Any:
        return self._now_or_later("add_argument", names, told)

    def set_defaults(self, **told: Any) -> None:
        self._now_or_later("set_defaults", (), told)

    def _now_or_later(self, name: str, words: tuple[Any, ...], told: dict[str, Any]) -> Any:
        if "_later" in vars(self):
            return self._later.append((name, words, told))
        return getattr(super(), name)(*words, **told)

    def __getattr__(self, name: str) -> Any:
        """What a parser has and this one has not yet: it is made."""
        for call, words, told in vars(self).pop("_later", ()):
            getattr(super(), call)(*words, **told)
        return object.__getattribute__(self, name)


def parser() -> argparse.ArgumentParser:
    """Every command with its help."""
    top = argparse.ArgumentParser(
        prog="tracker", description="Follows a hay sample from the stack to the feeding decision."
    )
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=Later)
    for room in ROOMS:
        room.add(commands)
    return top
