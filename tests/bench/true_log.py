"""The log of a grown season: for every copied event its true entry, and the tree over all of them.

A copy's entry is the first sample's with other numbers, so its text is the first one's with other figures in the
places where they stand. Nothing of the audit makes it, so that the audit has something to find out.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from sqlalchemy import Connection, text
from sqlalchemy.orm import Session

from tracker.domain.canonical import canonical
from tracker.domain.tree import Edge, Run, leaf_hash
from tracker.storage.log import keep_entries

# An entry's number, text and leaf.
Entry = tuple[int, str, bytes]


@dataclass(frozen=True)
class Pattern:
    """An entry of the first sample with places for what differs; follows: the one of them whose leaf it names."""

    entry: str
    pattern: str
    event_id: str
    item: str
    number: int
    lot: int | None
    follows: int | None


def keep_true_log(connection: Connection, code: str, rows: Mapping[str, int]) -> None:
    """Keep entries and hashes of all copies. code: the first sample's; rows: how many each table has of it."""
    patterns = _patterns(connection, code)
    copies = connection.execute(text("select n, code from copies order by n")).all()
    known = set(connection.scalars(text("select number from log_node")))
    session, tree = Session(connection), Edge()
    entries = _entries(patterns, [(0, code), *copies], rows)
    while some := list(islice(entries, Run.LONGEST)):
        run, start = Run([leaf for _, _, leaf in some]), tree.size
        new = run.numbered(start)
        for level, one in run.edge(run.size):
            new += tree.add(one, level)[1:]
        # What the first sample's own events left is there already.
        entered = [(seq, entry) for seq, entry, _ in some if seq > len(patterns)]
        keep_entries(session, entered, [], [one for one in new if one[0] not in known])


def _patterns(connection: Connection, code: str) -> list[Pattern]:
    wanted = "select l.entry, e.data from log_entry l join event e on e.seq = l.seq order by l.seq"
    entries = connection.execute(text(wanted)).all()
    places = {leaf_hash(entry.encode()).hex(): at for at, (entry, _) in enumerate(entries)}
    found = []
    for entry, data in entries:
        # A code among the sealed words would need another seal.
        assert entry.count(code) == data.count(code)
        said = json.loads(entry)
        marks = {name: f"@{name}@" for name in ("id", "item", "lot", "prev", "seq")}
        pattern = canonical({**said, **marks}).decode().replace("%", "%%").replace(code, "%(code)s")
        for name, mark in marks.items():
            quoted = "" if name in ("id", "item") else '"'
            pattern = pattern.replace(f"{quoted}{mark}{quoted}", f"%({name})s")
        item, _, number = said["item"].partition(" ")
        follows = places.get(said["prev"] or "")
        found.append(Pattern(entry, pattern, said["id"], item, int(number), said["lot"], follows))
    return found


def _entries(
    patterns: Sequence[Pattern], copies: Sequence[tuple[int, str]], rows: Mapping[str, int]
) -> Iterator[Entry]:
    """Every entry of the season in order; the first sample is number 0."""
    for n, code in copies:
        leaves: list[bytes] = []
        for at, one in enumerate(patterns):
            entry = one.pattern % {
                "code": code,
                "id": f"{one.event_id}.{n}" if n else one.event_id,
                "item": f"{one.item} {one.number + n * rows[one.item]}",
                "lot": "null" if one.lot is None else one.lot + n * rows["lot"],
                "prev": "null" if one.follows is None else f'"{leaves[one.follows].hex()}"',
                "seq": n * len(patterns) + at + 1,
            }
            assert n or entry == one.entry
            leaves.append(leaf_hash(entry.encode()))
            yield n * len(patterns) + at + 1, entry, leaves[-1]
