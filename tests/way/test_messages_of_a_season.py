"""Who is written to over a season: those who asked, once when ready, once when refused, and never a result."""

from __future__ import annotations

import re
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from tests import makers
from tests.makers import act, at, done, made
from tests.result_files import NIR, NIR_MAP, SETTINGS, add_map, row, written
from tests.web.conftest import made_app
from tracker import cli
from tracker.lookups.lot_report import report_body
from tracker.lookups.messages import MOST_ATTEMPTS, gets_messages, messages
from tracker.settings import VARIABLES
from tracker.steps.add_people import add_producer
from tracker.steps.append_event import standing_of
from tracker.steps.choose_messages import want_messages
from tracker.steps.end_sample import lose
from tracker.steps.record_results import record_results
from tracker.steps.release_results import release_results
from tracker.storage import engine
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.messages import Message
from tracker.storage.people import Producer

# What a message must never hold: a result's name or number, or a verdict.
RESULTS = re.compile(r"\b(protein|TDN|NDF|ADF|nitrate|enough|add|lb)\b|\d\s*%", re.IGNORECASE)


class Office:
    """An office that sends its messages into a folder, at an hour the test sets."""

    def __init__(self, season: Database, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.season, self.folder = season, folder
        for variable in VARIABLES.values():
            monkeypatch.delenv(variable, raising=False)
        monkeypatch.setenv(VARIABLES["mail_folder"], str(folder))
        monkeypatch.setenv(VARIABLES["base_url"], "https://hay.example")
        monkeypatch.setenv(VARIABLES["phone"], "555-0142")
        real = engine.Database
        monkeypatch.setattr(engine, "Database", lambda url: real(url, clock=lambda: season.clock()))
        self.seen: set[Path] = set()

    def send(self, minutes: float) -> tuple[int, list[EmailMessage]]:
        """Run the command at that minute; what it left with, and the new messages."""
        self.season.clock = lambda: at(minutes)
        code = cli.main(["send-messages", "--database", self.season.url])
        files = set(self.folder.glob("*.eml")) if self.folder.exists() else set()
        new = sorted(files - self.seen)
        self.seen = files
        return code, [message_from_bytes(path.read_bytes(), policy=default) for path in new]


@pytest.fixture
def office(season: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    return Office(season, tmp_path / "outbox", monkeypatch)


def ask(season: Database, producer: str, address: str, minute: float = 100) -> int:
    def step(session: Any) -> int:
        number = session.scalars(select(Producer.id).where(Producer.name == producer)).one()
        want_messages(session, number, act(session, "carl", minute), address=address, how="signed form")
        return int(number)

    found: int = done(season, step)
    return found


def report(season: Database, sample: Sample, minute: float, reason: str = "") -> None:
    def step(session: Any) -> None:
        body = report_body(session, sample_with_lot(session, sample.id), SETTINGS)
        release_results(session, sample, body, act(session, "lena", minute), reason=reason)

    done(season, step)


def scanned(season: Database, *samples: Sample, minute: float = 1400) -> None:
    def step(session: Any) -> None:
        codes = [standing_of(session, sample).code or "" for sample in samples]
        record_results(session, NIR, f"{minute}.csv", written(map(row, codes)), act(session, "ana", minute))

    done(season, step)


def said(message: EmailMessage) -> str:
    return str(message["Subject"]) + "\n" + str(message.get_content())


def test_a_season_of_messages(season: Database, office: Office) -> None:
    done(season, lambda s: add_producer(s, name="Ada Finch", email="ada@example.org", now=at(0)))
    ready = made(season, makers.make_ground, load="B-1", field="Ready field")
    silent = made(season, makers.make_ground, load="B-2", field="Silent field", producer="Ada Finch")
    lost = made(season, makers.make_bag, field="Lost field")
    under_way = made(season, makers.make_received, field="Slow field")
    number = ask(season, "Oda Meadow", "oda@example.org")
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    assert office.send(1300) == (0, []), "nothing is said of each step"
    scanned(season, ready, silent)
    assert office.send(1450) == (0, [])

    for sample in (ready, silent):
        report(season, sample, 1500)
    code, (first,) = office.send(1510)
    assert code == 0 and first["To"] == "oda@example.org"
    assert first["Subject"] == "Your hay test is ready" and "Ready field, cutting 2" in said(first)
    assert not RESULTS.search(said(first))
    assert office.send(1520) == (0, []), "one when ready, and no second"

    done(season, lambda s: lose(s, lost, act(s, "carl", 1530), circumstances="fell off the van"))
    _, (second,) = office.send(1540)
    assert second["Subject"] == "Your hay sample cannot be tested"
    assert "The hay must be cored again. Call us" in said(second) and "fell off" not in said(second)
    assert office.send(1550) == (0, [])

    report(season, ready, 1600, reason="the dry weight was read wrong")
    _, (third,) = office.send(1610)
    assert third["Subject"] == "Your hay test has a new report" and not RESULTS.search(said(third))

    with season.read() as session:
        log = messages(session)
        assert {one.producer for one in log} == {"Oda Meadow"}
        assert sorted((one.kind, one.fate) for one in log) == [
            ("ready", "sent"),
            ("refused", "sent"),
            ("replaced", "sent"),
        ]
        assert session.scalars(select(Message.sample_id).where(Message.sample_id == under_way.id)).all() == []
    assert number


def test_the_link_opens_the_hay_and_the_page_it_names_stops_the_messages(
    season: Database, office: Office
) -> None:
    sample = made(season, makers.make_ground, load="B-1", field="Ready field")
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    number = ask(season, "Oda Meadow", "oda@example.org")
    scanned(season, sample)
    report(season, sample, 1500)
    _, (mail,) = office.send(1510)
    link, stop = re.findall(r"https://hay\.example(/T/\S+)", said(mail))
    assert stop == f"{link}/messages" and mail["List-Unsubscribe"] == f"<https://hay.example{stop}>"
    client = made_app(season).test_client()
    assert "Ready field" in client.get(link, buffered=True).text
    # A mail program that looks ahead at every link stops nothing.
    assert "oda@example.org" in client.get(stop, buffered=True).text
    assert client.post(stop, buffered=True).status_code == 303
    assert "You get no messages from us." in client.get(stop, buffered=True).text
    report(season, sample, 1600, reason="corrected")
    assert office.send(1610) == (0, [])
    with season.read() as session:
        assert gets_messages(session, number) is None
    # The link ends by itself after 90 days.
    season.clock = lambda: at(1510 + 89 * 1440)
    assert client.get(link, buffered=True).status_code == 200
    season.clock = lambda: at(1510 + 91 * 1440)
    assert client.get(link, buffered=True).status_code == 404


def test_whoever_asks_late_is_not_written_to_about_the_past(season: Database, office: Office) -> None:
    sample = made(season, makers.make_ground, load="B-1", field="Old field")
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    scanned(season, sample)
    report(season, sample, 1500)
    ask(season, "Oda Meadow", "oda@example.org", minute=1550)
    assert office.send(1560) == (0, [])


def test_a_message_that_could_not_be_sent_is_tried_again_and_its_link_is_dead(
    season: Database, office: Office, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sample = made(season, makers.make_ground, load="B-1", field="Ready field")
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    ask(season, "Oda Meadow", "oda@example.org")
    scanned(season, sample)
    report(season, sample, 1500)
    monkeypatch.setenv(VARIABLES["mail_server"], "smtp://127.0.0.1:1")
    monkeypatch.setenv(VARIABLES["mail_from"], "hay@example.org")
    for attempt in range(1, MOST_ATTEMPTS):
        assert office.send(1510 + attempt)[0] == 1
        assert "ConnectionRefusedError" in capsys.readouterr().out
    monkeypatch.delenv(VARIABLES["mail_server"])
    code, (mail,) = office.send(1520)
    assert code == 0 and mail["Subject"] == "Your hay test is ready"
    with season.read() as session:
        log = messages(session)
    assert [(one.attempt, one.fate) for one in reversed(log)] == [(1, "failed"), (2, "failed"), (3, "sent")]
    assert office.send(1530) == (0, [])


def test_a_message_whose_fate_nobody_knows_is_not_sent_twice(
    season: Database, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample = made(season, makers.make_ground, load="B-1", field="Ready field")
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    ask(season, "Oda Meadow", "oda@example.org")
    scanned(season, sample)
    report(season, sample, 1500)

    def stopped(*_: Any) -> Any:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("tracker.files.mail.into_folder", lambda folder: stopped)
        with pytest.raises(KeyboardInterrupt):
            office.send(1510)
    assert office.send(1520) == (0, [])
    with season.read() as session:
        assert [one.fate for one in messages(session)] == ["not known"]
