"""The hash tree over the log (RFC 9162, 2.1): its head names every entry, and short proofs lead from an entry to it.

Entries count from 0, hashes are SHA-256 (32 bytes). A leaf is hashed behind 0x00 and a node behind 0x01, so that
neither can stand for the other. Whole subtrees never change again; a store keeps them under the number that their
middle has among leaves (even) and gaps (odd), so adding an entry costs one hash for each subtree it completes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence

EMPTY = hashlib.sha256(b"").digest()
HASH_BYTES = 32

# The hash of the whole subtree with this number.
Stored = Callable[[int], bytes]


def leaf_hash(entry: bytes) -> bytes:
    """What an entry is in the tree."""
    return hashlib.sha256(b"\x00" + entry).digest()


def leaf_hashes(entries: Iterable[str]) -> list[bytes]:
    """The same of many that are text."""
    return [hashlib.sha256(one.encode()).digest() for one in map("\x00".__add__, entries)]


def node_hash(left: bytes, right: bytes) -> bytes:
    """What two neighbours are together."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def number(level: int, place: int) -> int:
    """The number of the whole subtree over the 2^level leaves from place x 2^level on; a leaf's is 2 x place."""
    return (2 * place + 1) * (1 << level) - 1


def root(size: int, stored: Stored) -> bytes:
    """The tree's head over its first `size` entries (RFC 9162, 2.1.1)."""
    return EMPTY if size == 0 else _span(0, size, stored)


def inclusion(index: int, size: int, stored: Stored) -> list[bytes]:
    """The proof that entry `index` is among the first `size` (RFC 9162, 2.1.3.1). Raises ValueError outside them."""
    if not 0 <= index < size:
        raise ValueError(f"there is no entry {index} among {size}")
    path: list[bytes] = []
    start, stop = 0, size
    while stop - start > 1:
        middle = start + _half(stop - start)
        if index < middle:
            path.append(_span(middle, stop, stored))
            stop = middle
        else:
            path.append(_span(start, middle, stored))
            start = middle
    return path[::-1]


def consistency(older: int, size: int, stored: Stored) -> list[bytes]:
    """The proof that the first `size` entries begin with the first `older` (RFC 9162, 2.1.4.1).

    Raises ValueError unless 0 < older <= size.
    """
    if not 0 < older <= size:
        raise ValueError(f"a log of {size} entries has no earlier head of {older}")
    return _subproof(older, 0, size, True, stored)


def _subproof(older: int, start: int, stop: int, whole: bool, stored: Stored) -> list[bytes]:
    if older == stop - start:
        return [] if whole else [_span(start, stop, stored)]
    half = _half(stop - start)
    middle = start + half
    if older <= half:
        return [*_subproof(older, start, middle, whole, stored), _span(middle, stop, stored)]
    return [*_subproof(older - half, middle, stop, False, stored), _span(start, middle, stored)]


def _span(start: int, stop: int, stored: Stored) -> bytes:
    """The hash over leaves start to stop; each left part is whole and aligned, so it is stored."""
    width = stop - start
    if width & (width - 1) == 0 and start % width == 0:
        return stored(number(width.bit_length() - 1, start // width))
    middle = start + _half(width)
    return node_hash(_span(start, middle, stored), _span(middle, stop, stored))


def _half(width: int) -> int:
    """The largest power of two below the width."""
    return 1 << ((width - 1).bit_length() - 1)


def is_included(leaf: bytes, index: int, size: int, path: Sequence[bytes], head: bytes) -> bool:
    """Whether the path leads from the leaf to the head (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size or not _are_hashes(leaf, head, *path):
        return False
    place, last, found = index, size - 1, leaf
    for one in path:
        if last == 0:
            return False
        if place % 2 or place == last:
            found = node_hash(one, found)
            while place % 2 == 0 and place:
                place, last = place >> 1, last >> 1
        else:
            found = node_hash(found, one)
        place, last = place >> 1, last >> 1
    return last == 0 and found == head


def is_consistent(older: int, size: int, path: Sequence[bytes], old: bytes, head: bytes) -> bool:
    """Whether a log with `head` over `size` entries begins with the one that had `old` (RFC 9162, 2.1.4.2)."""
    if not 0 < older <= size or not _are_hashes(old, head, *path):
        return False
    if older == size:
        return not path and old == head
    steps = [old, *path] if older & (older - 1) == 0 else list(path)
    if not steps:
        return False
    place, last = older - 1, size - 1
    while place % 2:
        place, last = place >> 1, last >> 1
    before = now = steps[0]
    for one in steps[1:]:
        if last == 0:
            return False
        if place % 2 or place == last:
            before, now = node_hash(one, before), node_hash(one, now)
            while place % 2 == 0 and place:
                place, last = place >> 1, last >> 1
        else:
            now = node_hash(now, one)
        place, last = place >> 1, last >> 1
    return last == 0 and before == old and now == head


def _are_hashes(*found: bytes) -> bool:
    return all(len(one) == HASH_BYTES for one in found)


def edge_numbers(size: int) -> list[int]:
    """The numbers of the largest whole subtrees that together are the first `size` entries, from the left."""
    found, start = [], 0
    for level in reversed(range(size.bit_length())):
        if size >> level & 1:
            found.append(number(level, start >> level))
            start += 1 << level
    return found


class Edge:
    """The right edge of a growing tree: no more than one hash a level, and enough for the next entry and the head.

    hashes: those of edge_numbers(size), in their order.
    """

    def __init__(self, size: int = 0, hashes: Sequence[bytes] = ()) -> None:
        self.size = size
        self._whole = list(zip(edge_numbers(size), hashes, strict=True))

    def add(self, known: bytes, level: int = 0) -> list[tuple[int, bytes]]:
        """Put the next leaf at the end; the numbers and hashes that are new: the leaf, and each subtree it
        makes whole, lowest first.

        level: above 0 for a whole subtree of 2^level leaves; the size so far must be a multiple of that.
        """
        leaves, place = 1 << level, self.size >> level
        new = [(number(level, place), known)]
        # What stands to the left of the new subtree is the last whole one, as long as it has the same width.
        while place % 2:
            _, left = self._whole.pop()
            known = node_hash(left, known)
            level, place = level + 1, place // 2
            new.append((number(level, place), known))
        self._whole.append(new[-1])
        self.size += leaves
        return new

    def copy(self) -> Edge:
        """The edge as it is now, while the tree grows on."""
        return Edge(self.size, [known for _, known in self._whole])

    def root(self, further: Sequence[bytes] = ()) -> bytes:
        """The head over everything added so far; further: and over these whole subtrees behind it."""
        hashes = [*(found for _, found in self._whole), *further]
        if not hashes:
            return EMPTY
        found = hashes.pop()
        while hashes:
            found = node_hash(hashes.pop(), found)
        return found


class Run:
    """The whole subtrees over a run of leaves, made level by level, which takes little more than the hashing.

    The run begins at a multiple of `LONGEST` leaves and is no longer. levels[k] has the subtrees of 2^k leaves.
    """

    LONGEST = 4096

    def __init__(self, leaves: list[bytes]) -> None:
        self.size = len(leaves)
        self.levels = [leaves]
        while len(self.levels[-1]) > 1:
            below = b"".join(self.levels[-1])
            pairs = range(0, len(below) - HASH_BYTES, 2 * HASH_BYTES)
            self.levels.append(
                [hashlib.sha256(b"\x01" + below[at : at + 2 * HASH_BYTES]).digest() for at in pairs]
            )

    def in_order(self) -> list[bytes]:
        """Every subtree's hash, lowest number first; empty at a gap, the middle of one that is not whole yet."""
        found = [b""] * (2 * self.size - 1)
        for level, hashes in enumerate(self.levels):
            step = 2 << level
            found[step // 2 - 1 : step * len(hashes) : step] = hashes
        return found

    def numbered(self, start: int) -> list[tuple[int, bytes]]:
        """The same with their numbers, without the gaps; start: the first leaf's place."""
        return [one for one in enumerate(self.in_order(), 2 * start) if one[1]]

    def edge(self, size: int) -> list[tuple[int, bytes]]:
        """The largest whole subtrees that together are the run's first `size` leaves: levels and hashes."""
        return [
            (level, hashes[size >> (level + 1) << 1])
            for level, hashes in reversed(list(enumerate(self.levels)))
            if size >> level & 1
        ]
