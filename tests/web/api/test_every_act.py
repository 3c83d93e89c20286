"""Whatever people do at a page or by a command, a program can do, or it is said here why not."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import tracker

HOUSE = Path(tracker.__file__).parent
# Steps that a page or a command takes and no entry of the API does, each with the reason.
NOT_FOR_PROGRAMS = {
    # The way in is for people; a program has its token, and a program that let others in would widen its own rights.
    "sign_in.*": "people sign in with a password; a program sends its token",
    "second_factor.*": "a second factor is in a person's hand",
    "note_access.*": "who came in is noted by the doors themselves",
    "make_client.*": "a program that lets programs in could give itself any right",
    "note_opening.note_opening": "noted by the producer's pages themselves",
    "share_results.share_by_stub": "the stub is the producer's key, and his page asks for it",
    "share_results.take_back_by_stub": "the stub is the producer's key, and his page asks for it",
    # The field's phones talk in a form of their own, with their own keys for doing once.
    "take_entries.*": "what a phone's outbox sends; a program does the acts themselves",
    # A page has to show what it was given before it takes it; a program sends the file twice.
    "keep_upload.*": "keeps a file between two pages; a program sends it again",
    "record_results.recording": "record_results a row at a time, for a page that shows how far it is",
    "keep_photo.keep_photo": "a page's form holds the photo; a program adds it to the entry, by add_photo",
    # At the machine that holds the season, by whoever runs it.
    "sign_log.catch_up": "mends the log of a season from an older program, by `tracker init`",
    "sign_log.is_due": "tells the hourly program whether there is something to sign",
    "change_log_key.change_log_key": "the log's key lies beside the season, and so must whoever changes it",
    "count_again.count_again": "changes nothing that anybody recorded, and is for whoever keeps the season",
    "dispose_data.dispose_data": "what is taken away for ever is taken away by a person at the keyboard",
    "erase_person.*": "what is taken away for ever is taken away by a person at the keyboard",
    "make_message.*": "sends the messages that are due, by the hour and not on request",
    "stub_access.pause_stub": "change_stub by another name",
    "stub_access.resume_stub": "change_stub by another name",
    "stub_access.revoke_stub": "change_stub by another name",
}
# What is imported beside the steps and does nothing by itself.
_WORDS = ("answers_in", "attempts_as", "event_kind", "kept_upload")


def steps_in(folder: Path) -> Iterator[tuple[str, str]]:
    """Each step that a file of this folder imports, as `file.step`, and the file that does."""
    for path in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tracker.steps."):
                for name in node.names:
                    # Words, numbers and shapes are no acts.
                    if name.name[0].islower() and name.name not in _WORDS:
                        yield (
                            f"{node.module.rsplit('.', 1)[1]}.{name.name}",
                            path.relative_to(HOUSE).as_posix(),
                        )


def doors() -> dict[str, dict[str, str]]:
    """Each step, and where the command, the page and the entry for programs are that take it."""
    found: dict[str, dict[str, str]] = {}
    for path in sorted((HOUSE / "web").iterdir()):
        if path.is_dir():
            for step, where in steps_in(path):
                found.setdefault(step, {})["program" if path.name == "api" else "page"] = where
    for step, where in steps_in(HOUSE / "cli"):
        found.setdefault(step, {})["command"] = where
    return found


DOORS = {step: where for step, where in doors().items() if set(where) & {"page", "command"}}


def excused(step: str) -> str | None:
    return next((one for one in (step, f"{step.split('.')[0]}.*") if one in NOT_FOR_PROGRAMS), None)


@pytest.mark.parametrize("step", DOORS)
def test_what_people_do_a_program_can_do_or_it_is_said_why_not(step: str) -> None:
    where = DOORS[step]
    if "program" in where:
        # Of a file that is excused as a whole some may be for programs all the same.
        assert step not in NOT_FOR_PROGRAMS, f"{step} is excused, and {where['program']} takes it"
    else:
        assert excused(step), f"{step}, of {where}, has no entry for programs"


def test_no_excuse_is_kept_that_excuses_nothing() -> None:
    used = {excused(step) for step, where in DOORS.items() if "program" not in where}
    assert used == set(NOT_FOR_PROGRAMS)


def test_the_table_knows_a_step_of_each_kind_of_door() -> None:
    """The reading itself works: one step that all three doors take, by the files that it is known to be in."""
    assert DOORS["close_load.close_load"]["program"] == "web/api/bench.py"
    assert DOORS["grind.grind"] == {
        "command": "cli/bench.py",
        "page": "web/lab/mill.py",
        "program": "web/api/bench.py",
    }
