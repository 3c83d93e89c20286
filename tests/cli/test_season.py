"""The season plan and the trial of margins at the terminal."""

from __future__ import annotations

import re

import pytest

from tests.cli.conftest import Terminal
from tracker.papers.season_plan import CAUTIONS

ASKED = ("season-plan", "Oda Meadow", "--first", "2026-11-01", "--months", "2", "--by", "lena")


def test_the_plan_names_months_lots_losses_and_what_is_left_out(staged: Terminal) -> None:
    told = staged.ask(*ASKED)
    assert "Nov 2026" in told and "old cows" in told
    assert "lost in storing" in told and "one more ton saves" in told
    assert "is left out: Nothing is released of lot" in told
    assert "not veterinary or feeding advice" in told


def test_the_plan_in_json_adds_up(staged: Terminal) -> None:
    found = staged.ask_json(*ASKED)
    assert found["months"] == ["Nov 2026", "Dec 2026"]
    for use in found["lots"]:
        parts = sum(float(use[part]) for part in ("eaten", "lost_in_feeding", "lost_in_storing", "left"))
        assert parts == pytest.approx(float(use["tons"]), abs=0.03)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--offer", "12"), "offer-not-understood"),
        (("--offer", "{reported lot}=90"), "lot-not-offered"),
        (("--offer", "9999=90"), "unknown-lot"),
        (("--months", "40"), "not-a-season"),
        (("--first", "soon"), "not-a-date"),
    ],
)
def test_what_cannot_be_planned_is_refused(staged: Terminal, words: tuple[str, ...], code: str) -> None:
    answer = staged.run(*ASKED, *words)
    assert (answer.code, answer.out) == (1, "")
    assert answer.err.startswith(f"Refused ({code}): ")


def test_a_plan_is_kept_listed_and_held_against_today(staged: Terminal) -> None:
    told = staged.ask(*ASKED)
    number = re.findall(r"Kept as plan (\d+)\.", told)[0]
    assert f"Kept as plan {number}." in staged.ask(*ASKED), "asked twice, it is one plan"
    assert number in staged.ask("season-plans", "Oda Meadow").split("\n")[1]
    again = staged.ask("kept-plan", number, "--today")
    assert all(words in again for words in CAUTIONS)
    assert f"Plan {number} for Oda Meadow" in again and "by Lena Roy" in again
    assert "Today the same plan comes of the same values." in again
    staged.run("set-feed", "corn", "price_ton=12", "--reason", "cheap", "--by", "lena")
    assert "feed corn, price ton" in staged.ask("kept-plan", number, "--today")
    missing = staged.run("kept-plan", "99")
    assert (missing.code, missing.err.split(":")[0]) == (1, "Refused (unknown-kept-plan)")


def test_coverage_says_what_it_made_and_how_many_held(staged: Terminal) -> None:
    told = staged.ask("coverage", "--draws", "6")
    assert told.startswith("6 made lots, seed 5, with the SDs as they are set by default.")
    assert "soybean hulls, lb a day as fed" in told and "within 93 to 97 %" in told
