"""What the doctor looks at: each line OK, to be looked at or bad, with what to do about it."""

from __future__ import annotations

import os
import shutil
import threading
from collections import namedtuple
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Terminal
from tests.makers import at
from tracker.cli.doctor import (
    Asked,
    address_line,
    ask,
    backup_line,
    certificate_line,
    clock_line,
    disk_line,
    secure_line,
)

NOW = datetime(2026, 6, 20, 14, 0, tzinfo=UTC)


def lines(terminal: Terminal, *words: str) -> dict[str, dict[str, Any]]:
    answer = terminal.run("doctor", *words, "--json")
    return {line["what"]: line for line in answer.json}


@pytest.fixture
def office() -> Iterator[tuple[str, dict[str, datetime]]]:
    """An address on this computer that answers with a clock of its own."""
    clock = {"says": NOW}

    class Answer(BaseHTTPRequestHandler):
        def do_HEAD(self) -> None:
            self.send_response_only(200)
            self.send_header("Date", format_datetime(clock["says"], usegmt=True))
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            return

    server = HTTPServer(("127.0.0.1", 0), Answer)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", clock
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_season_nobody_has_set_up_is_looked_at_and_not_bad(terminal: Terminal) -> None:
    answer = terminal.run("doctor", "--offline")
    assert answer.code == 0, answer.out
    found = lines(terminal, "--offline")
    assert {what: line["verdict"] for what, line in found.items()} == {
        "database": "OK",
        "address": "look",
        "secure": "look",
        "certificate": "look",
        "clock": "OK",
        "disk": found["disk"]["verdict"],
        "backup": "look",
        "log key": "look",
        "log head": "OK",
        "lead": "look",
    }
    assert all(line["remedy"] for line in found.values() if line["verdict"] != "OK")


def test_each_line_begins_with_its_verdict(terminal: Terminal) -> None:
    told = terminal.ask("doctor", "--offline").splitlines()
    assert told and all(line.split()[0] in ("OK", "look", "bad") for line in told)


def test_a_missing_season_is_bad_and_the_rest_is_looked_at_still(terminal: Terminal, tmp_path: Path) -> None:
    answer = terminal.run("doctor", "--offline", "--json", database=f"sqlite:///{tmp_path / 'empty.db'}")
    found = {line["what"]: line for line in answer.json}
    assert answer.code == 1
    assert found["database"]["verdict"] == "bad" and "tracker init" in found["database"]["remedy"]
    assert {"disk", "clock", "backup"} <= set(found)


def test_a_clock_behind_the_last_entry_is_bad(staged: Terminal) -> None:
    staged.clock = at(-6000)
    answer = staged.run("doctor", "--offline")
    assert answer.code == 1
    (line,) = (line for line in answer.out.splitlines() if " clock " in line)
    assert line.startswith("bad") and "The last entry was recorded at 2026-06-2" in line


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(0, "OK"), (2, "OK"), (3, "look"), (-3, "look"), (6, "bad"), (-600, "bad")]
)
def test_the_clock_against_the_date_that_the_address_answers(
    office: tuple[str, dict[str, datetime]], minutes: int, verdict: str
) -> None:
    address, clock = office
    clock["says"] = NOW + timedelta(minutes=minutes)
    asked = ask(address, NOW)
    assert asked.fault == "" and asked.date == clock["says"]
    assert clock_line(NOW, None, asked.date).verdict == verdict


def test_the_command_asks_the_address_it_is_told(
    terminal: Terminal, office: tuple[str, dict[str, datetime]], monkeypatch: pytest.MonkeyPatch
) -> None:
    address, clock = office
    monkeypatch.setenv("TRACKER_BASE_URL", address)
    clock["says"] = at(0).astimezone(UTC) + timedelta(minutes=30)
    assert lines(terminal)["clock"]["verdict"] == "bad"
    assert lines(terminal, "--offline")["clock"]["verdict"] == "OK"


def test_an_address_that_does_not_answer_is_said_and_no_fault_of_the_clock() -> None:
    asked = ask("http://127.0.0.1:9", NOW)
    assert asked.fault and asked.date is None
    assert certificate_line(asked).verdict == "look" and asked.fault in certificate_line(asked).words


@pytest.mark.parametrize(
    ("asked", "verdict"),
    [
        (Asked(days=60), "OK"),
        (Asked(days=21), "OK"),
        (Asked(days=20), "look"),
        (Asked(days=4), "bad"),
        (Asked(fault="certificate has expired", untrusted=True), "bad"),
        (Asked(fault="refused"), "look"),
    ],
)
def test_the_days_left_of_a_certificate(asked: Asked, verdict: str) -> None:
    line = certificate_line(asked)
    assert line.verdict == verdict
    assert (str(asked.days) if asked.days is not None else asked.fault) in line.words
    assert bool(line.remedy) == (verdict != "OK")


@pytest.mark.parametrize(
    ("base", "address", "secure"),
    [
        ("https://hay.example", "OK", "OK"),
        ("http://192.0.2.7:8000", "OK", "look"),
        ("http://localhost:8000", "look", "look"),
        ("https://localhost", "look", "look"),
    ],
)
def test_where_tags_lead_and_whether_phones_take_it_for_secure(base: str, address: str, secure: str) -> None:
    assert (address_line(base).verdict, secure_line(base).verdict) == (address, secure)


@pytest.mark.parametrize(
    ("hours", "verdict"), [(1, "OK"), (26, "OK"), (27, "look"), (24 * 7, "look"), (24 * 9, "bad")]
)
def test_the_age_of_the_newest_backup(tmp_path: Path, hours: float, verdict: str) -> None:
    for name, age in (("old.db", 9999), ("new.db", hours)):
        path = tmp_path / name
        path.write_bytes(b"x")
        then = (NOW - timedelta(hours=age)).timestamp()
        os.utime(path, (then, then))
    line = backup_line(str(tmp_path), NOW)
    assert line.verdict == verdict
    assert bool(line.remedy) == (verdict != "OK")


def test_an_empty_file_is_no_backup(tmp_path: Path) -> None:
    (tmp_path / "season.db").touch()
    assert backup_line(str(tmp_path), NOW).verdict == "bad"
    assert backup_line(str(tmp_path / "nowhere"), NOW).verdict == "bad"
    assert "TRACKER_BACKUP_FOLDER" in backup_line("", NOW).remedy


@pytest.mark.parametrize(("free", "verdict"), [(10**8, "bad"), (10**9, "look"), (10**10, "OK")])
def test_room_on_the_disk(tmp_path: Path, free: int, verdict: str, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**11, 0, free))
    assert disk_line(tmp_path).verdict == verdict


@pytest.mark.skipif(os.name != "posix", reason="rights on files are others there")
def test_a_key_that_others_can_read_is_bad(terminal: Terminal, tmp_path: Path) -> None:
    key = tmp_path / "secret.key"
    key.write_text("x" * 43)
    key.chmod(0o644)
    found = lines(terminal, "--offline")["key"]
    assert found["verdict"] == "bad" and found["remedy"] == f"chmod 600 {key}"
    key.chmod(0o600)
    assert lines(terminal, "--offline")["key"]["verdict"] == "OK"


def test_the_first_lead_is_asked_for(terminal: Terminal) -> None:
    assert "add-lead" in lines(terminal, "--offline")["lead"]["remedy"]
    terminal.ask("add-lead", "lena", "Lena Roy")
    assert lines(terminal, "--offline")["lead"]["remedy"] == "tracker reset-link lena"


def test_a_log_whose_key_is_there_and_whose_entries_are_signed_is_well(staged: Terminal) -> None:
    staged.ask("custody", "head")
    found = lines(staged, "--offline")
    assert found["log key"]["verdict"] == found["log head"]["verdict"] == "OK"


def test_entries_that_wait_long_for_a_signature_are_said(staged: Terminal) -> None:
    staged.ask("custody", "head")
    signed = staged.clock
    staged.act("lena", 2010, "register-lot", "Oda Meadow", "Last field", "1", *LOT)
    staged.clock = signed + timedelta(hours=1)
    assert lines(staged, "--offline")["log head"]["verdict"] == "OK"
    staged.clock = signed + timedelta(hours=3)
    late = lines(staged, "--offline")["log head"]
    assert late["verdict"] == "look" and late["words"].startswith("1 of ")
    staged.clock = signed + timedelta(days=3)
    assert lines(staged, "--offline")["log head"]["verdict"] == "bad"


LOT = (
    "--forage",
    "alfalfa",
    "--harvested",
    "2026-06-01",
    "--shape",
    "round",
    "--bales",
    "40",
    "--bale-lb",
    "900",
)


@pytest.mark.skipif(os.name != "posix", reason="rights on files are others there")
def test_a_log_key_that_others_can_read_is_bad(staged: Terminal, tmp_path: Path) -> None:
    (tmp_path / "season.key").chmod(0o644)
    found = lines(staged, "--offline")["log key"]
    assert found["verdict"] == "bad" and found["remedy"].startswith("chmod 600 ")


def test_a_log_key_that_is_damaged_is_bad(staged: Terminal, tmp_path: Path) -> None:
    (tmp_path / "season.key").write_text("not a key")
    assert lines(staged, "--offline")["log key"]["verdict"] == "bad"
