"""Every command answers in JSON with --json: when it is done, and when it is refused."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.cli.conftest import PARSER, Terminal
from tests.cli.stages import Stages
from tests.commands import commands as all_commands
from tests.makers import SEAL
from tests.result_files import NIR
from tracker.cli import main

# {stage} is the sample that stands there; what a command writes or reads lies in the folder it is run in.
EXAMPLES: dict[str, Sequence[str]] = {
    "register-lot": (
        *("Oda Meadow", "New field", "1", "--forage", "alfalfa", "--harvested", "2026-06-01"),
        *("--shape", "round", "--bales", "40", "--bale-lb", "900"),
    ),
    "import-lots": ("lots.csv",),
    "import-producers": ("producers.csv",),
    "import-fields": ("fields.geojson",),
    "lots": (),
    "coverage": ("--draws", "2"),
    "season-plan": ("Oda Meadow", "--first", "2026-11-01", "--months", "1", "--out", "season.pdf"),
    "season-plans": (),
    "kept-plan": ("{plan}", "--today", "--out", "kept.pdf"),
    "search": ("second", "cutting"),
    "export": ("lots", "--out", "lots.csv"),
    "plan": ("{unplanned}", "--seed", "3"),
    "coring-card": ("{planned}", "--out", "card.pdf"),
    "cored": ("{planned}",),
    "print-tags": ("--roll", "2", "--out", "tags.pdf"),
    "reprint-tag": ("{fresh}", "--reason", "smeared", "--out", "tag.pdf"),
    "print-sacks": ("{received}", "--out", "sacks.pdf"),
    "test-page": ("--out", "test.pdf"),
    "bind": ("{cored}", "{fresh}"),
    "seal": ("{bagged}", "S-9"),
    "retag": ("{bagged}", "{fresh}", "--reason", "torn"),
    "issue-tags": ("{fresh run}", "1", "1", "ulf"),
    "count-in": ("{carried}",),
    "void-run": ("{fresh run}", "--reason", "the ribbon ran out"),
    "rolls": (),
    "load-phone": ("unsent.json",),
    "phones": (),
    "settle-tag": (
        *("{contested}", "{contested lot}", "--fresh", "{fresh}"),
        *("--reason", "asked both", "--by", "carl"),
    ),
    "field-sheet": ("--to", "tove", "--out", "field.pdf"),
    "void-tag": ("{fresh}", "--reason", "torn"),
    "hand-over": ("{bagged}", "carl"),
    "refuse-hand-over": ("{signed}", "--reason", "not ours", "--by", "carl"),
    "cancel-hand-over": ("{signed}", "--reason", "he did not come"),
    "hold": ("{received}", "--reason", "smells", "--by", "carl"),
    "lift-hold": ("{held}", "--reason", "read it", "--by", "lena"),
    "give-back": ("{received}", "--reason", "asked for it", "--by", "carl"),
    "cancel-sample": ("{planned}", "--reason", "fed already"),
    "store": ("{bagged}", "box"),
    "archive": ("{reported}", "store", "--by", "ana"),
    "take-out": ("{stored}",),
    "receive": (
        "{signed}",
        "--condition",
        "dry",
        "--seal-state",
        "intact",
        "--seal-read",
        SEAL,
        "--by",
        "carl",
    ),
    "break-seal": ("{received}", SEAL, "--by", "carl"),
    "dispose": ("{archived}", "--method", "compost", "--by", "ana"),
    "lost": ("{bagged}", "--circumstances", "fell off the trailer"),
    "amend": ("{weighing}", "grams=268.7", "--reason", "misread", "--by", "carl"),
    "way": ("{reported}",),
    "waiting": (),
    "weigh": ("{received}", "tare", "18.6", "--by", "carl"),
    "oven-in": ("L-9", "{weighed}", "--oven", "Oven 1", "--celsius", "55", "--by", "carl"),
    "oven-out": ("of baking", "--by", "carl"),
    "oven-sheet": ("of baking", "--out", "sheet.pdf"),
    "grind": ("{dried}", "coarse", "--by", "ana"),
    "dry-matter": ("{dried}",),
    "add-source": ("wet", "map.json", "--kind", "laboratory", "--by", "ana"),
    "import-analyses": (NIR, "run.csv", "--by", "ana"),
    "parked": (),
    "take-in": ("1", "{ground}", "--reason", "the fourth cup", "--by", "ana"),
    "set-aside": ("1", "--reason", "an empty cup", "--by", "ana"),
    "analyses": ("{scanned}",),
    "choose-analysis": ("{twice}", "1", "--reason", "the second cup was hot", "--by", "lena"),
    "release": ("{scanned}", "--by", "lena"),
    "report": ("{reported}", "--out", "report.pdf"),
    "feeds": (),
    "set-feed": ("soybean-hulls", "price_ton=220", "--reason", "this week's price"),
    "import-feeds": ("feeds.csv", "--reason", "the mill's list"),
    "groups": (),
    "keep-group": (
        *("Oda Meadow", "spring cows", "kind=cow", "head=30", "weight_lb=1250", "calving=2027-03-01"),
        *("--reason", "told by phone"),
    ),
    "answer": ("{reported lot}", "--weight", "1200", "--stage", "early-milk"),
    "pause-stub": ("{fresh}", "--reason", "it hangs on a barn", "--by", "carl"),
    "resume-stub": ("{carried}", "--reason", "taken down", "--by", "carl"),
    "revoke-stub": ("{fresh}", "--reason", "lost", "--by", "carl"),
    "share-results": ("lot {reported lot}", "Dr. Lee", "--until", "2026-12-31", "--by", "carl"),
    "take-back-link": ("{link}", "--reason", "moved away", "--by", "carl"),
    "links": ("Oda Meadow",),
    "want-messages": ("Oda Meadow", "--address", "oda@example.org", "--how", "signed form", "--by", "carl"),
    "stop-messages": ("Oda Meadow", "--how", "answered STOP", "--by", "carl"),
    "send-messages": (),
    "messages": (),
    "add-person": ("ida", "Ida Rowe", "analyst"),
    "add-place": ("barn", "Barn", "--locked"),
    "add-carrier": ("post", "Post"),
    "add-producer": ("Emil Brook",),
    "people": (),
    "producers": (),
    "custody audit": ("--heads", "issued.pdf"),
    "custody consistency": ("issued.pdf", "--out", "grown.json"),
    "custody verify": ("issued.pdf",),
    "custody key": (),
    "custody new-key": ("--reason", "a year is over", "--by", "lena"),
    "custody head": ("--out", "heads.txt"),
    "export-lot": ("1", "--out", "lot.zip"),
    "check-bundle": ("issued.zip",),
    "import-bundle": ("issued.zip", "--by", "ana"),
    "bundles": (),
    "init": (),
    "practice": (),
    "set-practice": ("cores", "25", "--source", "our lab", "--reason", "wanted", "--by", "lena"),
    "equipment": (),
    "set-equipment": (
        *("mill", "mill 7", "--facts", "2 mm and 1 mm screens", "--reason", "new", "--by", "lena"),
    ),
    "refusals": (),
    "add-lead": ("ida", "Ida Rowe"),
    "invite": ("carl",),
    "reset-link": ("ana",),
    "take-away-factor": ("ana",),
    "comings": (),
    "add-client": ("Balance", "--as", "carl", "--scope", "intake", "--by", "lena"),
    "clients": (),
    "revoke-client": ("Wet room", "--reason", "sold", "--by", "lena"),
    "retention": (),
    "dispose-data": ("sign-ins", "--reason", "over", "--by", "lena"),
    "erase-person": ("siv", "--reason", "asked for it", "--by", "lena"),
    "erase-producer": ("Oda Meadow", "--reason", "asked for it", "--by", "lena"),
    "backup": ("backups",),
    "count-again": (),
    "doctor": ("--offline",),
}
# One plays a season of its own and takes a while, one does not end by itself, and one makes a season of a backup;
# tests/way, tests/cli/test_serve.py and tests/cli/test_backups.py follow them; one fetches from the network,
# and one measures for minutes (tests/bench).
LONG = {"demo", "serve", "restore", "fetch-reader", "bench"}
LISTS = {
    "count-again",
    "coverage",
    "load-phone",
    "lots",
    "waiting",
    "parked",
    "analyses",
    "feeds",
    "season-plans",
    "groups",
    "people",
    "producers",
    "practice",
    "equipment",
    "refusals",
    "comings",
    "clients",
    "retention",
    "register-lot",
    "doctor",
    "bundles",
    "links",
    "messages",
}
# The last one is for people who have no season.
NO_SEASON = {"test-page", "demo", "coverage", "custody verify", "check-bundle"}


def commands() -> dict[str, argparse.ArgumentParser]:
    return all_commands(PARSER())


def acts() -> list[str]:
    return sorted(name for name, made in commands().items() if _has_by(made))


def _has_by(made: argparse.ArgumentParser) -> bool:
    return any("--by" in action.option_strings for action in made._actions)


def typed(name: str, stages: Stages) -> list[str]:
    words = [word.format_map(stages.names) for word in EXAMPLES[name]]
    return [*name.split(), *words, *([] if "--by" in words or name not in acts() else ["--by", "tove"])]


def test_every_command_has_its_example_here() -> None:
    assert set(commands()) - set(EXAMPLES) - LONG == set(), "give each an example above"
    assert (set(EXAMPLES) | LONG) - set(commands()) == set(), "these are no commands any more"


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_command_that_is_done_answers_in_json(name: str, staged: Terminal, stages: Stages) -> None:
    answer = staged.run(*typed(name, stages), "--json")
    assert (answer.code, answer.err) == (0, ""), answer.out
    assert isinstance(answer.json, list if name in LISTS else dict)
    assert answer.json or name in ("refusals", "comings", "bundles", "messages")
    assert "refused" not in answer.json


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_command_that_is_done_says_so_in_words(name: str, staged: Terminal, stages: Stages) -> None:
    answer = staged.run(*typed(name, stages))
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.strip() and "None" not in answer.out and "Decimal(" not in answer.out


@pytest.mark.parametrize("name", sorted(set(EXAMPLES) - NO_SEASON))
def test_a_command_that_finds_no_season_is_refused_in_json(
    name: str, staged: Terminal, stages: Stages
) -> None:
    answer = staged.run(*typed(name, stages), "--json", database="season.db")
    assert (answer.code, answer.err) == (1, "")
    assert set(answer.json) == {"refused"}
    assert answer.json["refused"] == {
        "code": "database-address",
        "message": "'season.db' is not a database address that is understood here.",
        "remedy": "Write it like sqlite:///season.db or postgresql+psycopg://account@host/season.",
        "field": "database",
        "line": None,
    }


def test_a_test_page_that_cannot_be_written_is_refused_in_json(staged: Terminal, tmp_path: Path) -> None:
    answer = staged.run("test-page", "--out", tmp_path, "--json")
    assert (answer.code, answer.err) == (1, "")
    assert answer.json["refused"]["code"] == "file-not-written"


def test_a_demonstration_over_other_files_is_refused_in_json(staged: Terminal, tmp_path: Path) -> None:
    answer = staged.run("demo", "--out", tmp_path, "--json")
    assert (answer.code, answer.err) == (1, "")
    assert answer.json["refused"]["code"] == "folder-not-empty"


@pytest.mark.parametrize("name", acts())
def test_an_act_by_nobody_is_refused_in_json_and_kept(name: str, staged: Terminal, stages: Stages) -> None:
    words = typed(name, stages)
    at_by = words.index("--by")
    answer = staged.run(*words[:at_by], *words[at_by + 2 :], "--json")
    assert (answer.code, answer.err) == (1, "")
    assert answer.json["refused"]["code"] == "nobody-named"
    assert answer.json["refused"]["field"] == "by" and "--by KEY" in answer.json["refused"]["remedy"]
    kept = staged.kept()
    assert (kept["act"], kept["code"], kept["by"]) == (name, "nobody-named", "")


@pytest.mark.parametrize("name", sorted(commands()))
def test_a_command_has_json_and_database(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main([*name.split(), "--help"])
    told = capsys.readouterr().out
    assert left.value.code == 0
    assert "--json" in told and "--database" in told and ("--by" in told) == (name in acts())
