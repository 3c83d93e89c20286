"""A bench with ground samples from several lots, and the files that come back for them."""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from labels.payload import make_code
from tests.databases import Databases
from tests.makers import act, at, done, make_ground
from tracker.lookups.kept_refusals import Parked, parked_rows
from tracker.lookups.lot_report import report_body
from tracker.settings import Settings
from tracker.steps.add_source import add_source_map
from tracker.steps.append_event import standing_of
from tracker.steps.record_results import Progress, Taken, record_results
from tracker.steps.release_results import release_results
from tracker.storage.analysis import analyses_of
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.results import ReportVersion

SETTINGS = Settings(programme="Larkmoor Hay Testing Programme", address="1 Mill Lane", phone="555-0142")
NIR, WET = "bench NIR", "outside laboratory"
LOTS = ("Long field", "Hill", "Bottom", "Brook")

HEADER = ("Sample", "Scanned", "DM %", "CP % DM", "ADF % DM", "NDF % DM", "GH")
WET_HEADER = ("Sample", "DM %", "CP g/kg as received", "NDF % as received", "NO3-N mg/kg as received")
# What alfalfa hay can well be; nothing is to be remarked on it.
CELLS = {
    "Scanned": "2026-06-21 06:30:00",
    "DM %": "93.0",
    "CP % DM": "18.6",
    "ADF % DM": "31.0",
    "NDF % DM": "40.0",
    "GH": "1.2",
}
# By hand, with the portion's own DM of 90.0 %: CP 18.0 / 0.900 = 20.0, NDF 36.0 / 0.900 = 40.0 % of dry matter,
# nitrate nitrogen 450 / 0.900 = 500 mg/kg.
WET_CELLS = {
    "DM %": "90.0",
    "CP g/kg as received": "180",
    "NDF % as received": "36.0",
    "NO3-N mg/kg as received": "450",
}


def column(header: str, constituent: str, unit: str = "%", basis: str = "dry matter", **more: str) -> Any:
    return {"header": header, "constituent": constituent, "unit": unit, "basis": basis, **more}


NIR_MAP: dict[str, Any] = {
    "sample": "Sample",
    "scanned_at": "Scanned",
    "instrument": "NIR 1",
    "time_zone_offset": "-05:00",
    "columns": [
        column("DM %", "DM", basis="as analysed", method="NIR", calibration="hay 2026-1"),
        *(
            column(f"{code} % DM", code, method="NIR", calibration="hay 2026-1")
            for code in ("CP", "ADF", "NDF")
        ),
        column("GH", "GH", "1", method="NIR", calibration="hay 2026-1"),
    ],
}
WET_MAP: dict[str, Any] = {
    "sample": "Sample",
    "columns": [
        column("DM %", "DM", basis="as received", method="wet chemistry"),
        column("CP g/kg as received", "CP", "g/kg", "as received", method="wet chemistry"),
        column("NDF % as received", "NDF", "%", "as received", method="wet chemistry"),
        column("NO3-N mg/kg as received", "NO3-N", "mg/kg", "as received", method="wet chemistry"),
    ],
}


@dataclass(frozen=True)
class Bench:
    """A season in which these samples are ground and wait for the scan; codes in the same order."""

    season: Database
    samples: tuple[Sample, ...]
    codes: tuple[str, ...]

    @property
    def path(self) -> str:
        return str(self.season.engine.url.database)


def build_bench(address: str) -> None:
    """Four ground samples and two sources in the people's season."""
    database = Database(address, clock=lambda: at(0))
    with database.act("make", "tove", {}) as session:
        for number, field in enumerate(LOTS):
            make_ground(session, load=f"B-{number}", field=field)
        add_map(session, NIR, NIR_MAP)
        add_map(session, WET, WET_MAP, kind="laboratory")
    database.close()


@pytest.fixture(scope="session")
def bench_template(databases: Databases, season_begun: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of such a season, never opened by a test."""
    address = databases.copy(season_begun, tmp_path_factory.mktemp("bench"))
    build_bench(address)
    return address


@pytest.fixture
def bench(databases: Databases, bench_template: str, tmp_path: Path) -> Iterator[Bench]:
    """The test's own copy of that season."""
    with bench_copied(databases, bench_template, tmp_path) as found:
        yield found


@contextmanager
def bench_copied(databases: Databases, template: str, folder: Path) -> Iterator[Bench]:
    """A copy of a season that began as a bench does, for one test."""
    address = databases.copy(template, folder)
    made = bench_on(address)
    yield made
    made.season.close()
    databases.drop(address)


def bench_on(address: str) -> Bench:
    """The season at that address, open."""
    database = Database(address, clock=lambda: at(0))
    with database.read() as session:
        samples = tuple(session.scalars(select(Sample).order_by(Sample.id)))
        codes = tuple(standing_of(session, sample).code or "" for sample in samples)
    return Bench(database, samples, codes)


def add_map(session: Session, name: str, written: Mapping[str, Any], kind: str = "instrument") -> None:
    add_source_map(session, name, json.dumps(written), act(session, "ana", 0), kind=kind, reason="begin")


def changed_map(written: Mapping[str, Any], header: str, **changes: str) -> dict[str, Any]:
    """The map with one column meaning something else."""
    columns = [{**one, **changes} if one["header"] == header else one for one in written["columns"]]
    return {**written, "columns": columns}


def row(code: str, **changes: str) -> dict[str, str]:
    """A line of the instrument; changes by header, with _ for blanks and `pc` for %."""
    named = {name.replace("_pc", " %").replace("_", " "): value for name, value in changes.items()}
    assert set(named) <= set(HEADER), named
    return {"Sample": code, **CELLS, **named}


def wet_row(code: str, **changes: str) -> dict[str, str]:
    """A line of the laboratory; changes by constituent."""
    headers = {
        "DM": WET_HEADER[1],
        "CP": WET_HEADER[2],
        "NDF": WET_HEADER[3],
        "NO3": WET_HEADER[4],
    }
    return {"Sample": code, **WET_CELLS, **{headers[name]: value for name, value in changes.items()}}


def written(rows: Iterable[Mapping[str, str]], header: tuple[str, ...] = HEADER) -> bytes:
    """The file as it comes: CSV with the header in line 1."""
    lines = [",".join(header), *(",".join(one[name] for name in header) for one in rows)]
    return ("\n".join(lines) + "\n").encode()


def wet_written(rows: Iterable[Mapping[str, str]]) -> bytes:
    return written(rows, WET_HEADER)


def taken_in(
    bench: Bench,
    content: bytes,
    *,
    source: str = NIR,
    name: str = "run.csv",
    minute: float = 1400,
    progress: Progress | None = None,
) -> Taken:
    """What became of the file that Ana takes in at that minute."""
    taken: Taken = done(
        bench.season,
        lambda s: record_results(s, source, name, content, act(s, "ana", minute), progress=progress),
    )
    return taken


def unknown_code(number: int) -> str:
    """A code whose check holds and that nobody printed."""
    return make_code(random.Random(number))


def parked(bench: Bench, *, answered: bool = False) -> tuple[Parked, ...]:
    with bench.season.read() as session:
        return parked_rows(session, answered=answered)


def why(one: Parked) -> list[str]:
    """The codes of what is wrong with a parked row."""
    return [problem["code"] for problem in one.problems]


def attached(bench: Bench, sample: Sample) -> list[dict[str, Decimal]]:
    """The values of each of the sample's analyses as the source gave them, the one that stands first."""
    with bench.season.read() as session:
        return [
            {value.constituent: value.value for value in one.values}
            for one in analyses_of(session, sample.id)
        ]


def body_of(bench: Bench, sample: Sample) -> dict[str, Any]:
    """What the sample's report would say now."""
    with bench.season.read() as session:
        return report_body(session, sample_with_lot(session, sample.id), SETTINGS)


def result(body: Mapping[str, Any], code: str, part: str = "results") -> dict[str, Any]:
    """The report's row of this code."""
    (found,) = [one for one in body[part] if one["code"] == code]
    return dict(found)


def make_answered(session: Session, **changes: Any) -> Sample:
    """A sample with its report, by every step before."""
    sample = make_ground(session, **changes)
    add_map(session, NIR, NIR_MAP)
    code = standing_of(session, sample).code or ""
    record_results(session, NIR, "run.csv", written([row(code)]), act(session, "ana", 1400))
    release(session, sample)
    return sample


def released(
    bench: Bench, sample: Sample, *, who: str = "lena", minute: float = 1500, reason: str = ""
) -> ReportVersion:
    report: ReportVersion = done(
        bench.season, lambda s: release(s, sample, who=who, minute=minute, reason=reason)
    )
    return report


def release(
    session: Session, sample: Sample, *, who: str = "lena", minute: float = 1500, reason: str = ""
) -> ReportVersion:
    """The step on its own: what the lookup says of the sample now is issued."""
    body = report_body(session, sample_with_lot(session, sample.id), SETTINGS)
    return release_results(session, sample, body, act(session, who, minute), reason=reason)
