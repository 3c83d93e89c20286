"""Every way to tamper with the record, and what the audit says of it: with the season alone, and with heads outside.

The attacks are made with plain SQL on the file, the guards taken off before and put back after, as somebody with the
disk would. What cannot be seen is asserted too, because docs/custody.md says so.
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlalchemy import text as sql_text
from sqlalchemy.orm import Session

from tests.cli.stages import build
from tests.makers import act, at, make_dried, make_out_of_oven, make_received
from tracker.domain.canonical import canonical
from tracker.domain.log_entry import entry_of, seal, words_of
from tracker.domain.signed_head import Head, PublicKey, read_head
from tracker.domain.tree import Edge, Run, consistency, is_consistent, leaf_hash
from tracker.files.key_file import KeyFile
from tracker.lookups import log_audit
from tracker.lookups.log_audit import Audit, audit
from tracker.steps.amend import amend
from tracker.steps.undo import undo
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, Undone
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing
from tracker.storage.log import happened, keep_entry, node, previous_leaf


@dataclass
class Log:
    """A season with a signed log: its file, its key, and the two heads that somebody outside has."""

    path: Path
    key_file: KeyFile
    outside: list[tuple[str, Head]]

    @property
    def keys(self) -> list[PublicKey]:
        key = self.key_file.key()
        assert key is not None
        return list(key.known)

    def audited(self, *, outside: bool = False) -> Audit:
        season = Database(f"sqlite:///{self.path}")
        with season.read() as session:
            found = audit(session, self.keys, self.outside if outside else ())
        season.close()
        return found

    def whats(self, *, outside: bool = False) -> set[str]:
        return {fault.what for fault in self.audited(outside=outside).faults}


@pytest.fixture(scope="module")
def log_template(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four samples, one of them newer than the last head; heads signed at every hand-over."""
    folder = tmp_path_factory.mktemp("log")
    path = Path(shutil.copy(season_template, folder / "season.db"))
    key_file = KeyFile(folder / "log.key")
    key_file.make("hay.example")
    season = Database(f"sqlite:///{path}", clock=lambda: at(0), key_file=key_file)
    for field in ("Hill", "Bottom", "Brook"):
        with season.act("make", "tove", {}) as session:
            make_dried(session, field=field, load=field)
    with season.act("make", "tove", {}) as session:
        sample = make_received(session, field="Long field")
        weigh(session, sample, "tare", "18.6", act(session, "carl", 250), balance="B1")
        weigh(session, sample, "fresh", "268.6", act(session, "carl", 251), balance="B1")
    season.close()
    return folder


@pytest.fixture
def log(log_template: Path, tmp_path: Path) -> Log:
    folder = Path(shutil.copytree(log_template, tmp_path / "log"))
    with closing(sqlite3.connect(folder / "season.db")) as raw:
        notes = [note for (note,) in raw.execute("select note from log_head order by size")]
    printed = [read_head(notes[len(notes) // 3]), read_head(notes[-1])]
    return Log(
        folder / "season.db",
        KeyFile(folder / "log.key"),
        [("report 1", printed[0]), ("report 2", printed[1])],
    )


class Attack:
    """Somebody at the disk: the guards are off, and whatever he does is kept."""

    def __init__(self, raw: sqlite3.Connection) -> None:
        self.raw = raw

    def entries(self) -> list[tuple[int, str]]:
        return self.raw.execute("select seq, entry from log_entry order by seq").fetchall()

    def weight(self, *, newest: bool = False) -> int:
        """The entry of the first fresh weight, or of the newest."""
        order = "desc" if newest else "asc"
        wanted = f"select seq from event where kind = 'fresh weighed' order by seq {order} limit 1"
        (seq,) = self.raw.execute(wanted).fetchone()
        return int(seq)

    def edit_weight(self, seq: int) -> None:
        """The event's weight and the table's, both with the same new figure."""
        (data,) = self.raw.execute("select data from event where seq = ?", (seq,)).fetchone()
        changed = {**json.loads(data), "grams": "248.6"}
        text = json.dumps(changed, sort_keys=True, separators=(",", ":"))
        self.raw.execute("update event set data = ? where seq = ?", (text, seq))
        self.raw.execute(
            "update weighing set grams = '248.6' where event_id = (select event_id from event where seq = ?)",
            (seq,),
        )

    def delete(self, seq: int) -> None:
        self.raw.execute(
            "delete from weighing where event_id = (select event_id from event where seq = ?)", (seq,)
        )
        self.raw.execute("delete from event where seq = ?", (seq,))
        self.raw.execute("delete from log_entry where seq = ?", (seq,))
        self.raw.execute("delete from entry_salt where seq = ?", (seq,))

    def renumber(self) -> None:
        """The entries numbered without holes again, lowest first."""
        for table in ("event", "log_entry", "entry_salt"):
            kept = [seq for (seq,) in self.raw.execute(f"select seq from {table} order by seq")]
            for new, old in enumerate(kept, start=1):
                if new != old:
                    self.raw.execute(f"update {table} set seq = ? where seq = ?", (new, old))

    def insert_before(self, seq: int) -> None:
        """An event that never was, with everything after it moved on by one."""
        for table in ("event", "log_entry", "entry_salt"):
            (last,) = self.raw.execute(f"select max(seq) from {table}").fetchone()
            for old in range(last, seq - 1, -1):
                self.raw.execute(f"update {table} set seq = ? where seq = ?", (old + 1, old))
        names = [row[1] for row in self.raw.execute("pragma table_info(event)")]
        copied = ["?" if name in ("seq", "event_id") else f'"{name}"' for name in names]
        quoted = ", ".join(f'"{name}"' for name in names)
        self.raw.execute(
            f"insert into event ({quoted}) select {', '.join(copied)} from event where seq = ?",
            (seq, "00000000-0000-4000-8000-000000000001", seq + 1),
        )
        self.raw.execute("insert into log_entry select ?, entry from log_entry where seq = ?", (seq, seq + 1))
        self.raw.execute(
            "insert into entry_salt select ?, salt from entry_salt where seq = ?", (seq, seq + 1)
        )

    def swap(self, one: int, other: int) -> None:
        for table in ("event", "log_entry", "entry_salt"):
            for old, new in ((one, -1), (other, one), (-1, other)):
                self.raw.execute(f"update {table} set seq = ? where seq = ?", (new, old))

    def cut(self, after: int, *, heads: bool) -> None:
        for table in ("event", "log_entry", "entry_salt"):
            self.raw.execute(f"delete from {table} where seq > ?", (after,))
        for table in ("weighing", "analysis", "report_version", "photo"):
            self.raw.execute(f"delete from {table} where event_id not in (select event_id from event)")
        planned = "select sample_id from event where kind = 'plan issued'"
        self.raw.execute(f"delete from coring_plan where sample_id not in ({planned})")
        if heads:
            self.raw.execute("delete from log_head where size > ?", (after,))

    def wipe_tree(self) -> None:
        self.raw.execute("delete from log_node")


@pytest.fixture
def attack(log: Log) -> Iterator[Attack]:
    """The season's file opened by a stranger; the guards are put back when he leaves."""
    raw = sqlite3.connect(log.path, isolation_level=None)
    guards = [sql for (sql,) in raw.execute("select sql from sqlite_master where type = 'trigger'")]
    for sql in guards:
        name = re.search(r"create trigger (\S+)", sql, re.IGNORECASE)
        assert name is not None
        raw.execute(f"drop trigger {name.group(1)}")
    yield Attack(raw)
    for sql in guards:
        raw.execute(sql)
    raw.close()


def rehash(log: Log) -> None:
    """What an attacker who knows the program does next: every entry and the whole tree made anew from the events.

    He keeps the salts, so that what he left alone gets the entries it had.
    """
    with closing(sqlite3.connect(log.path, isolation_level=None)) as raw:
        salts = dict(raw.execute("select seq, salt from entry_salt").fetchall())
        for table in ("log_entry", "log_node", "entry_salt"):
            raw.execute(f"delete from {table}")
    season = Database(f"sqlite:///{log.path}")
    tree = Edge()
    with season.act("rehash", "", {}) as session:
        for row in session.scalars(select(EventRow).order_by(EventRow.seq)).all():
            event = happened(session, row)
            salt = salts.get(row.seq, b"a new salt")
            text = canonical(entry_of(event, seal(salt, words_of(event)), previous_leaf(session, row)))
            keep_entry(session, row.seq, text.decode(), salt, tree.add(leaf_hash(text)))
    season.close()


def resign(log: Log) -> None:
    """And one who has the key too: every head signed anew over what stands there now."""
    key = log.key_file.key()
    assert key is not None
    with closing(sqlite3.connect(log.path, isolation_level=None)) as raw:
        entries = [text.encode() for (text,) in raw.execute("select entry from log_entry order by seq")]
        tree, roots = Edge(), {}
        for text in entries:
            tree.add(leaf_hash(text))
            roots[tree.size] = tree.root()
        for row, size in raw.execute("select id, size from log_head").fetchall():
            if size in roots:
                raw.execute(
                    "update log_head set note = ? where id = ?", (str(key.signed(size, roots[size])), row)
                )


def last_signed(log: Log) -> int:
    with closing(sqlite3.connect(log.path)) as raw:
        (size,) = raw.execute("select max(size) from log_head").fetchone()
    return int(size)


def test_a_log_nobody_touched_is_clean(log: Log) -> None:
    found = log.audited(outside=True)
    assert found.faults == []
    assert found.entries > 50 and found.heads >= 8 and found.outside == 2
    assert found.signed == last_signed(log)
    assert found.unsigned == 2


def test_an_edited_weight_shows(log: Log, attack: Attack) -> None:
    attack.edit_weight(attack.weight())
    assert "entry" in log.whats() and "entry" in log.whats(outside=True)


def test_a_weight_edited_in_the_table_of_weighings_alone_shows(log: Log, attack: Attack) -> None:
    seq = attack.weight()
    attack.raw.execute(
        "update weighing set grams = '248.6' where event_id = (select event_id from event where seq = ?)",
        (seq,),
    )
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("table", seq)


def test_an_edited_weight_with_every_row_hashed_anew_shows(log: Log, attack: Attack) -> None:
    attack.edit_weight(attack.weight())
    rehash(log)
    assert log.whats() == {"rewritten"} == log.whats(outside=True)


def test_a_deleted_row_shows(log: Log, attack: Attack) -> None:
    attack.delete(attack.weight())
    assert "entries missing" in log.whats() and "entries missing" in log.whats(outside=True)


def test_a_deleted_row_with_the_rest_renumbered_and_hashed_anew_shows(log: Log, attack: Attack) -> None:
    attack.delete(attack.weight())
    attack.renumber()
    rehash(log)
    assert "rewritten" in log.whats() and "rewritten" in log.whats(outside=True)


def test_a_row_put_in_between_with_the_rest_renumbered_and_hashed_anew_shows(
    log: Log, attack: Attack
) -> None:
    attack.insert_before(attack.weight())
    rehash(log)
    assert "rewritten" in log.whats() and "rewritten" in log.whats(outside=True)


def test_two_rows_swapped_and_hashed_anew_show(log: Log, attack: Attack) -> None:
    seq = attack.weight()
    attack.swap(seq, seq + 1)
    rehash(log)
    assert log.whats() == {"rewritten"} == log.whats(outside=True)


def test_a_tail_cut_off_shows_because_a_head_counts_more(log: Log, attack: Attack) -> None:
    attack.cut(last_signed(log) - 1, heads=False)
    rehash(log)
    assert log.whats() == {"entries missing"} == log.whats(outside=True)


def test_a_tail_cut_off_with_its_heads_shows_only_beside_a_head_from_outside(
    log: Log, attack: Attack
) -> None:
    size = log.outside[0][1].size
    attack.cut(size, heads=True)
    rehash(log)
    assert log.whats() == set(), "the honest limit: with the season alone this cannot be seen"
    assert log.whats(outside=True) == {"entries missing"}


def test_a_row_newer_than_the_last_head_edited_and_hashed_anew_does_not_show(
    log: Log, attack: Attack
) -> None:
    seq = attack.weight(newest=True)
    assert seq > last_signed(log)
    attack.edit_weight(seq)
    rehash(log)
    assert log.whats() == set(), "the honest limit: nobody has signed it yet"
    assert log.whats(outside=True) == set()
    assert log.audited().unsigned == 2, "which is why the audit says how many are not signed"


def test_everything_signed_anew_with_a_stolen_key_shows_only_beside_a_head_from_outside(
    log: Log, attack: Attack
) -> None:
    attack.edit_weight(attack.weight())
    rehash(log)
    resign(log)
    assert log.whats() == set(), "the honest limit: whoever has the key can sign a forgery"
    assert log.whats(outside=True) == {"rewritten"}


def test_a_tree_that_was_tampered_with_shows(log: Log, attack: Attack) -> None:
    attack.raw.execute("update log_node set hash = zeroblob(32) where number = 4")
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("tree", 3)


def test_a_hash_too_many_shows(log: Log, attack: Attack) -> None:
    attack.raw.execute("insert into log_node values (100001, zeroblob(32))")
    assert log.whats() == {"tree"}


def test_a_head_signed_by_somebody_elses_key_shows(log: Log, attack: Attack, tmp_path: Path) -> None:
    stranger = KeyFile(tmp_path / "stranger.key").make("hay.example")
    (size, note) = attack.raw.execute("select size, note from log_head order by size limit 1").fetchone()
    forged = stranger.signed(size, read_head(note).root)
    attack.raw.execute("update log_head set note = ? where size = ?", (str(forged), size))
    assert log.whats() == {"signature"}


def test_a_head_that_is_no_head_shows(log: Log, attack: Attack) -> None:
    attack.raw.execute("update log_head set note = 'trust me' where id = 1")
    assert log.whats() == {"head"}


def test_words_whose_proof_is_gone_show_unless_an_event_says_why(log: Log, attack: Attack) -> None:
    attack.raw.execute("delete from entry_salt where seq = 3")
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("words", 3)


def test_an_edited_word_shows_as_much_as_an_edited_figure(log: Log, attack: Attack) -> None:
    attack.raw.execute("update event set note = 'nothing happened' where seq = 5")
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("entry", 5)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("kind", "lost"),
        ("event_id", "another"),
        ("occurred_at", "2026-06-20 15:00:00.000000"),
        ("occurred_offset", 0),
        ("device_at", "2026-06-20T15:00:00+00:00"),
        ("recorded_at", "2026-06-20 15:00:00.000000"),
        ("by", "ulf"),
        ("role", "lead"),
        ("device", "another phone"),
        ("late_reason", "forgotten"),
        ("data", "{}"),
        ("sample_id", None),
        ("lot_id", None),
    ],
)
def test_no_column_of_an_event_can_change_unseen(
    log: Log, attack: Attack, column: str, value: object
) -> None:
    (seq,) = attack.raw.execute("select min(seq) from event where kind = 'sealed'").fetchone()
    attack.raw.execute(f'update event set "{column}" = ? where seq = ?', (value, seq))
    faults = log.audited().faults
    assert ("entry", seq) in {(fault.what, fault.seq) for fault in faults}


def test_every_column_of_an_event_was_tried() -> None:
    tried = {
        mark.args[1][at][0]
        for mark in test_no_column_of_an_event_can_change_unseen.pytestmark  # type: ignore[attr-defined]
        for at in range(len(mark.args[1]))
    }
    # seq is the order itself (swapped above), note the words above, and a tag is in the item of a tag's own life.
    assert {column.name for column in EventRow.__table__.columns} - tried == {"seq", "note", "tag_id"}


def test_a_head_filed_under_another_number_shows_and_is_compared_all_the_same(
    log: Log, attack: Attack
) -> None:
    attack.raw.execute("update log_head set size = size + 3 where id = 2")
    assert log.whats() == {"head"}
    attack.edit_weight(attack.weight())
    rehash(log)
    attack.raw.execute("update log_head set size = 1 where size = (select max(size) from log_head)")
    assert log.whats() == {"head", "rewritten"}


def test_an_event_that_cannot_be_read_shows_and_those_behind_it_are_looked_at(
    log: Log, attack: Attack
) -> None:
    attack.raw.execute("update event set data = '{' where seq = 4")
    attack.raw.execute("update event set occurred_at = 'soon' where seq = 6")
    attack.raw.execute("update log_entry set entry = 'nothing' where seq = 8")
    faults = {(fault.what, fault.seq) for fault in log.audited().faults if "cannot be read" in fault.words}
    assert faults == {("entry", 4), ("entry", 6), ("entry", 8)}


def test_an_event_that_never_got_an_entry_shows(log: Log, attack: Attack) -> None:
    attack.raw.execute("delete from log_entry where seq = 7")
    assert ("not in the log", 7) in {(fault.what, fault.seq) for fault in log.audited().faults}


def test_an_event_that_has_neither_entry_nor_proof_of_its_words_is_said_to_be_unreadable_too(
    log: Log, attack: Attack
) -> None:
    for table in ("log_entry", "entry_salt"):
        attack.raw.execute(f"delete from {table} where seq = 7")
    faults = {(fault.what, fault.seq) for fault in log.audited().faults}
    assert faults >= {("not in the log", 7), ("entry", 7)}


def test_the_audit_sees_the_same_of_any_number_of_rows_at_once(
    log: Log, attack: Attack, monkeypatch: pytest.MonkeyPatch
) -> None:
    seq = attack.weight()
    attack.edit_weight(seq)
    attack.raw.execute("update event set data = '{' where seq = ?", (seq + 2,))
    found = log.audited().faults
    for rows in (1, 3, 1000):
        monkeypatch.setattr(log_audit, "MANY", rows)
        assert log.audited().faults == found


def test_the_audit_sees_the_same_in_runs_of_any_length(
    log: Log, attack: Attack, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Run, "LONGEST", 4)
    assert log.audited(outside=True).faults == []
    attack.raw.execute("update log_node set hash = zeroblob(32) where number = 7")
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("tree", 4), "a subtree over several runs"
    attack.edit_weight(attack.weight())
    rehash(log)
    assert log.whats() == {"rewritten"}


def test_a_hash_kept_under_another_number_shows_in_a_whole_run(
    log: Log, attack: Attack, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Run, "LONGEST", 4)
    attack.raw.execute("update log_node set number = 100001 where number = 12")
    (fault,) = log.audited().faults
    assert (fault.what, fault.seq) == ("tree", 7), "there are as many hashes as before"


@pytest.fixture(scope="module")
def all_kinds(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sample at every station, so that each kind of event and each table has something."""
    return build(season_template, tmp_path_factory.mktemp("kinds") / "season.db").path


@pytest.fixture
def unguarded(all_kinds: Path, tmp_path: Path) -> Iterator[tuple[sqlite3.Connection, Path]]:
    path = Path(shutil.copy(all_kinds, tmp_path / "kinds.db"))
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            raw.execute(f"drop trigger {name}")
        yield raw, path


def found_in(path: Path, key: Path | None = None) -> list[tuple[str, int | None]]:
    known = KeyFile(key).key() if key else None
    with closing(Database(f"sqlite:///{path}")) as season, season.read() as session:
        faults = audit(session, known.known if known else ()).faults
        # No signature is asked about where the key is not given.
        return [(one.what, one.seq) for one in faults if known or one.what != "signature"]


def otherwise(part: object) -> object:
    """Another value of the same look."""
    if isinstance(part, dict):
        return {name: otherwise(one) for name, one in part.items()} if part else {"a": "b"}
    if isinstance(part, list):
        return [otherwise(one) for one in part] if part else ["another"]
    if isinstance(part, bool) or part is None:
        return not part
    return part + 1 if isinstance(part, int) else f"{part}9"


def test_no_part_of_what_an_event_of_any_kind_says_can_change_unseen(
    unguarded: tuple[sqlite3.Connection, Path],
) -> None:
    raw, path = unguarded
    wanted = "select kind, seq, data from event where seq in (select min(seq) from event group by kind)"
    firsts = raw.execute(wanted).fetchall()
    assert len(firsts) > 20 and found_in(path) == []
    for kind, seq, text in firsts:
        data = json.loads(text)
        for name in data:
            changed = {**data, name: otherwise(data[name])}
            written = json.dumps(changed, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
            raw.execute("update event set data = ? where seq = ?", (written, seq))
            assert ("entry", seq) in found_in(path), (kind, name)
        raw.execute("update event set data = ? where seq = ?", (text, seq))


def test_an_entry_of_any_kind_that_differs_from_its_event_shows(
    unguarded: tuple[sqlite3.Connection, Path],
) -> None:
    raw, path = unguarded
    raw.execute("update log_entry set entry = replace(entry, '-05:00\",\"prev', '-06:00\",\"prev')")
    (count,) = raw.execute("select count(*) from event").fetchone()
    assert {seq for what, seq in found_in(path) if what == "entry"} == set(range(1, count + 1))


@pytest.mark.parametrize(
    "done",
    [
        "update weighing set balance = 'B9' where id = 2",
        "update result_value set value = '9.99' where id = 3",
        "update result_value set unit = 'g' where id = 3",
        "delete from result_value where id = 3",
        'update coring_plan set body = replace(body, \'"cores":"20"\', \'"cores":"21"\') where id = 2',
        "update coring_plan set body = '{' where id = 2",
        "update report_version set number = number || 'x' where id = 1",
        "update report_version set body = '{}' where id = 1",
        "update result_file set content = x'00' where id = 1",
    ],
)
def test_whatever_a_table_says_otherwise_than_its_event_shows(
    unguarded: tuple[sqlite3.Connection, Path], done: str
) -> None:
    raw, path = unguarded
    assert raw.execute(done).rowcount == 1
    assert [what for what, _ in found_in(path)] == ["table"]


@pytest.mark.parametrize(
    "done",
    [
        # The same number, the same plan and the same report in other words.
        "update coring_plan set body = replace(body, '\":', '\" :') where id = 2",
        "update report_version set body = replace(body, '\":', '\" :') where id = 1",
    ],
)
def test_the_same_said_in_another_form_is_the_same(
    unguarded: tuple[sqlite3.Connection, Path], done: str
) -> None:
    raw, path = unguarded
    assert raw.execute(done).rowcount == 1
    assert found_in(path) == []


def made_with_corrections(season: Database) -> Sample:
    """A sample whose tare was put right twice, whose fresh weight got another balance, and whose first dry weight was
    taken back; another with the tare of a batch, which was given a balance first and a weight of its own then.
    """
    with season.act("make", "tove", {}) as session:
        sample = make_out_of_oven(session)
        taken_back = weigh(session, sample, "dry", "251.1", act(session, "carl", 1240))
        undo(session, taken_back.seq, act(session, "carl", 1240))
        _put_right(session, sample, "tare weighed", {"grams": "18.7"}, {"grams": "18.50", "balance": "B2"})
        _put_right(session, sample, "fresh weighed", {"balance": "B2"})
        batch = [Decimal(180 + number) / 10 for number in range(10)]
        other = make_received(session, field="Batch")
        weigh(session, other, "tare", "18.4", act(session, "carl", 250), step="0.1", batch=batch)
        fresh = weigh(
            session, other, "fresh", "268.60", act(session, "carl", 251), zeroed=False, raw="268.60 g"
        )
        undo(session, fresh.seq, act(session, "carl", 251))
        weigh(session, other, "fresh", "250.0", act(session, "carl", 252), zeroed=True, step="0.5")
        _put_right(session, other, "tare weighed", {"balance": "B1"}, {"grams": "18.4"})
        dried = make_dried(session, field="Twice", load="L-10", fresh="268.7")
        weigh(session, dried, "dry again", "251.0", act(session, "carl", 1250), balance="B1")
    return sample


def _put_right(session: Session, sample: Sample, kind: str, *changes: dict[str, str]) -> None:
    wanted = select(EventRow.seq).where(EventRow.sample_id == sample.id, EventRow.kind == kind)
    seq = session.scalars(wanted).one()
    for some in changes:
        amend(session, seq, some, act(session, "carl", 1400), reason="misread")


def test_weights_put_right_taken_back_and_told_twice_are_clean(season: Database) -> None:
    made_with_corrections(season)
    with season.read() as session:
        assert session.scalar(select(func.count()).where(Weighing.corrects_id.is_not(None))) == 5
        assert session.scalar(select(func.count()).where(Weighing.batch_n.is_not(None))) == 2
        assert session.scalar(select(func.count()).select_from(Undone)) == 2
        assert audit(session, ()).faults == []


@pytest.fixture(scope="module")
def put_right(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = Path(shutil.copy(season_template, tmp_path_factory.mktemp("put-right") / "season.db"))
    with closing(Database(f"sqlite:///{path}", clock=lambda: at(0))) as season:
        made_with_corrections(season)
    return path


# The rows of weighings in that season, each by what only it has.
FRESH = "what = 'fresh' and grams = '268.6' and corrects_id is null"
BALANCE_ONLY = "what = 'fresh' and corrects_id is not null"
FIRST, SECOND = "grams = '18.7'", "grams = '18.50'"
BATCH, BATCH_BALANCE = "batch_n = 10 and balance = ''", "batch_n = 10 and balance = 'B1'"
UNNAMED = "zeroed = 1 and balance = ''"
SPOILT = {
    "a weight": (FRESH, "grams = '248.6'"),
    "a digit of a weight": (FRESH, "grams = '268.60'"),
    "the sample": (FRESH, "sample_id = sample_id + 1"),
    "what was weighed": (FRESH, "what = 'dry'"),
    "a weighing that has no event": (FRESH, "what = 'composite'"),
    "zeroed": (FRESH, "zeroed = 1"),
    "not zeroed": (UNNAMED, "zeroed = 0"),
    "the step": (UNNAMED, "step = '0.1'"),
    "no step": (UNNAMED, "step = null"),
    "a step where there was none": (FRESH, "step = '5'"),
    "a balance where none was named": (UNNAMED, "balance = 'B9'"),
    "a balance": (FRESH, "balance = 'B9'"),
    "the sacks of a batch": (BATCH, "batch_n = 90"),
    "no batch": (BATCH, "batch_n = null, batch_sd = null"),
    "the spread of a batch": (BATCH, "batch_sd = '0.01'"),
    "a batch that was none": (FRESH, "batch_n = 10, batch_sd = '0.01'"),
    "a row that corrects nothing by its event": (
        UNNAMED,
        f"corrects_id = (select id from weighing where {SECOND})",
    ),
    "an event that weighs nothing": (
        FRESH,
        "event_id = (select event_id from event where kind = 'received' limit 1)",
    ),
    "an event that is not": (FRESH, "event_id = 'none'"),
    "a corrected weight": (SECOND, "grams = '18.60'"),
    "the weight of a correction of the balance alone": (BALANCE_ONLY, "grams = '248.6'"),
    "the corrected balance": (BALANCE_ONLY, "balance = 'B9'"),
    "the sample of a correction": (BALANCE_ONLY, "sample_id = sample_id + 1"),
    "what a correction weighed": (BALANCE_ONLY, "what = 'dry'"),
    "zeroed in a correction": (BALANCE_ONLY, "zeroed = 1"),
    "the step of a correction": (BALANCE_ONLY, "step = '5'"),
    "the batch of a corrected balance": (BATCH_BALANCE, "batch_sd = '0.01'"),
    "a batch left in a corrected weight": (SECOND, "batch_n = 10, batch_sd = '0.01'"),
    "a correction that corrects nothing": (SECOND, "corrects_id = null"),
    "a correction of itself": (SECOND, "corrects_id = id"),
    "a correction of another's weight": (
        BALANCE_ONLY,
        f"corrects_id = (select id from weighing where {UNNAMED})",
    ),
    "a correction of a sample's other weight": (
        BALANCE_ONLY,
        f"corrects_id = (select id from weighing where {SECOND})",
    ),
}


def spoil(path: Path, folder: Path, done: str) -> list[tuple[str, int | None]]:
    """What the audit says of a copy of the season in which one row was spoilt, with every guard off."""
    copy = Path(shutil.copy(path, folder / "spoilt.db"))
    with closing(sqlite3.connect(copy, isolation_level=None)) as raw:
        for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            raw.execute(f"drop trigger {name}")
        assert raw.execute(done).rowcount == 1
    return found_in(copy)


@pytest.mark.parametrize(("row", "change"), SPOILT.values(), ids=SPOILT)
def test_no_row_of_the_weighings_can_be_spoilt_unseen(
    put_right: Path, tmp_path: Path, row: str, change: str
) -> None:
    found = spoil(put_right, tmp_path, f"update weighing set {change} where {row}")
    assert {what for what, _ in found} == {"table"}


def test_every_column_of_a_weighing_that_a_weight_rests_on_was_spoilt() -> None:
    spoilt = {name for _, change in SPOILT.values() for name in re.findall(r"(\w+) = ", change)}
    # A weight rests on no time: the order is that of the rows.
    assert {column.name for column in Weighing.__table__.columns} - spoilt == {"id", "weighed_at"}


@pytest.mark.parametrize("row", [FRESH, BALANCE_ONLY, FIRST, SECOND, BATCH, UNNAMED])
def test_a_weighing_taken_out_of_its_table_shows(put_right: Path, tmp_path: Path, row: str) -> None:
    with closing(sqlite3.connect(put_right)) as raw:
        wanted = f"select seq from event where event_id = (select event_id from weighing where {row})"
        (seq,) = raw.execute(wanted).fetchone()
    assert ("table", seq) in spoil(put_right, tmp_path, f"delete from weighing where {row}")


def test_two_corrections_in_each_others_place_show(put_right: Path, tmp_path: Path) -> None:
    # The first would stand then, and the second be the one that it put right.
    first = f"(select id from weighing where {FIRST})"
    weight = f"(select corrects_id from weighing where {FIRST})"
    copy = Path(shutil.copy(put_right, tmp_path / "season.db"))
    with closing(sqlite3.connect(copy, isolation_level=None)) as raw:
        for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            raw.execute(f"drop trigger {name}")
        (old, new, second) = raw.execute(
            f"select {weight}, {first}, (select id from weighing where {SECOND})"
        ).fetchone()
        raw.execute("update weighing set corrects_id = null where id = ?", (new,))
        raw.execute("update weighing set corrects_id = ? where id = ?", (old, second))
        raw.execute("update weighing set corrects_id = ? where id = ?", (second, new))
    assert [what for what, _ in found_in(copy)].count("table") >= 1


@pytest.mark.parametrize(
    "done",
    [
        "delete from analysis where id = 1",
        "delete from coring_plan where id = 2",
        "delete from report_version where id = 1",
    ],
)
def test_an_analysis_a_plan_and_a_report_that_are_gone_show(
    all_kinds: Path, tmp_path: Path, done: str
) -> None:
    assert [what for what, _ in spoil(all_kinds, tmp_path, done)] == ["table"]


# What the audit does not look at, as docs/custody.md says; and the tag of an event that is a sample's.
UNSEEN = {
    "event": {"tag_id"},
    "log_head": {"id", "at"},
    "weighing": {"id", "weighed_at"},
    "coring_plan": {"id", "issued_at", "issued_by"},
    "analysis": {"file_id", "line", "scanned_at", "findings"},
    "result_value": {"id"},
    "result_file": {"id", "map_id", "name", "sheet", "by", "at"},
    "report_version": {"id", "version", "reason", "issued_at", "issued_by"},
}


@pytest.mark.parametrize(
    "table",
    [
        *("event", "log_entry", "log_node", "log_head", "entry_salt", "weighing", "coring_plan", "analysis"),
        *("result_value", "result_file", "report_version"),
    ],
)
def test_a_change_in_each_column_of_each_audited_table_shows_but_for_those_that_are_not_looked_at(
    unguarded: tuple[sqlite3.Connection, Path], all_kinds: Path, table: str
) -> None:
    raw, path = unguarded
    key = all_kinds.with_suffix(".key")
    assert found_in(path, key) == []
    columns = [row[1] for row in raw.execute(f"pragma table_info({table})")]
    rowid, *values = raw.execute(f"select rowid, * from {table} order by rowid desc limit 1").fetchone()
    raw.execute("pragma ignore_check_constraints = on")
    seen = set()
    for column, value in zip(columns, values, strict=True):
        changed: object = 77_777
        if isinstance(value, str):
            changed = re.sub("^2026", "2025", value) if value.startswith("2026") else f"9{value}"
        elif isinstance(value, bytes):
            changed = b"no hash"
        raw.execute(f'update {table} set "{column}" = ? where rowid = ?', (changed, rowid))
        if found_in(path, key):
            seen.add(column)
        raw.execute(f'update {table} set "{column}" = ? where "{column}" = ?', (value, changed))
    assert set(columns) - seen == UNSEEN.get(table, set())
    assert found_in(path, key) == []


RECEIVED, SEALED = (
    f"(select event_id from event where kind = '{kind}' order by seq limit 1)"
    for kind in ("received", "sealed")
)


@pytest.mark.parametrize(
    "done",
    [
        "delete from undone where rowid = 1",
        f"insert into undone values ({RECEIVED}, {SEALED})",
        f"update undone set event_id = {RECEIVED} where rowid = 1",
        f"update undone set by_event_id = {RECEIVED} where rowid = 1",
        "update undone set by_event_id = 'none' where rowid = 1",
    ],
)
def test_nothing_can_be_taken_back_or_made_to_stand_without_its_entry(
    put_right: Path, tmp_path: Path, done: str
) -> None:
    assert {what for what, _ in spoil(put_right, tmp_path, done)} == {"table"}


ANOTHER = "(select max(id) from sample where id <> sample_id)"


@pytest.mark.parametrize(
    "done",
    [
        "insert into coring_plan (sample_id, version, body, issued_at, issued_by) "
        "select sample_id, version + 1, body, issued_at, issued_by from coring_plan where id = 2",
        "insert into coring_plan (sample_id, version, body, issued_at, issued_by) "
        "select 77777, 1, body, issued_at, issued_by from coring_plan where id = 2",
        f"update analysis set sample_id = {ANOTHER} where id = 1",
        f"update analysis set event_id = {SEALED} where id = 1",
        "update analysis set event_id = 'none' where id = 1",
        f"update report_version set sample_id = {ANOTHER} where id = 1",
        f"update report_version set event_id = {SEALED} where id = 1",
        "update report_version set event_id = 'none' where id = 1",
    ],
)
def test_a_plan_an_analysis_and_a_report_are_of_the_entry_and_the_sample_they_name(
    all_kinds: Path, tmp_path: Path, done: str
) -> None:
    assert {what for what, _ in spoil(all_kinds, tmp_path, done)} == {"table"}


@pytest.mark.parametrize(
    ("done", "seen"),
    [
        (
            "update weighing set grams = '248.6' where what = 'fresh' and grams = '268.6'",
            ("table", "fresh weighed"),
        ),
        ("update weighing set balance = 'B\\' where what = 'dry again'", ("table", "dry weighed again")),
        ("update coring_plan set version = 7 where id = 2", ("table", "plan issued")),
        ("update coring_plan set body = replace(body, '\":', '\" :')", None),
        ("delete from undone where by_event_id = (select max(by_event_id) from undone)", ("table", "undone")),
        (
            "update event set occurred_offset = 330 where kind = 'dry weighed again'",
            ("entry", "dry weighed again"),
        ),
        ("update event set note = 'x' where kind = 'dry weighed again'", ("entry", "dry weighed again")),
    ],
)
def test_the_same_shows_on_either_database(season: Database, done: str, seen: tuple[str, str] | None) -> None:
    made_with_corrections(season)
    with season.engine.begin() as connection:
        if season.file is None:
            connection.execute(sql_text("set local session_replication_role = replica"))
        else:
            for name in connection.scalars(
                sql_text("select name from sqlite_master where type = 'trigger'")
            ).all():
                connection.execute(sql_text(f"drop trigger {name}"))
        assert connection.exec_driver_sql(done).rowcount >= 1
    with season.read() as session:
        faults = audit(session, ()).faults
        kinds = {session.get_one(EventRow, one.seq).kind if one.seq else None for one in faults}
    assert {one.what for one in faults} == ({seen[0]} if seen else set())
    assert kinds - {None} == ({seen[1]} if seen else set())


def test_two_printed_heads_prove_to_anybody_that_the_log_only_grew(log: Log) -> None:
    (_, older), (_, newer) = log.outside
    season = Database(f"sqlite:///{log.path}")
    with season.read() as session:
        path = consistency(older.size, newer.size, lambda number: node(session, number))
    season.close()
    assert is_consistent(older.size, newer.size, path, older.root, newer.root)
