"""Whether the record is the one that was signed: each entry, the tree, each head, and the tables that follow from it.

What this cannot see is said in docs/custody.md: whoever has the key and the database can write another log, and only
a head that lies outside shows it.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.canonical import canonical
from tracker.domain.entry_text import UNSURE, EntryText
from tracker.domain.log_entry import entry_of, seal, words_of
from tracker.domain.signed_head import Head, PublicKey, read_head, signed_by
from tracker.domain.tree import HASH_BYTES, Edge, Run, leaf_hashes, root
from tracker.errors import Refused
from tracker.lookups.log_tables import NO_END, table_faults
from tracker.storage.bulk import Values
from tracker.storage.custody import EventRow
from tracker.storage.log import LogNode, happened, heads_between, node, nodes, raw_entries, raw_hashes
from tracker.storage.people import party_numbers

# The event that says whose words were taken out; data: {"entries": [numbers as text]}.
ERASED = "words erased"


@dataclass(frozen=True)
class Fault:
    """Something that is not as it was signed. seq: the entry's number, None where it is about no single one."""

    what: str
    words: str
    seq: int | None = None


@dataclass
class Audit:
    """What was looked at and what was found. signed: entries under the last head that holds.

    outside: heads from outside that were compared; erased: entries whose words were taken out on purpose.
    """

    entries: int = 0
    heads: int = 0
    outside: int = 0
    signed: int = 0
    signed_at: datetime | None = None
    root: str = ""
    erased: int = 0
    faults: list[Fault] = field(default_factory=list)

    @property
    def clean(self) -> bool:
        """Whether nothing was found."""
        return not self.faults

    @property
    def unsigned(self) -> int:
        """Entries newer than the last head, which a change would not show in."""
        return self.entries - self.signed


@dataclass(frozen=True)
class _Wanted:
    """A head to be compared: where it comes from, and when it was signed if we signed it."""

    head: Head
    where: str
    at: datetime | None = None


def audit(session: Session, keys: Sequence[PublicKey], outside: Iterable[tuple[str, Head]] = ()) -> Audit:
    """Look at everything. keys: the public keys to be trusted, from outside the database.

    outside: heads that others kept, each with the name of where it was. The log is read a few thousand entries at a
    time; of what was read there stay 32 bytes for each sample, tag and lot.
    """
    found = Audit()
    tree, reader, heads = _Tree(session), _Reader(session, found), _Heads(session, found, keys, outside)
    heads.compare(tree)
    for leaves in reader.runs():
        tree.add(leaves)
        heads.compare(tree)
    reader.end()
    heads.end(tree)
    tree.end()
    if tree.wrong is not None:
        words = f"The kept hashes are not those of the entries, first at or soon after entry {tree.wrong}."
        found.faults.append(Fault("tree", words, tree.wrong))
    found.entries, found.root = tree.size, tree.edge.root().hex()
    found.faults += [Fault("table", words, seq) for seq, words in table_faults(session)]
    return found


class _Tree:
    """The tree as the entries make it, one run after another, and held against the kept hashes on the way."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.edge = Edge()
        # The newest run and the edge before it: every head within the run can be told from them.
        self.run, self.before = Run([]), Edge()
        self.wrong: int | None = None

    @property
    def size(self) -> int:
        return self.edge.size

    def add(self, leaves: list[bytes]) -> None:
        """Put the next run of leaves behind the others; all but the last run are of the full length."""
        start = self.size
        self.run, self.before = Run(leaves), self.edge.copy()
        kept = raw_hashes(self.session, 2 * start, 2 * (start + self.run.size) - 2)
        if self.run.size < Run.LONGEST or kept != list(zip(self.run.in_order(), strict=True)):
            self._find_wrong(self.run.numbered(start))
        for level, known in self.run.edge(self.run.size):
            above = self.edge.add(known, level)[1:]
            if above:
                self._find_wrong(above)

    def root(self, size: int) -> bytes | None:
        """The head over the first `size` entries, None where it cannot be told from what is kept."""
        if size >= self.before.size:
            return self.before.root([known for _, known in self.run.edge(size - self.before.size)])
        try:
            return root(size, lambda number: node(self.session, number))
        except KeyError:
            return None

    def end(self) -> None:
        """Hold the number of hashes against that of entries: one for each, and one for each two that became one."""
        count = self.session.scalar(select(func.count(LogNode.number))) or 0
        if count != 2 * self.size - self.size.bit_count() and self.wrong is None:
            self.wrong = self.size

    def _find_wrong(self, wanted: list[tuple[int, bytes]]) -> None:
        kept = nodes(self.session, [number for number, _ in wanted])
        wrong = [number for number, known in wanted if kept.get(number) != known]
        if wrong and self.wrong is None:
            self.wrong = min(wrong) // 2 + 1


class _Heads:
    """The heads, ours and those from outside, each held against the keys and against the tree as it was then."""

    def __init__(
        self,
        session: Session,
        found: Audit,
        keys: Sequence[PublicKey],
        outside: Iterable[tuple[str, Head]],
    ) -> None:
        self.session, self.found, self.keys = session, found, keys
        self.waiting = [_Wanted(head, where) for where, head in outside]
        found.outside = len(self.waiting)
        self.waiting = [one for one in self.waiting if self._holds(one)]
        self.filed = -NO_END

    def compare(self, tree: _Tree) -> None:
        """Look at every head over no more entries than the tree has."""
        self._look(tree, tree.size)

    def end(self, tree: _Tree) -> None:
        """Look at the rest: what they count beyond the last entry was cut off."""
        self._look(tree, NO_END)
        for one in self.waiting:
            words = f"{one.where} counts {one.head.size} entries, and the log has {tree.size}."
            self._fault("entries missing", f"{words} What came after was cut off.")

    def _look(self, tree: _Tree, last: int) -> None:
        self.waiting += [one for one in self._kept(last) if self._holds(one)]
        self.waiting.sort(key=lambda one: one.head.size)
        while self.waiting and self.waiting[0].head.size <= tree.size:
            self._judge(self.waiting.pop(0), tree)

    def _kept(self, last: int) -> Iterator[_Wanted]:
        for row in heads_between(self.session, self.filed, last):
            try:
                head = read_head(row.note)
            except Refused:
                self._fault("head", f"Head {row.id} is no signed head any more.")
                continue
            if head.size != row.size:
                self._fault("head", f"Head {row.id} is filed under {row.size} entries.")
            self.found.heads += 1
            yield _Wanted(head, f"head {row.id}", row.at)
        self.filed = last

    def _holds(self, one: _Wanted) -> bool:
        if signed_by(one.head, self.keys) is not None:
            return True
        which = f"{one.where} ({one.head.size} entries)"
        self._fault("signature", f"The signature of {which} does not hold by any key that is trusted here.")
        return False

    def _judge(self, one: _Wanted, tree: _Tree) -> None:
        size = one.head.size
        if one.head.root != tree.root(size):
            words = f"The first {size} entries are not those that {one.where} was signed over."
            self._fault("rewritten", words)
        elif one.at is not None and size >= self.found.signed:
            self.found.signed, self.found.signed_at = size, one.at

    def _fault(self, what: str, words: str) -> None:
        self.found.faults.append(Fault(what, words))


class _LastLeaves:
    """The leaf of the last entry of each life of one kind, by the life's number: 32 bytes each, in pages."""

    def __init__(self) -> None:
        self._pages: defaultdict[int, bytearray] = defaultdict(_PAGE.copy)

    def get(self, number: int) -> bytes | None:
        """None before the first."""
        at = (number & _PLACES) * HASH_BYTES
        found = bytes(self._pages[number >> _BITS][at : at + HASH_BYTES])
        return None if found == _NO_LEAF else found

    def turn(self, number: int, leaf: bytes) -> bytes | None:
        """Keep this leaf as the last, and give back the one before. Raises TypeError for what is no number."""
        page, at = self._pages[number >> _BITS], (number & _PLACES) * HASH_BYTES
        before = bytes(page[at : at + HASH_BYTES])
        page[at : at + HASH_BYTES] = leaf
        return None if before == _NO_LEAF else before


# Leaves of a page, by the bits of their numbers.
_BITS = 10
_PLACES = (1 << _BITS) - 1
_PAGE = bytearray(HASH_BYTES << _BITS)
_NO_LEAF = bytes(HASH_BYTES)
_TEXT = frozenset((str,))
# Rows read and looked at together: few enough to be still near the processor when they are looked at again.
MANY = 128


class _Reader:
    """The entries in order, each held against its event on the way."""

    def __init__(self, session: Session, found: Audit) -> None:
        self.session = session
        self.found = found
        self.entry = EntryText(party_numbers(session))
        self.samples, self.tags, self.lots = _LastLeaves(), _LastLeaves(), _LastLeaves()
        self.due = 1
        # Entries without what proves their words, and those of which an event says that it was taken out.
        self.bare: list[int] = []
        self.erased: set[int] = set()

    def runs(self) -> Iterator[list[bytes]]:
        """The leaves, in runs of the full length but for the last."""
        leaves: list[bytes] = []
        for rows in raw_entries(self.session, MANY):
            leaves += self._leaves(rows)
            while len(leaves) >= Run.LONGEST:
                yield leaves[: Run.LONGEST]
                leaves = leaves[Run.LONGEST :]
        if leaves:
            yield leaves

    def end(self) -> None:
        """Say which words cannot be proven though no event says why."""
        self.found.erased = len(self.bare)
        for seq in self.bare:
            if seq not in self.erased:
                self._fault("words", f"What proves the words of entry {seq} is gone.", seq)

    def _leaves(self, rows: list[Values]) -> list[bytes]:
        """The leaves of these rows' entries, each of which was held against its row."""
        columns = list(zip(*rows, strict=True))
        seqs, _, kinds, samples, lots, tags, *_, texts, salts = columns
        if seqs != tuple(range(self.due, self.due + len(rows))) or not _TEXT.issuperset(map(type, texts)):
            texts = columns[16] = tuple(map(self._text, seqs, texts))
        self.due = seqs[-1] + 1
        leaves = leaf_hashes(texts)
        previous = list(self._followed(samples, tags, lots, leaves))
        written = self.entry.written(columns, previous)
        if tuple(written) != texts or None in salts:
            for row, text, same, before in zip(rows, texts, written, previous, strict=True):
                if (same == text or self._look_closely(row, text, before)) and row[17] is None:
                    self.bare.append(row[0])
        if ERASED in kinds:
            for row in rows:
                if row[2] == ERASED:
                    self._note_erased(row[8])
        return leaves

    def _text(self, seq: int, text: Any) -> str:
        """The entry's text, empty where there is none; a number that was left out is said."""
        if seq != self.due:
            self._fault("entries missing", f"After entry {self.due - 1} comes {seq}.", seq)
        self.due = seq + 1
        if text is None:
            self._fault("not in the log", f"Event {seq} is not in the log.", seq)
        return text if type(text) is str else ""

    def _followed(self, *columns: Iterable[Any]) -> Iterator[bytes | None]:
        """By sample, tag, lot and leaf the leaf before in the same life, where a sample's first follows its lot's."""
        of_sample, of_tag, of_lot = self.samples.turn, self.tags.turn, self.lots.turn
        for sample, tag, lot, leaf in zip(*columns, strict=True):
            found = None
            try:
                if sample is not None:
                    found = of_sample(sample, leaf)
                    if found is None and lot is not None:
                        found = self.lots.get(lot)
                else:
                    found = of_tag(tag, leaf) if tag is not None else of_lot(lot, leaf)
            except TypeError:
                # The season's own, or a number that is none.
                pass
            yield found

    def _look_closely(self, row: Values, text: str, previous: bytes | None) -> bool:
        """Whether entry and event can be read; held against each other as the entry was made, which decides."""
        seq, kind, salt = row[0], row[2], row[17]
        try:
            kept = json.loads(text)
            event = happened(self.session, self.session.get_one(EventRow, seq))
            words = str(kept["words"]) if salt is None else seal(salt, words_of(event))
            same = canonical(entry_of(event, words, previous)) == text.encode()
        except UNSURE:
            self._fault("entry", f"Entry {seq} cannot be read.", seq)
            return False
        if not same:
            self._fault("entry", f"Event {seq} ({kind}) is not what was logged.", seq)
        return True

    def _note_erased(self, raw: Any) -> None:
        with suppress(ValueError, KeyError, TypeError):
            self.erased |= {int(seq) for seq in json.loads(raw)["entries"]}

    def _fault(self, what: str, words: str, seq: int) -> None:
        self.found.faults.append(Fault(what, words, seq))
