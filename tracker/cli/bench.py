"""Commands at the bench: the balance, the oven and the mill."""

from __future__ import annotations

import argparse
from typing import Any

from tracker.cli.doing import acting, command, counted, reading, say, writing
from tracker.cli.hand_overs import on_sample, record


def add(commands: Any) -> None:
    """Add the commands of this room."""
    weighed = on_sample(commands, "weigh", "keep one reading of a balance", _weigh)
    weighed.add_argument("what", help="tare, fresh, dry, or dry-again for a blind second weighing")
    weighed.add_argument("grams", help="as the balance shows it, with all its digits")
    weighed.add_argument("--balance", default="")
    weighed.add_argument("--zeroed", action="store_true", help="the balance was zeroed with the sack on it")
    weighed.add_argument(
        "--step", metavar="GRAMS", help="what the balance counts in, if not one in the last digit"
    )
    load = command(commands, "oven-in", "put sacks in the oven as one load", _oven_in)
    load.add_argument("load", help="a name for the load")
    load.add_argument("code", nargs="+", help="sacks in the order of their positions")
    load.add_argument("--oven", required=True)
    load.add_argument("--celsius", required=True, help="what the oven is set to")
    out = command(commands, "oven-out", "take a whole load out of the oven", _oven_out)
    out.add_argument("load")
    sheet = command(commands, "oven-sheet", "write the sheet that hangs at the oven", _oven_sheet, acts=False)
    sheet.add_argument("load")
    sheet.add_argument("--out", required=True, metavar="PDF")
    ground = on_sample(commands, "grind", "record one pass through the mill", _grind)
    ground.add_argument("stage", help="coarse or fine")
    ground.add_argument("--screen-mm", help="else the programme's usual screen")
    ground.add_argument("--mill", default="")
    ground.add_argument("--dm", metavar="PERCENT", help="dry matter by a moisture meter, if measured")
    ground.add_argument("--not-cleaned", action="store_true", help="the mill was not cleaned before")
    show = command(
        commands, "dry-matter", "show a sample's dry matter and how it comes about", _dry_matter, acts=False
    )
    show.add_argument("sample", help="the tag's code, or `lot 12`")


def _weigh(asked: argparse.Namespace) -> None:
    from tracker.steps.weigh_in import weigh

    record(
        asked,
        weigh,
        asked.what.replace("-", " "),
        asked.grams,
        balance=asked.balance,
        zeroed=asked.zeroed,
        step=asked.step,
    )


def _oven_in(asked: argparse.Namespace) -> None:
    from tracker.domain.grinding import SAFETY
    from tracker.lookups.find import sample_named
    from tracker.steps.dry import load_oven

    with acting(asked) as (session, act):
        samples = [sample_named(session, code) for code in asked.code]
        load = load_oven(session, asked.load, samples, act, oven=asked.oven, set_celsius=asked.celsius)
    cautions = [finding.words for finding in SAFETY["oven"]]
    values = {"load": load.name, "sacks": len(samples), "in_at": load.in_at, "cautions": cautions}
    say(
        asked,
        values,
        f"Load {load.name}: {counted(len(samples), 'sack')} in at {load.set_celsius} C.",
        *cautions,
    )


def _oven_out(asked: argparse.Namespace) -> None:
    from tracker.steps.dry import empty_oven

    with acting(asked) as (session, act):
        load, remarks = empty_oven(session, asked.load, act)
    words = [finding.words for finding in remarks]
    values = {"load": load.name, "in_at": load.in_at, "out_at": load.out_at, "remarks": words}
    say(asked, values, f"Load {load.name} is out.", *words)


def _oven_sheet(asked: argparse.Namespace) -> None:
    from tracker.lookups.oven_load import load_named
    from tracker.papers.oven_sheet import oven_sheet

    with reading(asked) as session:
        load = load_named(session, asked.load)
    with writing(asked.out) as path:
        oven_sheet(path, load)
    say(asked, {"file": asked.out}, f"The sheet is in {asked.out}.")


def _grind(asked: argparse.Namespace) -> None:
    from tracker.steps.grind import grind

    record(
        asked,
        grind,
        asked.stage,
        screen_mm=asked.screen_mm,
        mill=asked.mill,
        cleaned=not asked.not_cleaned,
        dm=asked.dm,
    )


def _dry_matter(asked: argparse.Namespace) -> None:
    from tracker.lookups.dry_matter import dry_matter_of
    from tracker.lookups.find import sample_named

    with reading(asked) as session:
        found = dry_matter_of(session, sample_named(session, asked.sample))
    say(asked, found.as_dict(), *found.lines())
