"""The invented season's database, its clock, and its fixtures."""

from __future__ import annotations

import csv
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.errors import NotFound, Refused, TrackerError
from tracker.files.key_file import KeyFile
from tracker.settings import Settings
from tracker.storage.coring import Sample, sample_with_lot, samples_of
from tracker.storage.engine import Database
from tracker.storage.people import party

Progress = Callable[[str, int, int], None]
Do = Callable[[Session, Act], Any]

SETTINGS = Settings(
    programme="Larkmoor Hay Testing Programme",
    phone="555-0100",
    address="1 Moor Lane, Larkmoor",
    base_url="https://hay.example",
)
MARK = ".invented-season"
START = "2026-06-01T08:00:00-05:00"


@dataclass(frozen=True)
class Moment:
    """Something that somebody does at a time of the season; name as the log of refusals would have it."""

    at: datetime
    by: str
    name: str
    do: Do


class Clock:
    """The office's clock of the season: it stands at the act that is being recorded."""

    def __init__(self) -> None:
        self.now = moment(START)

    def __call__(self) -> datetime:
        return self.now


class Season:
    """The fixtures, and the database they are played into. lots: their keys in the fixtures -> their numbers.

    printed: code and token of each tag, known only while the paper is made; refused: what the season refused.
    """

    def __init__(self, folder: Path, fixtures: Path) -> None:
        self.folder = folder
        self.fixtures = fixtures
        self.clock = Clock()
        key_file = KeyFile(folder / "season.key")
        key_file.make("hay.example")
        self.database = Database(f"sqlite:///{folder / 'season.db'}", self.clock, key_file)
        self.lots: dict[str, int] = {}
        self.printed: list[tuple[str, str]] = []
        self.run = 0
        self.refused: list[TrackerError] = []

    def rows(self, name: str) -> list[dict[str, str]]:
        """A fixture's rows by their headings."""
        with (self.fixtures / name).open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    def sample(self, session: Session, key: str) -> Sample:
        """The sample of a lot of the season."""
        return sample_with_lot(session, samples_of(session, self.lots[key])[-1].id)

    def act(self, one: Moment) -> None:
        """Do it at its time. What is refused is kept like any refusal, and the season goes on."""
        self.clock.now = one.at + timedelta(seconds=20)
        try:
            with self.database.act(one.name, one.by, {"at": one.at.isoformat()}) as session:
                one.do(session, Act(party(session, one.by), one.at, self.clock.now))
        except TrackerError as refused:
            self.refused.append(refused)


def fixtures_folder() -> Path:
    """Where the fixtures are: beside the sources, or where an installation put them. Raises NotFound."""
    places = (
        Path(__file__).parents[2] / "fixtures" / "season",
        Path(sys.prefix) / "share" / "hay-sample-tracking" / "fixtures" / "season",
    )
    for place in places:
        if (place / "lots.csv").exists():
            return place
    raise NotFound(
        "fixtures-missing",
        f"The invented season is not in {places[0]}.",
        field="fixtures",
        remedy="Install the program from its sources again.",
    )


def prepared(out: Path) -> Path:
    """An empty folder; one that an earlier demonstration made is made anew. Raises Refused `folder-not-empty`."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        if not (out / MARK).exists():
            raise Refused(
                "folder-not-empty",
                f"There is something else in {out}.",
                field="out",
                remedy="Name another folder with --out.",
            )
        shutil.rmtree(out)
    out.mkdir(parents=True, exist_ok=True)
    (out / MARK).write_text("made by `tracker demo`\n", encoding="utf-8")
    return out
