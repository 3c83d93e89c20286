"""A few commands as they are really run: a process of their own, their exit codes, their two streams."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from tracker.cli import parser
from tracker.settings import VARIABLES

ROOT = Path(__file__).parents[2]
Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """`python -m tracker`, standing in an empty folder."""
    clean = {name: value for name, value in os.environ.items() if name not in VARIABLES.values()}

    def command(*words: str, settings: Mapping[str, str] | None = None) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "tracker", *words],
            cwd=tmp_path,
            env={**clean, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", **(settings or {})},
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
            check=False,
        )

    return command


def test_the_help_makes_the_options_of_no_command_and_a_command_its_own_only() -> None:
    top = parser()
    (commands,) = (group.choices for group in top._actions if group.choices)
    waiting = {name for name, one in commands.items() if "_later" in vars(one)}
    # Those whose options exclude each other, or that have commands below them, are made at once.
    assert len(waiting) > 0.9 * len(commands) > 90
    assert "weigh" in top.format_help() and "weigh" in waiting
    asked = top.parse_args(["weigh", "3R71-XZ15", "tare", "18.6", "--by", "carl"])
    assert (asked.act, asked.by) == ("weigh", "carl")
    assert {name for name, one in commands.items() if "_later" in vars(one)} == waiting - {"weigh"}
    assert "--by KEY" in commands["weigh"].format_help()


def test_a_season_begins_in_the_folder_one_stands_in(run: Run, tmp_path: Path) -> None:
    asked = run("people")
    assert (asked.returncode, asked.stdout) == (1, "")
    assert asked.stderr.startswith("Refused (database-missing): database: There is no season in ")
    assert list(tmp_path.iterdir()) == []
    made = run("init")
    assert (made.returncode, made.stderr) == (0, "")
    assert made.stdout.splitlines()[-1] == "sqlite:///season.db is ready."
    assert {path.name for path in tmp_path.iterdir()} >= {"season.db", "season.key"}
    assert run("add-person", "tove", "Tove Märsh", "technician").returncode == 0
    told = run("people", "--json")
    assert (told.returncode, told.stderr) == (0, "")
    assert [one["name"] for one in json.loads(told.stdout)] == ["Tove Märsh"]


def test_settings_come_from_the_environment_and_the_command_line_goes_before_them(run: Run) -> None:
    here = {"TRACKER_DATABASE": "sqlite:///here.db", "TRACKER_BY": "tove"}
    assert run("init", settings=here).stdout.splitlines()[-1] == "sqlite:///here.db is ready."
    refused = run("plan", "1", settings=here)
    assert refused.returncode == 1
    assert refused.stderr.startswith("Refused (unknown-party): by: Nobody here is called 'tove'.")
    other = run("people", "--database", "sqlite:///other.db", settings=here)
    assert other.returncode == 1 and "other.db" in other.stderr


def test_a_line_that_cannot_be_read_leaves_with_2(run: Run) -> None:
    unread = run("lots", "--sideways")
    assert (unread.returncode, unread.stdout) == (2, "")
    assert "--sideways" in unread.stderr and "usage: tracker" in unread.stderr


def test_a_refusal_in_json_stands_alone_on_the_output(run: Run) -> None:
    refused = run("waiting", "--json")
    assert (refused.returncode, refused.stderr) == (1, "")
    assert json.loads(refused.stdout)["refused"]["code"] == "database-missing"


@pytest.mark.skipif(os.name != "posix", reason="bytes that are no text reach a program only there")
def test_a_name_in_bytes_that_are_no_text_is_not_understood(run: Run) -> None:
    unread = run("add-producer", os.fsdecode(b"Oda \xff"))
    assert (unread.returncode, unread.stdout) == (2, "")
    assert "bytes that are no text" in unread.stderr and "Traceback" not in unread.stderr


def test_a_terminal_without_our_letters_gets_the_answer_all_the_same(
    run: Run, season_template: Path, tmp_path: Path
) -> None:
    poor = {"PYTHONIOENCODING": "ascii"}
    shutil.copy(season_template, tmp_path / "season.db")
    done = run("add-producer", "Oda Wiese-Größ", settings=poor)
    assert (done.returncode, done.stdout) == (0, "Oda Wiese-Gr?? is a producer now.\n")
    told = run("producers", "--json", settings=poor)
    assert told.returncode == 0
    assert "Oda Wiese-Größ" in [one["name"] for one in json.loads(told.stdout)]
