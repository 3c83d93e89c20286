"""A row's values judged and hashed as they are taken in, against the plain rules, one value after the other."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.analysis import CONSTITUENTS, Value, all_on_dry_matter
from tracker.domain.judging import Judge, check
from tracker.domain.log_entry import texts_digest, values_digest
from tracker.domain.lot import FORAGE_KINDS
from tracker.domain.practice import Practice
from tracker.files.column_map import BASES
from tracker.files.results_file import ReportedValue
from tracker.steps.judge_analysis import judged_values

PRACTICE = Practice({"gh_limit": Decimal("2.5"), "parts_most": Decimal(90)})


@st.composite
def reported(draw: st.DrawFn, code: str) -> ReportedValue:
    """A plausible value of this constituent, in its usual unit or another one, on any basis."""
    known = CONSTITUENTS[code]
    value = draw(st.decimals(known.least, known.most, places=draw(st.integers(0, 4))))
    basis = draw(st.sampled_from(BASES))
    unit = known.unit
    if unit == "%" and draw(st.booleans()):
        value, unit = value * 10, "g/kg"
    qualifier = draw(st.sampled_from(("", "<")))
    return ReportedValue(code, value, unit, basis, draw(st.text(max_size=4)), 'hay "1"', qualifier)


@st.composite
def rows(draw: st.DrawFn) -> tuple[ReportedValue, ...]:
    codes = draw(st.lists(st.sampled_from(list(CONSTITUENTS)), unique=True, min_size=1))
    return tuple(draw(reported(code)) for code in codes)


@given(rows(), st.sampled_from(sorted(FORAGE_KINDS)))
def test_a_row_is_judged_as_its_values_are_one_by_one(row: tuple[ReportedValue, ...], forage: str) -> None:
    values = {
        one.constituent: Value(one.constituent, one.value, one.unit, one.basis, one.method) for one in row
    }
    turned = all_on_dry_matter(values)
    plain = check({**values, **turned}, FORAGE_KINDS[forage], PRACTICE)
    assert judged_values(row, Judge(FORAGE_KINDS[forage], PRACTICE)) == plain


@given(rows())
def test_a_rows_digest_is_that_of_its_values(row: tuple[ReportedValue, ...]) -> None:
    assert texts_digest([one.written for one in row]) == values_digest(row)
