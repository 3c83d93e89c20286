"""Where a season is not one, where paper cannot be written, and what is left behind then: nothing."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from labels import pdf
from tests.cli.conftest import Terminal
from tests.makers import at
from tests.result_files import NIR, row, written
from tracker.storage.engine import Database
from tracker.storage.migrations import upgrade


def refused(terminal: Terminal, *words: object, database: str) -> dict[str, Any]:
    """What a command is refused with where there is no season that could keep it."""
    answer = terminal.run(*words, "--json", database=database)
    assert (answer.code, answer.err) == (1, "")
    said = answer.json["refused"]
    assert said["field"] == "database" and said["remedy"]
    return dict(said)


@pytest.mark.parametrize("words", [("lots",), ("plan", 1, "--by", "tove"), ("add-producer", "Oda")])
def test_a_season_that_is_not_there_is_refused_and_none_is_made_by_the_way(
    terminal: Terminal, tmp_path: Path, words: tuple[object, ...]
) -> None:
    said = refused(terminal, *words, database=f"sqlite:///{tmp_path}/other.db")
    assert said["code"] == "database-missing" and "other.db" in said["message"]
    assert "`tracker init`" in said["remedy"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["season.db"]


@pytest.mark.parametrize("command", ["lots", "init"])
@pytest.mark.parametrize("address", ["season.db", "foo://x", "", "sqlite:"])
def test_what_is_no_address_is_refused_with_one_that_is(
    terminal: Terminal, command: str, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not address:
        monkeypatch.setenv("TRACKER_DATABASE", "season.db")
        answer = terminal.run(command, "--json", database="")
        assert answer.json["refused"]["code"] == "bad-setting"
        assert answer.json["refused"]["field"] == "TRACKER_DATABASE"
        return
    said = refused(terminal, command, database=address)
    assert said["code"] == "database-address" and "sqlite:///season.db" in said["remedy"]


@pytest.mark.parametrize("command", ["lots", "init"])
def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(
    terminal: Terminal, tmp_path: Path, command: str
) -> None:
    (tmp_path / "notes.txt").write_text("Bales in the east barn, counted twice.\n" * 40, encoding="utf-8")
    before = (tmp_path / "notes.txt").read_bytes()
    said = refused(terminal, command, database=f"sqlite:///{tmp_path}/notes.txt")
    assert said["code"] == "database-unreadable"
    assert said["message"].endswith("notes.txt cannot be used: file is not a database.")
    assert (tmp_path / "notes.txt").read_bytes() == before


@pytest.mark.parametrize("command", ["lots", "init"])
def test_a_folder_that_is_not_there_or_is_no_season_is_refused(
    terminal: Terminal, tmp_path: Path, command: str
) -> None:
    for place in (f"{tmp_path}/nowhere/season.db", str(tmp_path)):
        assert refused(terminal, command, database=f"sqlite:///{place}")["code"] == "database-unreadable"


def test_a_database_of_something_else_holds_no_season(terminal: Terminal, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("create table invoice (id integer)")
    other.close()
    said = refused(terminal, "lots", database=f"sqlite:///{tmp_path}/other.db")
    assert said["code"] == "database-missing"


def test_an_older_season_is_refused_until_it_is_brought_up(terminal: Terminal, tmp_path: Path) -> None:
    old = Database(f"sqlite:///{tmp_path}/old.db")
    with old.engine.execution_options(writing=True).begin() as connection:
        upgrade(connection, "0001")
    old.close()
    terminal.database = f"sqlite:///{tmp_path}/old.db"
    said = refused(terminal, "lots", database=terminal.database)
    assert said["code"] == "database-version" and "0001" in said["message"]
    assert terminal.ask("init").endswith("old.db is ready.\n")
    assert terminal.ask_json("lots") == []


@pytest.mark.parametrize("command", ["lots", "init"])
def test_a_season_of_a_newer_program_is_refused(terminal: Terminal, tmp_path: Path, command: str) -> None:
    with sqlite3.connect(tmp_path / "season.db") as season:
        season.execute("update alembic_version set version_num = '9999'")
    season.close()
    said = refused(terminal, command, database=terminal.database)
    assert said["code"] == "database-version" and "newer program" in said["remedy"]


def test_a_new_season_is_made_once_and_stays_as_it_is(terminal: Terminal) -> None:
    before = terminal.ask_json("people")
    assert before
    terminal.ask("init")
    assert terminal.ask_json("people") == before


# A file where a folder is wanted, and a folder where a file is wanted; neither can be written by anybody.
@pytest.fixture(params=["{folder}/season.db/tags.pdf", "{folder}", "", "/proc/nowhere/tags.pdf"])
def unwritable(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if "/proc" in request.param and not Path("/proc/self").exists():
        pytest.skip("this system has no folder in which nobody may write")
    return str(request.param).format(folder=tmp_path)


def test_tags_that_cannot_be_written_are_not_printed_either(
    staged: Terminal, unwritable: str, tmp_path: Path
) -> None:
    before, files = runs(staged), sorted(path.name for path in tmp_path.iterdir())
    kept = staged.refused("print-tags", "--roll", 3, "--out", unwritable)
    assert (kept["code"], kept["field"]) == ("file-not-written", "out")
    assert kept["given"]["out"] == unwritable
    assert runs(staged) == before
    assert sorted(path.name for path in tmp_path.iterdir() if not path.match("season.db-*")) == files


def runs(terminal: Terminal) -> int:
    """How many print runs the season has."""
    with sqlite3.connect(terminal.database.removeprefix("sqlite:///")) as season:
        (count,) = season.execute("select count(*) from print_run").fetchone()
    season.close()
    return int(count)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--lot", 999), "unknown-lot"),
        ((), "nothing-to-print"),
        (("--roll", -1), "nothing-to-print"),
        (("--roll", 2, "--stock", "vellum"), "stock-unknown"),
        (("--roll", 2, "--start", 9), "start-cell"),
        (("--roll", 2, "--offset-x", "1,5"), "not-a-number"),
    ],
)
def test_tags_that_are_refused_leave_no_file(
    staged: Terminal, words: tuple[object, ...], code: str, tmp_path: Path
) -> None:
    (tmp_path / "tags.pdf").write_bytes(b"yesterday's")
    before = runs(staged)
    assert staged.refused("print-tags", *words, "--out", "tags.pdf")["code"] == code
    assert runs(staged) == before
    assert (tmp_path / "tags.pdf").read_bytes() == b"yesterday's"
    assert staged.refused("print-tags", *words, "--out", "new/tags.pdf")["code"] == code
    assert list(tmp_path.rglob("*tags.pdf*")) == [tmp_path / "tags.pdf"]


def test_a_disk_that_is_full_half_way_leaves_no_run_and_no_file(
    staged: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(file: Path, *rest: Any, **more: Any) -> None:
        file.write_bytes(b"%PDF")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pdf, "tags", full)
    before = runs(staged)
    kept = staged.refused("print-tags", "--roll", 2, "--out", "tags.pdf")
    assert (kept["code"], kept["message"]) == (
        "file-not-written",
        "tags.pdf cannot be written: No space left on device.",
    )
    assert runs(staged) == before and list(tmp_path.rglob("*tags.pdf*")) == []


@pytest.mark.parametrize(
    "words",
    [
        ("coring-card", "{planned}"),
        ("oven-sheet", "of baking"),
        ("print-sacks", "{received}"),
        ("report", "{reported}"),
        ("test-page",),
    ],
)
def test_a_paper_that_only_shows_is_refused_in_words_too(
    staged: Terminal, words: tuple[str, ...], tmp_path: Path
) -> None:
    answer = staged.run(*words, "--out", f"{tmp_path}/season.db/x.pdf")
    assert (answer.code, answer.out) == (1, "")
    assert answer.err.startswith("Refused (file-not-written): out: ") and "Traceback" not in answer.err
    folder = tmp_path / "papers" / "today"
    assert staged.run(*words, "--out", folder / "x.pdf").code == 0
    assert [path.name for path in folder.iterdir()] == ["x.pdf"]


def test_a_report_is_asked_for_by_a_name_that_says_its_form(staged: Terminal, tmp_path: Path) -> None:
    answer = staged.run("report", "{reported}", "--out", "report.docx", "--json")
    assert answer.code == 1 and answer.json["refused"]["code"] == "not-a-report-file"
    assert not (tmp_path / "report.docx").exists()
    assert staged.run("report", "{reported}", "--version", 7).err.startswith("Refused (no-report): ")
    assert staged.run("report", "{scanned}").err.startswith("Refused (no-report): ")


class Screen:
    """Standard error as a terminal that somebody watches."""

    def __init__(self, watched: bool) -> None:
        self.watched, self.text = watched, ""

    def isatty(self) -> bool:
        return self.watched

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None: ...


@pytest.fixture
def watching(monkeypatch: pytest.MonkeyPatch) -> Callable[[bool], Screen]:
    def begin(watched: bool) -> Screen:
        screen = Screen(watched)
        monkeypatch.setattr(sys, "stderr", screen)
        return screen

    return begin


def test_long_work_is_counted_where_somebody_watches(
    terminal: Terminal, watching: Callable[[bool], Screen]
) -> None:
    screen = watching(True)
    answer = terminal.run("print-tags", "--roll", 45, "--out", "tags.pdf", "--by", "tove")
    assert answer.code == 0 and "Tags " not in answer.out
    assert screen.text.startswith("\rTags 20 of 45\rTags 40 of 45")
    assert screen.text.endswith("\rTags 45 of 45\n")


@pytest.mark.parametrize(("watched", "words"), [(True, ("--json",)), (False, ())])
def test_nothing_is_counted_for_a_program_that_reads_or_where_nobody_watches(
    terminal: Terminal, watching: Callable[[bool], Screen], watched: bool, words: tuple[str, ...]
) -> None:
    screen = watching(watched)
    answer = terminal.run("print-tags", "--roll", 45, "--out", "tags.pdf", "--by", "tove", *words)
    assert (answer.code, screen.text) == (0, "")


def test_rows_of_results_are_counted_too(staged: Terminal, watching: Callable[[bool], Screen]) -> None:
    Path("in.csv").write_bytes(written([row("????") for _ in range(40)]))
    screen = watching(True)
    answer = staged.run("import-analyses", NIR, "in.csv", "--by", "ana")
    assert answer.out.startswith("40 rows: 0 taken in, 40 parked.")
    assert screen.text == "\rRows 20 of 40\rRows 40 of 40\n"


def test_a_season_that_somebody_else_writes_at_is_refused_for_now(
    terminal: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = shutil.copy(tmp_path / "season.db", tmp_path / "busy.db")
    monkeypatch.setattr("tracker.storage.engine.PRAGMAS", ("foreign_keys=ON", "busy_timeout=0"))
    other = sqlite3.connect(copy, isolation_level=None)
    other.execute("begin immediate")
    terminal.database, terminal.clock = f"sqlite:///{copy}", at(10)
    answer = terminal.run("add-producer", "Emil Brook")
    other.rollback()
    other.close()
    assert answer.code == 1 and answer.err.startswith("Refused (database-busy): ")
    assert "Try again" in answer.err
    assert [one["name"] for one in terminal.ask_json("producers")] == ["Oda Meadow"]
