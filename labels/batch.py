"""QR symbols by the hundred: module for module what the qrcode library makes of each text, in a fraction of the time.

A run of tags spends nearly all of its time on choosing masks. Here the symbols of one length are made side by side
as arrays: bits, check bytes (ISO/IEC 18004, 7.5), the eight masks and their penalties (7.8.3). The fixed parts, the
order of the blocks and the sizes are asked of the library; tests hold every module against it.
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
LETTERS = {letter: at for at, letter in enumerate("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")}
# Symbols scored side by side; more takes memory and no less time.
AT_ONCE = 64
_FORMAT = 8


def made(texts: Iterable[str], level: int) -> dict[str, tuple[tuple[bool, ...], ...]]:
    """The symbol of each text in alphanumeric mode, rows from the top, True for dark; level as qrcode numbers it."""
    by_length: dict[int, list[str]] = {}
    for text in dict.fromkeys(texts):
        by_length.setdefault(len(text), []).append(text)
    found = {}
    for length, some in by_length.items():
        shape = _shape(length, level)
        for begin in range(0, len(some), AT_ONCE):
            portion = some[begin : begin + AT_ONCE]
            for text, grid in zip(portion, _symbols(portion, shape), strict=True):
                found[text] = tuple(map(tuple, grid.tolist()))
    return found


@dataclass(frozen=True)
class _Shape:
    """What all symbols of one length and level have in common.

    fixed: the parts that no text changes, without the format's bits; free: where the text's bits go, rows and
    columns in their order; masks and finals: each mask over the free modules, and the fixed parts with its format.
    """

    version: int
    side: int
    blocks: tuple[tuple[int, int], ...]
    order: Numbers
    fixed: Bits
    free: tuple[Numbers, Numbers]
    masks: Bits
    finals: Bits


@lru_cache(maxsize=32)
def _shape(length: int, level: int) -> _Shape:
    symbol = qrcode.QRCode(error_correction=level, border=0)
    symbol.add_data(util.QRData(b"A" * length, mode=util.MODE_ALPHA_NUM))
    symbol.make(fit=True)
    version, side = symbol.version, symbol.modules_count
    blocks = tuple((one.data_count, one.total_count) for one in base.rs_blocks(version, level))
    blank = [_blank(symbol, mask) for mask in range(8)]
    rows, columns = _free(blank[0])
    masks = np.array(
        [[util.mask_func(mask)(r, c) for r, c in zip(rows, columns, strict=True)] for mask in range(8)]
    )
    tested = [[bool(cell) for cell in row] for row in _blank(symbol, None)]
    finals = np.array([[[bool(cell) for cell in row] for row in one] for one in blank])
    return _Shape(
        version,
        side,
        blocks,
        _order(blocks),
        np.array(tested),
        (np.array(rows), np.array(columns)),
        masks.astype(bool),
        finals,
    )


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


def _symbols(texts: Sequence[str], shape: _Shape) -> Bits:
    data = np.frombuffer(b"".join(_data(text, shape) for text in texts), np.uint8).reshape(len(texts), -1)
    parts, at = [data], 0
    for count, total in shape.blocks:
        table = _checks(count, total - count)
        here = data[:, at : at + count]
        parts.append(np.bitwise_xor.reduce(table[np.arange(count), here], axis=1))
        at += count
    bits = np.unpackbits(np.concatenate(parts, axis=1)[:, shape.order], axis=1).astype(bool)
    rows, columns = shape.free
    # What is left over beyond the last byte stays light before the mask.
    padded = np.zeros((len(texts), len(rows)), dtype=bool)
    padded[:, : bits.shape[1]] = bits
    masked = padded[:, None, :] ^ shape.masks[None]
    tried = np.repeat(np.repeat(shape.fixed[None, None], len(texts), axis=0), 8, axis=1)
    tried[:, :, rows, columns] = masked
    best = np.argmin(_penalties(tried), axis=1)
    found: Bits = shape.finals[best]
    found[:, rows, columns] = masked[np.arange(len(texts)), best]
    return found


def _data(text: str, shape: _Shape) -> bytes:
    """The text's bytes in alphanumeric mode (7.4.4), filled up to the symbol's capacity (7.4.10)."""
    bits, size = 0b0010, 4
    width = 9 if shape.version < 10 else 11 if shape.version < 27 else 13
    bits, size = bits << width | len(text), size + width
    for at in range(0, len(text) - 1, 2):
        bits, size = bits << 11 | LETTERS[text[at]] * 45 + LETTERS[text[at + 1]], size + 11
    if len(text) % 2:
        bits, size = bits << 6 | LETTERS[text[-1]], size + 6
    capacity = 8 * sum(count for count, _ in shape.blocks)
    end = min(4, capacity - size)
    bits, size = bits << end, size + end
    short = -size % 8
    bits, size = bits << short, size + short
    found = bits.to_bytes(size // 8, "big")
    missing = capacity // 8 - len(found)
    return found + (b"\xec\x11" * (missing // 2 + 1))[:missing]


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


def _penalties(tried: Bits) -> Numbers:
    """The four penalties (7.8.3.1) of every symbol under every mask, added up as the library does."""
    turned = tried.swapaxes(-1, -2)
    lines = _runs(tried) + _runs(turned) + _finders(tried) + _finders(turned)
    side = tried.shape[-1]
    dark = tried.sum(axis=(-1, -2)) / side**2
    share: Numbers = (np.abs(dark * 100 - 50) / 5).astype(np.int64) * 10
    return lines + _squares(tried) + share


def _runs(tried: Bits) -> Numbers:
    """Runs of five and more of one colour in a row: two less than their length."""
    same = tried[..., 1:] == tried[..., :-1]
    five = same[..., :-3] & same[..., 1:-2] & same[..., 2:-1] & same[..., 3:]
    begins = five[..., 1:] & ~five[..., :-1]
    first = five[..., 0].sum(axis=-1)
    found: Numbers = five.sum(axis=(-1, -2)) + 2 * (begins.sum(axis=(-1, -2)) + first)
    return found


def _squares(tried: Bits) -> Numbers:
    """Two by two of one colour: three each."""
    across = tried[..., 1:] == tried[..., :-1]
    down = tried[..., 1:, :-1] == tried[..., :-1, :-1]
    found: Numbers = 3 * (across[..., :-1, :] & across[..., 1:, :] & down).sum(axis=(-1, -2))
    return found


def _finders(tried: Bits) -> Numbers:
    """What looks like a finder, 1:1:3:1:1 with four light modules before or behind it: forty each."""
    width = tried.shape[-1] - 10

    def at(offset: int) -> Bits:
        return tried[..., offset : offset + width]

    light = ~tried

    def clear(offset: int) -> Bits:
        return light[..., offset : offset + width]

    behind = at(0) & clear(1) & at(2) & at(3) & at(4) & clear(5) & at(6)
    behind &= clear(7) & clear(8) & clear(9) & clear(10)
    before = clear(0) & clear(1) & clear(2) & clear(3) & at(4) & clear(5) & at(6) & at(7)
    before &= at(8) & clear(9) & at(10)
    found: Numbers = 40 * (behind | before).sum(axis=(-1, -2))
    return found
