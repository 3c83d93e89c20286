"""QR symbols by the hundred: module for module what the qrcode library makes of each text, in a fraction of the time.

A run of tags would spend nearly all of its time on choosing masks. Here the symbols of one length are made side by
side as arrays: bits, check bytes (ISO/IEC 18004, 7.5), the eight masks and their penalties (7.8.3). While masks are
tried a row of modules is one number, its first module the highest bit, so that a step looks at a whole row at once.
The fixed parts, the order of the blocks and the sizes are asked of the library; tests hold every module against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import qrcode
from numpy.typing import NDArray
from qrcode import base, util

Bits = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Numbers = NDArray[np.int64]
Lines = NDArray[np.uint64]
Counts = NDArray[np.uint16]
# Symbols scored side by side; more takes memory and no less time.
AT_ONCE = 64
# A row of modules is one number of so many bits: versions up to 11.
WIDEST = 64
_VALUES = np.zeros(128, dtype=np.int64)
_VALUES[list(b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")] = np.arange(45)


def made(texts: Iterable[str], level: int) -> dict[str, tuple[int, bytes, bytes]]:
    """The symbol of each text in alphanumeric mode: modules along a side, the rows of its own and of its fixed parts.

    A row is one bit a module, dark is 0, in whole bytes that are filled up with 1; the fixed parts (finders, timing,
    alignment) are the same for every text. level is as qrcode numbers it. Symbols over 64 modules wide are left out.
    """
    by_length: dict[int, list[str]] = {}
    for text in dict.fromkeys(texts):
        by_length.setdefault(len(text), []).append(text)
    found = {}
    for length, some in by_length.items():
        shape = _shape(length, level)
        if shape is None:
            continue
        fixed = _bytes(shape.tested[0], shape.side).tobytes()
        for begin in range(0, len(some), AT_ONCE):
            portion = some[begin : begin + AT_ONCE]
            for text, rows in zip(portion, _symbols(portion, shape), strict=True):
                found[text] = (shape.side, rows.tobytes(), fixed)
    return found


@dataclass(frozen=True)
class _Shape:
    """What all symbols of one length and level have in common.

    head and tail: the bits before and after the text's own; places: where each bit goes, row x 64 + column;
    down: the same with columns for rows. Each pair holds rows and, turned, columns: masks over the free modules;
    tested: the fixed parts as the library scores them, without format. formats: the rows of each mask's format alone.
    """

    side: int
    blocks: tuple[tuple[int, int], ...]
    order: Numbers
    head: Bits
    tail: Bits
    places: Numbers
    down: Numbers
    masks: tuple[Lines, Lines]
    tested: tuple[Lines, Lines]
    formats: Lines


@lru_cache(maxsize=32)
def _shape(length: int, level: int) -> _Shape | None:
    symbol = qrcode.QRCode(error_correction=level, border=0)
    symbol.add_data(util.QRData(b"A" * length, mode=util.MODE_ALPHA_NUM))
    symbol.make(fit=True)
    side = symbol.modules_count
    if side > WIDEST:
        return None
    blocks = tuple((one.data_count, one.total_count) for one in base.rs_blocks(symbol.version, level))
    head, tail = _frame(length, symbol.version, 8 * sum(count for count, _ in blocks))
    blank = [_blank(symbol, mask) for mask in range(8)]
    rows, columns = _free(blank[0])
    masks = np.zeros((8, side, side), dtype=bool)
    for mask in range(8):
        masks[mask, rows, columns] = [util.mask_func(mask)(r, c) for r, c in zip(rows, columns, strict=True)]
    tested = np.array(_blank(symbol, None)).astype(bool)
    places: Numbers = np.array(rows) * WIDEST + np.array(columns)
    return _Shape(
        side,
        blocks,
        _order(blocks),
        head,
        tail,
        places,
        places % WIDEST * WIDEST + places // WIDEST,
        (_lines(masks), _lines(masks.swapaxes(1, 2))),
        (_lines(tested), _lines(tested.T)),
        _lines(np.array(blank).astype(bool) & ~tested),
    )


def _lines(grid: Bits) -> Lines:
    """Each row as a number, its first module the highest of 64 bits."""
    wide = np.zeros((*grid.shape[:-1], WIDEST), dtype=bool)
    wide[..., : grid.shape[-1]] = grid
    return _numbers(wide)


def _numbers(wide: Bits) -> Lines:
    return np.packbits(wide, axis=-1).view(">u8")[..., 0].astype(np.uint64)


def _frame(length: int, version: int, capacity: int) -> tuple[Bits, Bits]:
    """The bits before the text's own, which say its kind and length (7.4.4), and those that fill up (7.4.10)."""
    width = 9 if version < 10 else 11
    head = [int(bit) for bit in f"0010{length:0{width}b}"]
    used = len(head) + length // 2 * 11 + length % 2 * 6
    end = min(4, capacity - used)
    tail = [0] * (end + -(used + end) % 8)
    missing = (capacity - used - len(tail)) // 8
    filler = np.unpackbits(np.frombuffer((b"\xec\x11" * missing)[:missing], np.uint8))
    return np.array(head, dtype=bool), np.concatenate([np.array(tail, dtype=bool), filler.astype(bool)])


def _blank(symbol: Any, mask: int | None) -> list[list[bool | None]]:
    """The symbol with its fixed parts and nothing else; with mask None as the library scores it, without format."""
    other = qrcode.QRCode(version=symbol.version, error_correction=symbol.error_correction, border=0)
    other.data_cache = []
    other.map_data = lambda data, pattern: None
    other.makeImpl(mask is None, mask or 0)
    return [list(row) for row in other.modules]


def _free(blank: list[list[bool | None]]) -> tuple[list[int], list[int]]:
    """The modules for the text's bits, two columns at a time from the right, up and down (7.7.3)."""
    side, rows, columns = len(blank), [], []
    upwards = True
    for right in range(side - 1, 0, -2):
        pair = right - 1 if right <= 6 else right
        for row in range(side - 1, -1, -1) if upwards else range(side):
            for column in (pair, pair - 1):
                if blank[row][column] is None:
                    rows.append(row)
                    columns.append(column)
        upwards = not upwards
    return rows, columns


def _order(blocks: Sequence[tuple[int, int]]) -> Numbers:
    """In which order the bytes of all blocks, data first and then check bytes, go into the symbol (7.6)."""
    data_ends, at = [], 0
    for data, _ in blocks:
        data_ends.append((at, data))
        at += data
    check_begin, order = at, []
    for n in range(max(data for data, _ in blocks)):
        order += [begin + n for begin, data in data_ends if n < data]
    begins = []
    for data, total in blocks:
        begins.append((check_begin, total - data))
        check_begin += total - data
    for n in range(max(count for _, count in begins)):
        order += [begin + n for begin, count in begins if n < count]
    return np.array(order)


def _symbols(texts: Sequence[str], shape: _Shape) -> Bytes:
    """The rows of each text's symbol under the mask of the least penalty, without the fixed parts."""
    bits = np.unpackbits(_words(texts, shape), axis=1).astype(bool)
    rows, columns = (_placed(bits, places, shape.side) for places in (shape.places, shape.down))
    across, down = (
        (lines[:, None] ^ masks) | tested
        for lines, masks, tested in zip((rows, columns), shape.masks, shape.tested, strict=True)
    )
    best = np.argmin(_penalties(across, down), axis=1)
    return _bytes((rows ^ shape.masks[0][best]) | shape.formats[best], shape.side)


def _bytes(lines: Lines, side: int) -> Bytes:
    """The modules of each row, dark is 0, in as few bytes as hold them."""
    return (~lines).astype(">u8")[..., None].view(np.uint8)[..., : -(-side // 8)]


def _placed(bits: Bits, places: Numbers, side: int) -> Lines:
    # What is left over beyond the last byte stays light before the mask.
    wide = np.zeros((len(bits), side * WIDEST), dtype=bool)
    wide[:, places[: bits.shape[1]]] = bits
    return _numbers(wide.reshape(len(bits), side, WIDEST))


def _words(texts: Sequence[str], shape: _Shape) -> Bytes:
    """Every byte of each symbol, data and check bytes, in the order in which they are laid."""
    data = np.packbits(_data(texts, shape), axis=1)
    parts, at = [data], 0
    for count, total in shape.blocks:
        table = _checks(count, total - count)
        here = data[:, at : at + count]
        parts.append(np.bitwise_xor.reduce(table[np.arange(count), here], axis=1))
        at += count
    return np.concatenate(parts, axis=1)[:, shape.order]


def _data(texts: Sequence[str], shape: _Shape) -> Bits:
    """The data bits in alphanumeric mode (7.4.4): two letters in 11 bits, one that is over in 6."""
    count = len(texts)
    values = _VALUES[np.frombuffer("".join(texts).encode("ascii"), np.uint8)].reshape(count, -1)
    paired = values.shape[1] // 2 * 2
    pairs = values[:, 0:paired:2] * 45 + values[:, 1:paired:2]
    return np.concatenate(
        [
            np.broadcast_to(shape.head, (count, len(shape.head))),
            _bits(pairs, 11),
            _bits(values[:, paired:], 6),
            np.broadcast_to(shape.tail, (count, len(shape.tail))),
        ],
        axis=1,
    )


def _bits(values: Numbers, width: int) -> Bits:
    found: Bits = (values[..., None] >> np.arange(width - 1, -1, -1) & 1).astype(bool)
    return found.reshape(len(values), -1)


@lru_cache(maxsize=32)
def _checks(data: int, check: int) -> Bytes:
    """The check bytes of every value at every place of a block; those of a block are their exclusive or."""
    generator = np.array([1], dtype=np.int64)
    for n in range(check):
        longer = np.zeros(len(generator) + 1, dtype=np.int64)
        longer[:-1] = generator
        longer[1:] ^= _times(generator, base.gexp(n))
        generator = longer
    tail = generator[1:]
    table = np.zeros((data, 256, check), dtype=np.uint8)
    # The check bytes of a 1 in the last place, then of one place more to the left each time.
    rest = tail.copy()
    for place in range(data - 1, -1, -1):
        for value in range(1, 256):
            table[place, value] = _times(rest, value)
        rest = np.append(rest[1:], 0) ^ _times(tail, int(rest[0]))
    return table


def _times(values: Numbers, by: int) -> Numbers:
    """The product in the field of 256 elements."""
    if by == 0:
        return np.zeros_like(values)
    return np.where(values == 0, 0, _EXP[(_LOG[values] + _LOG[by]) % 255])


_EXP: Numbers = np.array([base.gexp(n) for n in range(255)], dtype=np.int64)
_LOG: Numbers = np.array([0] + [base.glog(n) for n in range(1, 256)], dtype=np.int64)


def _penalties(across: Lines, down: Lines) -> Numbers:
    """The four penalties (7.8.3.1) of every symbol under every mask, added up as the library does."""
    side = across.shape[-1]
    same = _same(across, side)
    lines = _runs(same) + _finders(across, side) + _squares(across, same)
    lines += _runs(_same(down, side)) + _finders(down, side)
    dark = np.bitwise_count(across).sum(axis=-1, dtype=np.int64) / side**2
    share: Numbers = (np.abs(dark * 100 - 50) / 5).astype(np.int64) * 10
    found: Numbers = lines.sum(axis=-1, dtype=np.int64) + share
    return found


def _first(count: int) -> np.uint64:
    """A number whose first so many of 64 bits are set."""
    return np.uint64((1 << WIDEST) - (1 << (WIDEST - count)))


def _shift(lines: Lines, count: int) -> Lines:
    """Every module so many places further to the front."""
    return lines << np.uint64(count)


def _same(lines: Lines, side: int) -> Lines:
    """Which modules are of one colour with the next."""
    return ~(lines ^ _shift(lines, 1)) & _first(side - 1)


def _runs(same: Lines) -> Counts:
    """Runs of five and more of one colour: two less than their length."""
    three = same & _shift(same, 1)
    five = three & _shift(three, 2)
    begins = five & ~(five >> np.uint64(1))
    found: Counts = np.bitwise_count(five) + np.uint16(2) * np.bitwise_count(begins)
    return found


def _squares(lines: Lines, same: Lines) -> Counts:
    """Two by two of one colour: three each, told with the upper row."""
    found = np.zeros(lines.shape, dtype=np.uint16)
    below = same[..., :-1] & same[..., 1:] & ~(lines[..., :-1] ^ lines[..., 1:])
    found[..., :-1] = np.uint16(3) * np.bitwise_count(below)
    return found


def _finders(lines: Lines, side: int) -> Counts:
    """What looks like a finder, 1:1:3:1:1 with four light modules before or behind it: forty each."""
    light = ~lines
    core = lines & _shift(light, 1) & _shift(lines, 2) & _shift(lines, 3)
    core &= _shift(lines, 4) & _shift(light, 5) & _shift(lines, 6)
    two = light & _shift(light, 1)
    four = two & _shift(two, 2)
    like = ((core & _shift(four, 7)) | (four & _shift(core, 4))) & _first(side - 10)
    found: Counts = np.uint16(40) * np.bitwise_count(like)
    return found
