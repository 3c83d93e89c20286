"""Reports as they were issued."""

from __future__ import annotations

import pytest

from tests.makers import at
from tests.result_files import Bench, released, row, taken_in, written
from tracker.errors import NotFound
from tracker.lookups.issued_reports import Issued, issued_report


def issued(bench: Bench, version: int | None = None, number: int = 0) -> Issued:
    with bench.season.read() as session:
        return issued_report(session, bench.samples[number].id, version)


@pytest.fixture
def twice(bench: Bench) -> Bench:
    """The first sample's report was issued twice, the second's once."""
    taken_in(bench, written([row(code) for code in bench.codes[:2]]))
    released(bench, bench.samples[0], minute=1500)
    released(bench, bench.samples[0], minute=1520, reason="the address was wrong")
    released(bench, bench.samples[1], minute=1530)
    return bench


def test_the_latest_version_is_given_unless_another_is_asked_for(twice: Bench) -> None:
    code = twice.codes[0]
    assert (issued(twice).version, issued(twice).number) == (2, f"R-{code}-v2")
    first = issued(twice, 1)
    assert (first.version, first.number, first.issued_at) == (1, f"R-{code}-v1", at(1500))
    assert first.body["report"]["number"] == first.number
    assert issued(twice).body["report"]["replaces"] == first.number


def test_each_sample_has_its_own_reports(twice: Bench) -> None:
    assert issued(twice, number=1).number == f"R-{twice.codes[1]}-v1"


@pytest.mark.parametrize(("number", "version"), [(0, 3), (0, 0), (1, 2), (2, None)])
def test_a_report_that_was_never_issued_is_not_found(twice: Bench, number: int, version: int | None) -> None:
    with pytest.raises(NotFound) as caught:
        issued(twice, version, number)
    assert (caught.value.code, caught.value.field) == ("no-report", "sample")
