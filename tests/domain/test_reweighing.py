"""Which sacks are weighed twice follows from the load alone."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.reweighing import ONE_IN, reweighed

LOADS = st.text(min_size=1, max_size=20)


@given(LOADS, st.integers(1, 96))
def test_there_is_one_in_each_ten_and_one_in_the_rest(load: str, sacks: int) -> None:
    drawn = reweighed(load, sacks)
    assert len(drawn) == -(-sacks // ONE_IN)
    assert [(place - 1) // ONE_IN for place in drawn] == list(range(len(drawn)))
    assert all(1 <= place <= sacks for place in drawn)


@given(LOADS)
def test_the_same_load_draws_the_same_and_an_empty_one_none(load: str) -> None:
    assert reweighed(load, 40) == reweighed(load, 40)
    assert reweighed(load, 0) == ()


def test_no_place_of_ten_is_preferred() -> None:
    drawn = {reweighed(f"L-{number}", 10)[0] for number in range(200)}
    assert drawn == set(range(1, 11))
