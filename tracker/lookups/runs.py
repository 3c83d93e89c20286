"""Instrument runs as they were planned, what may go into the next one, and the list as the instrument wants it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.check_samples import CHECK
from tracker.errors import NotFound, Refused
from tracker.files.column_map import load_column_map
from tracker.lookups.bench_queue import Waiting, waiting
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.analysis import Source, map_in_force
from tracker.storage.people import party_names
from tracker.storage.runs import RunList, check_names

# What the rows of an exported list are: the instrument's own heading for the sample, or the bench's words.
PROFILES = ("instrument", "bench")
LATEST = 50


@dataclass(frozen=True)
class RunRow:
    """One cup of the run: its place from 1, what is scanned, and check, sample or blind duplicate."""

    position: int
    code: str
    kind: str


@dataclass(frozen=True)
class Run:
    """A run list; at in UTC."""

    name: str
    source: str
    source_id: int
    check_name: str
    seed: int
    by: str
    at: datetime
    rows: tuple[RunRow, ...]

    @property
    def samples(self) -> int:
        """How many samples are in it, each counted once."""
        return len({row.code for row in self.rows if row.kind != CHECK})


@dataclass(frozen=True)
class SourceLine:
    """A source of results with the check samples that rode in its runs."""

    name: str
    kind: str
    checks: tuple[str, ...]


def sources(session: Session) -> tuple[SourceLine, ...]:
    """Every source, instruments first."""
    rows = session.scalars(select(Source).order_by(Source.kind, Source.name)).all()
    return tuple(SourceLine(row.name, row.kind, check_names(session, row.id)) for row in rows)


def to_scan(session: Session) -> tuple[Waiting, ...]:
    """The ground samples that wait for the scan, the longest wait first."""
    return waiting(session, ("the scan",))


def runs(session: Session) -> tuple[Run, ...]:
    """The latest runs, newest first."""
    wanted = select(RunList, Source.name).join(Source, Source.id == RunList.source_id)
    names = party_names(session)
    found = session.execute(wanted.order_by(RunList.id.desc()).limit(LATEST))
    return tuple(_run(row, source, names) for row, source in found)


def runs_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Run]:
    """The runs, the oldest first, a page of them. Raises Refused `not-a-cursor`."""
    wanted = select(RunList, Source.name).join(Source, Source.id == RunList.source_id)
    names = party_names(session)
    return page_of(session, wanted, [RunList.id], lambda row, source: _run(row, source, names), after, limit)


def run_named(session: Session, name: str) -> Run:
    """The run of this name. Raises NotFound `unknown-run`."""
    wanted = select(RunList, Source.name).join(Source, Source.id == RunList.source_id)
    found = session.execute(wanted.where(RunList.name == name)).first()
    if found is None:
        raise NotFound(
            "unknown-run",
            f"There is no run {name[:40]!r}.",
            field="run",
            remedy="Choose it from the list of runs.",
        )
    return _run(found[0], found[1], party_names(session))


def _run(row: RunList, source: str, names: dict[str, str]) -> Run:
    rows = tuple(RunRow(int(one["position"]), one["code"], one["kind"]) for one in row.rows)
    return Run(
        row.name, source, row.source_id, row.check_name, row.seed, names.get(row.by, row.by), row.at, rows
    )


def run_table(session: Session, run: Run, profile: str) -> list[Sequence[object]]:
    """The run with its header, for a file. It never says which cup is a blind duplicate.

    instrument: place and sample, under the heading that the source's own files have for the sample. bench: the
    same in words, with room for a tick. Raises Refused `unknown-profile`.
    """
    if profile not in PROFILES:
        raise Refused(
            "unknown-profile",
            f"{profile[:40]!r} is no form of a run list.",
            field="profile",
            remedy=f"Choose from {', '.join(PROFILES)}.",
        )
    if profile == "bench":
        words = [("check sample" if row.kind == CHECK else "sample") for row in run.rows]
        rows = zip(run.rows, words, strict=True)
        return [
            ("Cup", "What", "Code", "Filled"),
            *((row.position, word, row.code, "") for row, word in rows),
        ]
    kept = map_in_force(session, run.source_id)
    assert kept is not None  # a source is added with its map
    return [("Position", load_column_map(kept.body).sample), *((row.position, row.code) for row in run.rows)]
