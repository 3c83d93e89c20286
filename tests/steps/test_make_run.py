"""Making an instrument run: check samples in their places, blind duplicates by a stored seed."""

from __future__ import annotations

from typing import Any

import pytest

from tests.check_runs import CHECK, run_made
from tests.makers import act, done, everything, make_dried, refused, standing
from tests.result_files import NIR, Bench, unknown_code
from tracker.domain.check_samples import run_list
from tracker.lookups.runs import run_named, run_table, to_scan
from tracker.steps.hold import hold
from tracker.steps.make_run import make_run


def kinds_of(run: Any) -> list[str]:
    return [row["kind"] for row in run.rows]


def test_a_check_sample_stands_first_after_every_so_many_and_last(bench: Bench) -> None:
    run = run_made(bench, every=2)
    places = [row["position"] for row in run.rows if row["kind"] == "check"]
    # Two stretches of two samples and one blind duplicate each: 1 + 3 + 1 + 3 + 1 cups.
    assert (places, len(run.rows)) == ([1, 5, 9], 9)
    assert {row["code"] for row in run.rows if row["kind"] == "check"} == {CHECK}
    assert sorted(row["code"] for row in run.rows if row["kind"] == "sample") == sorted(bench.codes)
    assert kinds_of(run).count("blind duplicate") == 2


def test_the_stored_seed_gives_the_same_list_again(bench: Bench) -> None:
    run = run_made(bench, seed=77)
    again = run_list(bench.codes, CHECK, blind_duplicate_seed=run.seed)
    assert run.seed == 77
    assert [(row["position"], row["code"], row["kind"]) for row in run.rows] == [
        (row.position, row.code, row.kind) for row in again
    ]


def test_without_a_seed_one_is_drawn_and_kept(bench: Bench) -> None:
    run = done(bench.season, lambda s: make_run(s, NIR, CHECK, bench.codes, act(s, "ana", 1300)))
    assert [row["code"] for row in run.rows] == [
        row.code for row in run_list(bench.codes, CHECK, blind_duplicate_seed=run.seed)
    ]


def test_runs_are_named_by_their_day_and_number(bench: Bench) -> None:
    # Minute 1300 is 06:40 of the next day at the makers' offset.
    assert [run_made(bench).name, run_made(bench).name] == ["2026-06-21-1", "2026-06-21-2"]


def test_a_check_sample_keeps_the_name_it_was_first_written_with(bench: Bench) -> None:
    run_made(bench)
    assert run_made(bench, check="  check  1 ").check_name == CHECK


def test_what_waits_for_the_scan_can_be_put_into_a_run_as_it_is_shown(bench: Bench) -> None:
    with bench.season.read() as session:
        shown = [one.code or "" for one in to_scan(session)]
    assert len(shown) == 4 and all("-" in code for code in shown)
    assert {row["code"] for row in run_made(bench, shown).rows} == {CHECK, *bench.codes}


@pytest.mark.parametrize(
    ("check", "code"),
    [
        ("  ", "check-name-missing"),
        ("x" * 41, "check-name-missing"),
        (unknown_code(1), "check-name-reads-as-code"),
        (unknown_code(1).lower(), "check-name-reads-as-code"),
    ],
)
def test_a_check_sample_needs_a_name_that_no_tag_can_have(bench: Bench, check: str, code: str) -> None:
    answer = refused(
        bench.season, lambda s: make_run(s, NIR, check, bench.codes, act(s, "ana", 1300)), by="ana"
    )
    assert answer.code == code


def test_only_ground_samples_that_are_not_on_hold_go_into_a_run(bench: Bench) -> None:
    early = done(bench.season, lambda s: make_dried(s, field="Late field", load="L-9"))
    code = standing(bench.season, early).code or ""
    step = lambda codes: lambda s: make_run(s, NIR, CHECK, codes, act(s, "ana", 1300))  # noqa: E731
    assert refused(bench.season, step([bench.codes[0], code])).code == "not-for-the-scan"
    done(bench.season, lambda s: hold(s, bench.samples[1], act(s, "ana", 1290), reason="spilled"))
    answer = refused(bench.season, step([bench.codes[1]]))
    assert answer.code == "not-for-the-scan" and "on hold" in answer.message
    assert refused(bench.season, step([])).code == "run-empty"
    assert refused(bench.season, step([bench.codes[0], bench.codes[0]])).code == "sample-twice"
    assert refused(bench.season, step([unknown_code(5)])).code == "unknown-tag"


def test_a_run_of_no_known_source_is_refused(bench: Bench) -> None:
    step = lambda s: make_run(s, "bench", CHECK, bench.codes, act(s, "ana", 1300))  # noqa: E731
    assert refused(bench.season, step).code == "unknown-source"


def test_a_run_changes_nothing_of_its_samples(bench: Bench) -> None:
    before = everything(bench.season)
    run_made(bench)
    after = everything(bench.season)
    assert {name for name in after if after[name] != before[name]} == {"run_list"}


def test_the_instruments_list_heads_the_sample_as_its_files_do_and_hides_the_duplicate(bench: Bench) -> None:
    made = run_made(bench)
    with bench.season.read() as session:
        run = run_named(session, made.name)
        header, *rows = run_table(session, run, "instrument")
        bench_header, *bench_rows = run_table(session, run, "bench")
    assert header == ("Position", "Sample")
    assert rows == [(row["position"], row["code"]) for row in made.rows]
    assert bench_header == ("Cup", "What", "Code", "Filled")
    assert {row[1] for row in bench_rows} == {"check sample", "sample"}
    assert run.samples == 4
