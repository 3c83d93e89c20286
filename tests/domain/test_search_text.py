"""What remembered words may mean."""

from __future__ import annotations

import pytest

from tracker.domain.search_text import code_part, remembered, words_of


def test_names_are_found_without_case_accents_and_punctuation() -> None:
    assert words_of("Élan-Hof, O'Dell", "Long  field") == {"elan", "hof", "o", "dell", "long", "field"}


@pytest.mark.parametrize(
    ("said", "cutting"),
    [("second", 2), ("2nd", 2), ("12th", 12), ("13th", None), ("0th", None), ("two", None)],
)
def test_an_ordinal_may_be_a_cutting(said: str, cutting: int | None) -> None:
    assert remembered(said)[0].cutting == cutting


def test_four_digits_may_be_a_season_and_others_are_not() -> None:
    assert remembered("2026 1826 26")[0].season == 2026
    assert [word.season for word in remembered("1826 26")] == [None, None]


def test_the_beginning_of_a_forage_means_every_forage_that_begins_so() -> None:
    assert remembered("orchard")[0].forages == ("orchardgrass",)
    assert set(remembered("mixed alfalfa")[1].forages) == {"alfalfa", "alfalfa-grass"}
    assert remembered("alf")[0].forages == ()


def test_idle_words_are_left_out_unless_nothing_else_is_said() -> None:
    assert [word.text for word in remembered("the second cutting of Orchard field")] == ["second", "orchard"]
    assert [word.text for word in remembered("field")] == ["field"]


def test_a_word_said_twice_counts_once_and_too_many_are_cut() -> None:
    assert len(remembered("hill Hill HILL")) == 1
    assert len(remembered(" ".join(f"w{number}" for number in range(40)))) == 8


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("h7k3", "H7K3"),
        ("H7K3-9QWX", "H7K39QWX"),
        ("o1l", "011"),
        ("7k", ""),
        ("H7K3 9QWX 1", ""),
        ("ab%", ""),
        ("UUU", ""),
    ],
)
def test_part_of_a_code_is_read_as_a_code_is(text: str, part: str) -> None:
    assert code_part(text) == part
