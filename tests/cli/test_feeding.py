"""The answer at the terminal: verdict first, numbers with their units, and what it rests on."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Terminal

COW = ("--weight", "1200", "--stage", "early-milk")


def answered(staged: Terminal, *words: object) -> str:
    return staged.ask("answer", "{reported lot}", *words)


def test_the_verdict_comes_before_the_numbers(staged: Terminal) -> None:
    told = answered(staged, *COW).splitlines()
    assert told[0].startswith("Lot ") and "report R-" in told[0] and "% of dry matter" in told[0]
    assert told[1] == "For 1,200-lb cows, 60 days after calving, milking."
    assert told[3].startswith("This hay alone ")
    assert any(line.startswith("energy, Mcal NEm") for line in told)
    assert told[-4].startswith("This is an estimate, no veterinary advice")


def test_the_answer_in_json_has_the_same_verdict_and_no_floats(staged: Terminal) -> None:
    found = staged.ask_json("answer", "{reported lot}", *COW)
    assert found["verdict"] in ("enough", "enough-if-eaten", "add")
    assert found["verdict_words"] in answered(staged, *COW)
    assert isinstance(found["supplies"][0]["short"]["value"], str)


def test_a_group_of_the_producer_is_taken_at_the_day_asked(staged: Terminal) -> None:
    assert "76 days before calving" in answered(staged, "--group", "old cows", "--on", "2026-12-15")
    assert "14 days after calving" in answered(staged, "--group", "Old cows", "--on", "2027-03-15")


def test_cold_is_felt_by_a_group_too(staged: Terminal) -> None:
    told = answered(
        staged, "--group", "old cows", "--on", "2026-12-15", "--cold", "12", "--coat", "dry winter"
    )
    assert "Cold adds 20 % to the energy" in told


def test_bales_counted_replace_the_estimates(staged: Terminal) -> None:
    told = answered(staged, *COW, "--head", "10", "--bales", "40", "--days", "7")
    assert (
        "Hay eaten, lb of dry matter: bales counted" in told and "NRC equation" not in told.split("Basis")[0]
    )


def test_a_price_set_shows_in_the_answer(staged: Terminal) -> None:
    staged.act("lena", 10, "set-feed", "soybean-hulls", "price_ton=180", "--reason", "this week's price")
    assert "price_ton: 180" in staged.ask("feeds", "--feed", "soybean-hulls")
    assert "Lena Roy: price_ton=180 (this week's price)" in staged.ask("feeds", "--feed", "soybean-hulls")
    assert "180" in next(
        line for line in staged.ask("feeds").splitlines() if line.startswith("soybean-hulls")
    )


def test_a_group_taken_off_is_no_longer_listed(staged: Terminal) -> None:
    assert "old cows" in staged.ask("groups", "--producer", "Oda Meadow")
    staged.act("lena", 10, "keep-group", "Oda Meadow", "old cows", "--gone", "--reason", "sold")
    assert "old cows" not in staged.ask("groups")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("answer", "{reported lot}", "--weight", "1200"), "stage-missing"),
        (("answer", "{reported lot}", "--weight", "545", "--stage", "early-milk"), "implausible-weight"),
        (("answer", "{reported lot}", "--weight", "1200", "--stage", "soon"), "unknown-stage"),
        (("answer", "{reported lot}", "--group", "goats"), "unknown-group"),
        (("answer", "{unplanned}", *COW), "no-report"),
        (("answer", "4242", *COW), "unknown-lot"),
        (("feeds", "--feed", "sawdust"), "unknown-feed"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(
    staged: Terminal, words: tuple[str, ...], code: str
) -> None:
    answer = staged.run(*words)
    assert (answer.code, answer.out) == (1, "")
    assert answer.err.startswith(f"Refused ({code}): ")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("set-feed", "soybean-hulls", "cp=13", "--reason", "a tag"), "feed-source-missing"),
        (("set-feed", "soybean-hulls", "price", "--reason", "a tag"), "not-a-change"),
        (("keep-group", "Oda Meadow", "heifers", "kind=cow", "--reason", "told"), "not-a-number"),
        (("keep-group", "Oda Meadow", "goats", "--gone", "--reason", "sold"), "unknown-group"),
        (("import-feeds", "nowhere.csv", "--reason", "a list"), "file-missing"),
    ],
)
def test_an_act_that_cannot_be_is_refused_and_kept(
    staged: Terminal, words: tuple[str, ...], code: str
) -> None:
    assert staged.refused(*words)["code"] == code
