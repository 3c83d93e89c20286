"""`python -m labels`: codes, tags, sack labels and test pages without the tracker."""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from labels import payload, pdf
from labels.errors import LabelError
from labels.sheet import Cell, next_start
from labels.stock import PRESETS, RESOLUTIONS, PrinterOffset, Stock, stock_named

SIZES = ("page_w", "page_h", "label_w", "label_h", "left", "top", "pitch_x", "pitch_y")
COUNTS = ("columns", "rows")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 when done, 2 with the complaint on standard error when refused."""
    asked = _parser().parse_args(argv)
    try:
        asked.run(asked)
    except LabelError as complaint:
        print(f"{complaint.code}: {complaint}", file=sys.stderr)
        return 2
    except OSError as trouble:
        print(f"file: {trouble}", file=sys.stderr)
        return 2
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m labels", description="Print labels with QR codes.")
    commands = parser.add_subparsers(required=True, metavar="command")
    _command(commands, "stocks", "list the known label stocks", _stocks)
    codes = _command(commands, "codes", "make new codes", _codes)
    codes.add_argument("count", type=int, help="how many")
    tags = _command(commands, "tags", "print two-part tags", _tags)
    _printing(tags)
    tags.add_argument("--programme", required=True, help="short name printed on both parts")
    tags.add_argument("--phone", required=True, help="whom to call")
    tags.add_argument("--roll", default="", help="roll number; tags are numbered ROLL-001 onwards")
    tags.add_argument(
        "--list", type=Path, required=True, help="new CSV file for codes and SHA-256 of the stubs' tokens"
    )
    sacks = _command(commands, "sacks", "print sack labels", _sacks)
    _printing(sacks)
    sacks.add_argument("--line", action="append", default=[], help="a line of text; may be repeated")
    page = _command(commands, "calibration", "print the test page of a stock", _calibration)
    _geometry(page)
    return parser


def _command(commands: Any, name: str, words: str, run: Callable[[argparse.Namespace], None]) -> Any:
    """A subcommand with the function that runs it; argparse keeps the type of subparsers to itself."""
    parser = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
    parser.set_defaults(run=run)
    return parser


def _geometry(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", type=Path, required=True, help="PDF file to write")
    parser.add_argument(
        "--stock", required=True, help="a name from `stocks`; the options below replace its figures"
    )
    for name in SIZES:
        parser.add_argument(_option(name), type=float, metavar="MM")
    for name in COUNTS:
        parser.add_argument(_option(name), type=int, metavar="N")
    parser.add_argument("--dpi", type=int, choices=RESOLUTIONS, help="printer resolution")
    parser.add_argument("--offset-x", type=float, default=0.0, metavar="MM", help="move right, -10 to 10")
    parser.add_argument("--offset-y", type=float, default=0.0, metavar="MM", help="move down, -10 to 10")


def _printing(parser: argparse.ArgumentParser) -> None:
    _geometry(parser)
    parser.add_argument("--base", required=True, help="address of the office's server, https://...")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--count", type=int, help="how many new codes to make")
    what.add_argument("--code", action="append", help="a code to print; may be repeated")
    parser.add_argument("--start", type=int, default=1, help="first cell to use, counted along the rows")
    parser.add_argument(
        "--skip", type=int, action="append", default=[], help="a spoilt cell; may be repeated"
    )
    parser.add_argument("--rotation", type=int, default=0, help="0, 90, 180 or 270 degrees clockwise")
    parser.add_argument("--dots", type=int, help="printer dots per QR module; as large as fits if left out")


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _stock(asked: argparse.Namespace) -> Stock:
    given = {
        name: getattr(asked, name) for name in (*SIZES, *COUNTS, "dpi") if getattr(asked, name) is not None
    }
    return replace(stock_named(asked.stock), **given)


def _offset(asked: argparse.Namespace) -> PrinterOffset:
    return PrinterOffset(asked.offset_x, asked.offset_y)


def _wanted(asked: argparse.Namespace) -> list[str]:
    """The codes asked for, or new ones that differ from each other."""
    if asked.code:
        codes = [payload.read_code(code) for code in asked.code]
        if len(set(codes)) < len(codes):
            raise LabelError(
                "code-twice", "A code is asked for twice.", remedy="Print each code once.", field="code"
            )
        return codes
    return _new_codes(asked.count)


def _new_codes(count: int) -> list[str]:
    if not 1 <= count <= 100_000:
        raise LabelError(
            "count", f"{count} codes cannot be made at once.", remedy="Use 1 to 100000.", field="count"
        )
    codes: dict[str, None] = {}
    while len(codes) < count:
        codes[payload.make_code()] = None
    return list(codes)


def _stocks(asked: argparse.Namespace) -> None:
    for stock in PRESETS.values():
        size = f"{stock.label_w:g} x {stock.label_h:g} mm"
        print(f"{stock.name:<14} {stock.columns} x {stock.rows} labels of {size}, {stock.dpi} dpi")


def _codes(asked: argparse.Namespace) -> None:
    for code in _new_codes(asked.count):
        print(payload.shown(code))


def _tags(asked: argparse.Namespace) -> None:
    tokens = {code: payload.make_token() for code in _wanted(asked)}
    items = [
        pdf.Tag(
            code,
            payload.url(asked.base, code),
            payload.url(asked.base, token),
            asked.programme,
            asked.phone,
            f"{asked.roll}-{number:03}" if asked.roll else "",
        )
        for number, (code, token) in enumerate(tokens.items(), start=1)
    ]
    # The list comes first and never replaces another: a tag nobody can look up is waste, and an overwritten
    # list would orphan a whole printed roll.
    with asked.list.open("x", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("code", "token_sha256"))
        writer.writerows((code, payload.token_hash(token)) for code, token in tokens.items())
    try:
        _print(asked, items, pdf.tags)
    except (LabelError, OSError):
        asked.list.unlink()
        raise


def _sacks(asked: argparse.Namespace) -> None:
    lines = tuple(asked.line)
    items = [pdf.SackLabel(code, payload.url(asked.base, code), lines) for code in _wanted(asked)]
    _print(asked, items, pdf.sack_labels)


def _print(asked: argparse.Namespace, items: Sequence[Any], write: Callable[..., tuple[Cell, ...]]) -> None:
    """Write the labels with everything asked for and say which cell comes next."""
    stock = _stock(asked)
    used = write(
        asked.out,
        stock,
        items,
        start=asked.start,
        skip=asked.skip,
        rotation=asked.rotation,
        offset=_offset(asked),
        dots=asked.dots,
    )
    print(f"{len(used)} labels on {used[-1].page} pages; the next free cell is {next_start(stock, used)}.")


def _calibration(asked: argparse.Namespace) -> None:
    stock = _stock(asked)
    bar = pdf.calibration_page(asked.out, stock, offset=_offset(asked))
    print(f"Print at actual size: both bars must measure {bar:g} mm.")


if __name__ == "__main__":
    sys.exit(main())
