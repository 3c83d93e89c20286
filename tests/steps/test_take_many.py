"""Rows taken in by the hundred leave exactly what rows taken in one by one leave."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.databases import Databases
from tests.makers import act, at, done, everything, standing
from tests.result_files import NIR, Bench, row, taken_in, unknown_code, written
from tracker.lookups.log_audit import audit
from tracker.steps import record_results as record_module
from tracker.steps.hand_over import store
from tracker.steps.hold import hold
from tracker.steps.record_results import LineTold, record_results
from tracker.steps.take_many import ManyAtOnce
from tracker.storage.engine import Database
from tracker.storage.people import party

# Drawn anew each time, or a number that another database gives at another time.
DRAWN = {"entry_salt", "log_node", "log_entry", "log_head"}


@pytest.fixture
def twin(bench: Bench, bench_template: str, databases: Databases, tmp_path: Path) -> Iterator[Bench]:
    """Another copy of the same season."""
    address = databases.copy(bench_template, tmp_path)
    season = Database(address, clock=lambda: at(0))
    yield Bench(season, bench.samples, bench.codes)
    season.close()
    databases.drop(address)


def stored(bench: Bench) -> None:
    """The first sample lies in the store room, and whoever scans it is no holder by name."""
    done(
        bench.season,
        lambda s: store(s, bench.samples[0], party(s, "store"), act(s, "carl", 1300)),
    )


def mixed(bench: Bench) -> bytes:
    """Plain rows among a value that holds, one that cannot be, a code nobody printed, a second scan, an early one."""
    first, second, third, fourth = bench.codes
    return written(
        [
            row(first),
            row(unknown_code(1)),
            row(second, GH="9.9"),
            row(third),
            row(first, CP_pc_DM="18.9"),
            row(fourth, Scanned="2026-06-20 09:30:00"),
            row(unknown_code(2), CP_pc_DM="not one"),
        ]
    )


def without_drawn(season: Database) -> dict[str, Any]:
    """Every row but for names that are drawn: those are replaced by where they stand in the log."""
    found = everything(season)
    names = {str(event[1]): f"event {event[0]}" for event in found["event"]}
    told = {name: repr(rows) for name, rows in found.items() if name not in DRAWN}
    for drawn, instead in names.items():
        told = {name: rows.replace(drawn, instead) for name, rows in told.items()}
    return told


def taken_by(bench: Bench, content: bytes) -> list[LineTold]:
    lines: list[LineTold] = []
    done(
        bench.season,
        lambda s: record_results(s, NIR, "run.csv", content, act(s, "ana", 1400), told=lines.append),
    )
    return lines


@pytest.mark.parametrize("portion", [1, 2, 500])
def test_many_at_once_leave_what_one_by_one_leave(
    bench: Bench, twin: Bench, monkeypatch: pytest.MonkeyPatch, portion: int
) -> None:
    for season in (bench, twin):
        stored(season)
        done(season.season, lambda s: hold(s, bench.samples[2], act(s, "lena", 1310), reason="must"))
    monkeypatch.setattr(record_module, "AT_ONCE", portion)
    many = taken_by(bench, mixed(bench))
    monkeypatch.setattr(ManyAtOnce, "take", lambda *_: None)
    single = taken_by(twin, mixed(twin))
    assert many == single
    assert without_drawn(bench.season) == without_drawn(twin.season)
    assert {line.became for line in many} == {"taken in", "parked"}
    assert standing(bench.season, bench.samples[1]).on_hold


def test_plain_rows_do_go_the_short_way(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    # The check above would hold too if every row went the long way.
    def long_way(*_: object, **__: object) -> None:
        pytest.fail("a plain row was taken in by itself")

    monkeypatch.setattr(record_module, "attach", long_way)
    taken = taken_in(bench, written(row(code) for code in bench.codes))
    assert (taken.taken, taken.parked) == (4, 0)


def test_the_log_is_whole_after_many_at_once(bench: Bench) -> None:
    taken_in(bench, mixed(bench))
    with bench.season.read() as session:
        found = audit(session, ())
    # Tests have no key; the tree, the entries, the seals and every table that hangs on them are looked at.
    assert found.clean, found.faults
    assert found.entries == len(everything(bench.season)["event"]) > 4


@pytest.mark.parametrize(
    "said",
    [
        {"note": "\ue000line\ue000 \ue001seq\ue001 100 % (seq)s", "device": "\ue000event_id\ue000"},
        # The device's clock runs ahead of the office's, so every entry seals a word of its own.
        {"heard": 1399.5},
    ],
)
def test_the_log_is_whole_whatever_the_act_says(bench: Bench, said: dict[str, Any]) -> None:
    lines = written([row(bench.codes[0]), row(bench.codes[1], Scanned=""), row(bench.codes[2], GH="9.9")])
    done(bench.season, lambda s: record_results(s, NIR, "run.csv", lines, act(s, "ana", 1400, **said)))
    with bench.season.read() as session:
        found = audit(session, ())
    assert found.clean, found.faults
