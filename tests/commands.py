"""Every command of the terminal by its whole name, those below another command too: "custody audit"."""

from __future__ import annotations

import argparse


def commands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The parsers of all commands that do something."""
    rooms = [one for one in parser._actions if isinstance(one, argparse._SubParsersAction)]
    found: dict[str, argparse.ArgumentParser] = {}
    for room in rooms:
        for name, made in room.choices.items():
            below = commands(made)
            found.update({f"{name} {lower}": one for lower, one in below.items()} or {name: made})
    return found
