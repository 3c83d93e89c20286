"""The operator's terminal: commands run in process on a season of the test's own, at a clock the test sets."""

from __future__ import annotations

import functools
import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.cli.stages import Stages, build
from tests.makers import at
from tests.phones import LOT, Phone
from tests.result_files import NIR_MAP, row, written
from tracker import cli
from tracker.cli import main
from tracker.settings import VARIABLES
from tracker.storage import engine

PARSER = functools.cache(cli.parser)


@dataclass(frozen=True)
class Answer:
    """What a command left behind on the terminal."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@dataclass
class Terminal:
    """`tracker` as typed by somebody. clock: the office's; names: what stands for {a stage} in what is typed."""

    capsys: pytest.CaptureFixture[str]
    database: str
    clock: datetime = field(default_factory=lambda: at(0))
    names: dict[str, str] = field(default_factory=dict)

    def run(self, *words: object, database: str | None = None) -> Answer:
        """Run it on the season, whatever comes of it. A command line that cannot be read gives 2."""
        self.capsys.readouterr()
        typed = [str(word).format_map(self.names) if self.names else str(word) for word in words]
        try:
            code = main([*typed, "--database", self.database if database is None else database])
        except SystemExit as left:
            code = int(left.code or 0)
        told = self.capsys.readouterr()
        return Answer(code, told.out, told.err)

    def act(self, who: str, minutes: float, *words: object) -> str:
        """An act that is expected to be done, in that person's name at that minute; what was said of it."""
        self.clock = at(minutes)
        answer = self.run(*words, "--by", who, "--at", at(minutes).isoformat())
        assert answer.code == 0, answer.err + answer.out
        assert answer.err == ""
        return answer.out

    def ask(self, *words: object) -> str:
        """A question's answer in words."""
        answer = self.run(*words)
        assert (answer.code, answer.err) == (0, "")
        return answer.out

    def ask_json(self, *words: object) -> Any:
        """A question's answer as values."""
        return json.loads(self.ask(*words, "--json"))

    def kept(self) -> dict[str, Any]:
        """The newest refusal that is kept."""
        return dict(self.ask_json("refusals", "--last", 1)[0])

    def refusals(self) -> int:
        return len(self.ask_json("refusals", "--last", 1000))

    def refused(self, *words: object, by: str = "tove") -> dict[str, Any]:
        """What an act was refused with; it says so in words, leaves with 1, and the refusal is kept."""
        before = self.refusals()
        answer = self.run(words[0], "--by", by, *words[1:])
        assert (answer.code, answer.out) == (1, "")
        assert self.refusals() == before + 1
        kept = self.kept()
        assert answer.err.startswith(f"Refused ({kept['code']}): ")
        assert kept["message"] in answer.err and kept["remedy"] and kept["remedy"] in answer.err
        assert kept["by"] == by and kept["act"] == words[0]
        named = [f"{kept['field']}: "] if kept["field"] else ["line ", "header "]
        assert any(words in answer.err for words in named), "it names neither a field nor a line"
        return kept


@pytest.fixture(autouse=True)
def surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing of whoever runs the tests: no settings, and an empty folder to stand in."""
    for variable in VARIABLES.values():
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.chdir(tmp_path)
    # Sixty commands with their help take longer to set up than most of them take to run.
    monkeypatch.setattr(cli, "parser", PARSER)
    # Nobody pulls the plug on a test; the engine's own tests hold it to writing through.
    monkeypatch.setattr(engine, "PRAGMAS", (*engine.PRAGMAS, "synchronous=OFF"))


@pytest.fixture
def at_season(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    """A terminal at the season of a path, with a clock the test may set."""
    real = engine.Database

    def sit_down(path: Path) -> Terminal:
        made = Terminal(capsys, f"sqlite:///{path}")
        monkeypatch.setattr(engine, "Database", lambda url: real(url, clock=lambda: made.clock))
        return made

    return sit_down


@pytest.fixture
def terminal(at_season: Any, season_template: Path, tmp_path: Path) -> Iterator[Terminal]:
    """At a season with its people and nothing else."""
    return at_season(Path(shutil.copy(season_template, tmp_path / "season.db")))


@pytest.fixture(scope="session")
def stages(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Stages:
    return build(season_template, tmp_path_factory.mktemp("stages") / "season.db")


@pytest.fixture
def staged(at_season: Any, stages: Stages, tmp_path: Path) -> Terminal:
    terminal: Terminal = at_season(Path(shutil.copy(stages.path, tmp_path / "season.db")))
    terminal.clock, terminal.names = at(2000), stages.names
    (tmp_path / "lots.csv").write_text(
        "producer,field,cutting,forage,harvested,bale_shape,bale_count,bale_mass_lb\n"
        "Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40,900\n",
        encoding="utf-8",
    )
    (tmp_path / "producers.csv").write_text("name,place\nNils Vane,Lower Mill\n", encoding="utf-8")
    corners = [[-96.1, 39.1], [-96.096, 39.1], [-96.096, 39.103], [-96.1, 39.1]]
    hill = {
        "type": "Feature",
        "properties": {"producer": "Oda Meadow", "field": "Hill"},
        "geometry": {"type": "Polygon", "coordinates": [corners]},
    }
    (tmp_path / "fields.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [hill]}), encoding="utf-8"
    )
    (tmp_path / "feeds.csv").write_text(
        "key,name,kind,dm,cp,tdn,fat,sulfur,degradable,most_bw,source,year\n"
        "pea-screenings,pea screenings,by-product,90,20,78,2.0,0.20,70,0.5,the mill's analysis,2026\n",
        encoding="utf-8",
    )
    (tmp_path / "map.json").write_text(json.dumps(NIR_MAP), encoding="utf-8")
    phone = Phone()
    unsent = phone.body(1990, phone.entry("register lot", 1980, {**LOT, "field": "Moor"}))
    (tmp_path / "unsent.json").write_text(json.dumps(unsent), encoding="utf-8")
    shutil.copy(stages.path.with_suffix(".key"), tmp_path / "season.key")
    for kind in ("pdf", "zip"):
        shutil.copy(stages.path.with_suffix(f".{kind}"), tmp_path / f"issued.{kind}")
    (tmp_path / "run.csv").write_bytes(written([row(stages.names["ground"])]))
    return terminal
