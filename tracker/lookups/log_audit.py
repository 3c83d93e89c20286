"""Whether the record is the one that was signed: each entry, the tree, each head, and the tables that follow from it.

What this cannot see is said in docs/custody.md: whoever has the key and the database can write another log, and only
a head that lies outside shows it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Text, func, select, type_coerce
from sqlalchemy.orm import Session

from tracker.domain.canonical import canonical
from tracker.domain.log_entry import Happened, entry_of, item, seal, words_of
from tracker.domain.signed_head import Head, PublicKey, read_head, signed_by
from tracker.domain.times import at_offset
from tracker.domain.tree import Edge, leaf_hash
from tracker.errors import Refused
from tracker.lookups.log_tables import table_faults
from tracker.storage.custody import EventRow
from tracker.storage.log import EntrySalt, LogEntry, LogHead, LogNode, nodes
from tracker.storage.people import party_numbers

AT_ONCE = 500
# What an event says, not yet read: whoever tampers may leave something behind that cannot be read.
_RAW = type_coerce(EventRow.data, Text)


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

    outside: heads that others kept, each with the name of where it was.
    """
    found = Audit()
    wanted = [*_kept_heads(session, found), *(_Wanted(head, where) for where, head in outside)]
    found.heads = sum(one.at is not None for one in wanted)
    found.outside = len(wanted) - found.heads
    held = [one for one in wanted if _holds(one, keys, found)]
    held.sort(key=lambda one: one.head.size)
    _walk(session, found, held)
    for one in held:
        if one.head.size > found.entries:
            words = f"{one.where} counts {one.head.size} entries, and the log has {found.entries}."
            found.faults.append(Fault("entries missing", f"{words} What came after was cut off."))
    found.faults += [Fault("table", words, seq) for seq, words in table_faults(session)]
    return found


def _kept_heads(session: Session, found: Audit) -> Iterator[_Wanted]:
    for row in session.scalars(select(LogHead).order_by(LogHead.size, LogHead.id)):
        try:
            head = read_head(row.note)
        except Refused:
            found.faults.append(Fault("head", f"Head {row.id} is no signed head any more."))
            continue
        if head.size != row.size:
            found.faults.append(Fault("head", f"Head {row.id} is filed under {row.size} entries."))
        yield _Wanted(head, f"head {row.id}", row.at)


def _holds(one: _Wanted, keys: Sequence[PublicKey], found: Audit) -> bool:
    if signed_by(one.head, keys) is not None:
        return True
    words = f"The signature of {one.where} ({one.head.size} entries) does not hold by any key that is trusted here."
    found.faults.append(Fault("signature", words))
    return False


def _walk(session: Session, found: Audit, held: list[_Wanted]) -> None:
    """Go through the log from the first entry on, and hold each head against the tree as it was then."""
    reader = _Reader(session, found)
    tree, waiting = Edge(), list(held)
    kept = _KeptTree(session)
    _compare(found, waiting, tree)
    for text in reader.entries():
        kept.check(tree.add(leaf_hash(text)))
        _compare(found, waiting, tree)
    kept.check_all(tree.size)
    if kept.wrong is not None:
        words = f"The kept hashes are not those of the entries, first at or soon after entry {kept.wrong}."
        found.faults.append(Fault("tree", words, kept.wrong))
    found.entries, found.root = tree.size, tree.root().hex()


def _compare(found: Audit, waiting: list[_Wanted], tree: Edge) -> None:
    while waiting and waiting[0].head.size == tree.size:
        one = waiting.pop(0)
        if one.head.root != tree.root():
            words = f"The first {tree.size} entries are not those that {one.where} was signed over."
            found.faults.append(Fault("rewritten", words))
        elif one.at is not None:
            found.signed, found.signed_at = tree.size, one.at


class _KeptTree:
    """The kept hashes, held against those made from the entries a few hundred at a time."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.made: dict[int, bytes] = {}
        self.wrong: int | None = None

    def check(self, new: list[tuple[int, bytes]]) -> None:
        """Hold these against what is kept, now or with those that follow."""
        self.made.update(new)
        if len(self.made) > AT_ONCE:
            self._compare()

    def check_all(self, size: int) -> None:
        """Hold the last ones, and their number: each of `size` leaves, and a node for each two that became one."""
        self._compare()
        if (self.session.scalar(select(func.count(LogNode.number))) or 0) != 2 * size - size.bit_count():
            self.wrong = size if self.wrong is None else self.wrong

    def _compare(self) -> None:
        kept = nodes(self.session, list(self.made))
        wrong = [number for number, value in self.made.items() if kept.get(number) != value]
        if wrong and self.wrong is None:
            self.wrong = min(wrong) // 2 + 1
        self.made.clear()


class _Reader:
    """The entries in order, each held against its event on the way."""

    def __init__(self, session: Session, found: Audit) -> None:
        self.session = session
        self.found = found
        self.parties = party_numbers(session)
        self.last: dict[str, bytes] = {}
        self.erased = self._erased()

    def entries(self) -> Iterator[bytes]:
        """Each entry's bytes as kept, up to the first that is missing."""
        columns = [column for column in EventRow.__table__.columns if column.name != "data"]
        wanted = (
            select(*columns, _RAW.label("raw"), LogEntry.entry, EntrySalt.salt)
            .outerjoin(LogEntry, LogEntry.seq == EventRow.seq)
            .outerjoin(EntrySalt, EntrySalt.seq == EventRow.seq)
            .order_by(EventRow.seq)
        )
        due = 1
        for row in self.session.execute(wanted.execution_options(yield_per=AT_ONCE)):
            if row.seq != due:
                self._fault("entries missing", f"After entry {due - 1} comes {row.seq}.", row.seq)
                due = row.seq
            if row.entry is None:
                self._fault("not in the log", f"Event {row.seq} is not in the log.", row.seq)
            text = (row.entry or "").encode()
            self._hold_against(row, text)
            self.last[item(row.sample_id, row.tag_id, row.lot_id)] = leaf_hash(text)
            due += 1
            yield text

    def _hold_against(self, row: Any, text: bytes) -> None:
        try:
            event = self._happened(row)
            kept = json.loads(text)
            salted = row.salt is not None
            words = seal(row.salt, words_of(event)) if salted else str(kept["words"])
            same = canonical(entry_of(event, words, self._previous(row))) == text
        except (ValueError, KeyError, TypeError, AttributeError):
            self._fault("entry", f"Entry {row.seq} cannot be read.", row.seq)
            return
        if not same:
            self._fault("entry", f"Event {row.seq} ({row.kind}) is not what was logged.", row.seq)
        if not salted and row.seq not in self.erased:
            self._fault("words", f"What proves the words of entry {row.seq} is gone.", row.seq)
        self.found.erased += not salted

    def _happened(self, row: Any) -> Happened:
        said = {
            "note": row.note,
            "late_reason": row.late_reason,
            "device": row.device,
            "device_at": row.device_at,
        }
        return Happened(
            seq=row.seq,
            event_id=row.event_id,
            kind=row.kind,
            sample=row.sample_id,
            lot=row.lot_id,
            tag=row.tag_id,
            occurred_at=at_offset(row.occurred_at, row.occurred_offset),
            recorded_at=row.recorded_at.replace(tzinfo=UTC),
            by=row.by,
            role=row.role,
            data=json.loads(row.raw),
            said=said,
            parties=self.parties,
        )

    def _previous(self, row: Any) -> bytes | None:
        found = self.last.get(item(row.sample_id, row.tag_id, row.lot_id))
        if found is None and row.sample_id is not None:
            found = self.last.get(item(None, None, row.lot_id))
        return found if item(row.sample_id, row.tag_id, row.lot_id) != "log" else None

    def _erased(self) -> set[int]:
        """Entries whose words were taken out, as an event of its own says."""
        rows = self.session.scalars(select(_RAW).where(EventRow.kind == ERASED))
        found: set[int] = set()
        for raw in rows:
            try:
                found |= {int(seq) for seq in json.loads(raw)["entries"]}
            except (ValueError, KeyError, TypeError):
                continue
        return found

    def _fault(self, what: str, words: str, seq: int) -> None:
        self.found.faults.append(Fault(what, words, seq))


# The event that says whose words were taken out; data: {"entries": [numbers as text]}.
ERASED = "words erased"
