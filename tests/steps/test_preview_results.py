"""Trying a file: nothing is written, and the import then does what was shown."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.check_runs import CHECK, frozen
from tests.makers import act, done, everything, refused, standing
from tests.result_files import NIR, Bench, parked, row, taken_in, unknown_code, written
from tracker.steps.preview_results import Preview, preview_results
from tracker.steps.record_results import LineTold, record_results


def previewed(bench: Bench, content: bytes, source: str = NIR) -> Preview:
    preview: Preview = done(
        bench.season, lambda s: preview_results(s, source, "run.csv", content, act(s, "ana", 1400))
    )
    return preview


def mixed(bench: Bench) -> bytes:
    """Taken in, parked for three reasons, and a check sample out of control."""
    rows = [
        row(bench.codes[0]),
        row(unknown_code(1)),
        row(CHECK, CP_pc_DM="26.5"),
        row(bench.codes[1], GH="x"),
        row(bench.codes[2], GH="3.4"),
        row(bench.codes[2]),
    ]
    return written(rows)


def test_a_preview_writes_nothing_in_any_table(bench: Bench) -> None:
    frozen(bench)
    before = everything(bench.season)
    assert previewed(bench, mixed(bench)).taken.taken == 2
    assert everything(bench.season) == before
    assert standing(bench.season, bench.samples[0]).state == "ground"


def test_a_preview_says_line_by_line_what_the_import_then_does(bench: Bench) -> None:
    frozen(bench)
    preview = previewed(bench, mixed(bench))
    lines: list[LineTold] = []
    taken = done(
        bench.season,
        lambda s: record_results(s, NIR, "run.csv", mixed(bench), act(s, "ana", 1400), told=lines.append),
    )
    assert list(preview.lines) == lines
    # The file has its number only once it is kept.
    assert preview.taken == replace(taken, file_id=0)
    assert [(line.line, line.became) for line in lines] == [
        (2, "taken in"),
        (3, "parked"),
        (4, "check sample"),
        (5, "parked"),
        (6, "taken in"),
        (7, "parked"),
    ]
    assert (taken.taken, taken.parked, taken.checks, taken.held) == (2, 3, 1, 2)
    assert [one.line for one in parked(bench)] == [line.line for line in lines if line.became == "parked"]


def test_a_preview_names_the_sample_and_the_likely_repair(bench: Bench) -> None:
    code = bench.codes[0]
    slipped = code[:2] + ("7" if code[2] != "7" else "4") + code[3:]
    first, second = previewed(bench, written([row(bench.codes[1]), row(slipped)])).lines
    assert (first.code, first.words) == (bench.codes[1], ())
    assert second.code is None and second.suggestions == (code,) and second.words


def test_two_previews_in_one_act_are_equal(bench: Bench) -> None:
    content = mixed(bench)

    def twice(session: object) -> tuple[Preview, Preview]:
        one, two = (
            preview_results(session, NIR, "run.csv", content, act(session, "ana", 1400))  # type: ignore[arg-type]
            for _ in range(2)
        )
        return one, two

    one, two = done(bench.season, twice)
    assert one == two


def test_a_known_file_is_said_to_be_known(bench: Bench) -> None:
    content = written([row(bench.codes[0])])
    taken_in(bench, content)
    assert previewed(bench, content).taken.known


@pytest.mark.parametrize(("source", "code"), [("bench", "unknown-source"), (NIR, "file-format-differs")])
def test_a_file_that_is_refused_whole_is_refused_at_its_preview(bench: Bench, source: str, code: str) -> None:
    step = lambda s: preview_results(s, source, "run.csv", b"a,b\n1,2\n", act(s, "ana", 1400))  # noqa: E731
    assert refused(bench.season, step).code == code


def test_a_file_too_long_to_be_looked_at_is_refused_and_still_taken_in(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tracker.steps.preview_results.MOST_LINES", 2)
    content = written([row(code) for code in bench.codes[:3]])
    error = refused(bench.season, lambda s: preview_results(s, NIR, "run.csv", content, act(s, "ana", 1400)))
    assert error.code == "too-long-to-look-at"
    assert taken_in(bench, content).taken == 3
