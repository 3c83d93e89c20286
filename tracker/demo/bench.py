"""What happens at the bench: weighing, drying, grinding, scanning, and the reports that follow."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.demo.field import CHOSEN, LEAD
from tracker.demo.season import SETTINGS, START, Moment, Season
from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.files.table_file import read_table
from tracker.lookups.lot_report import report_body
from tracker.steps.add_balance import add_balance
from tracker.steps.add_source import add_source_map
from tracker.steps.answer_parked import set_aside, take_in
from tracker.steps.append_event import standing_of
from tracker.steps.check_balance import check_balance
from tracker.steps.choose_analysis import choose_analysis
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.receive import break_seal
from tracker.steps.record_results import record_results
from tracker.steps.release_results import release_results
from tracker.steps.set_equipment import set_equipment
from tracker.steps.weigh_in import weigh
from tracker.storage.analysis import Analysis, ParkedRow, ResultFile, analyses_of
from tracker.storage.coring import Sample

ANALYST, CLERK = "maud-ashgrove", "peder-voss"
INSTRUMENT = "bench NIR 1"
CSV, WORKBOOK = "Outside laboratory, CSV", "Outside laboratory, workbook"
SOURCES = (
    ("bench-nir", INSTRUMENT, "instrument"),
    ("outside-lab", CSV, "laboratory"),
    ("outside-lab-xlsx", WORKBOOK, "laboratory"),
)
# The outside laboratory sends one file for the season of each kind, and it comes when it comes.
OUTSIDE = {
    "results_outside_lab.csv": "2026-09-16T10:00:00-05:00",
    "results_outside_lab.xlsx": "2026-09-17T10:00:00-05:00",
}
RUNS = ("results_bench_nir.csv", "results_bench_nir_rerun.csv")


def moments(season: Season) -> Iterator[Moment]:
    """Everything of this part of the season, in no order."""
    yield Moment(moment(START), LEAD, "add source", lambda session, act: _sources(season, session, act))
    yield Moment(moment(START), LEAD, "set equipment", lambda session, act: _equipment(season, session, act))
    yield from _balances(season)
    sealed = {
        row["lot"]: row["seal_read"] for row in season.rows("handovers.csv") if row["seal_state"] == "intact"
    }
    for row in season.rows("bench.csv"):
        yield from _weighed(season, row, sealed.get(row["lot"]))
    for row in season.rows("loads.csv"):
        yield from _dried(season, row)
    for row in season.rows("bench_reweigh.csv"):
        yield _weighing(
            season, row["lot"], "dry again", row["dry_gross_g"], row["at"], row["by"], row["balance"]
        )
    for row in season.rows("grinding.csv"):
        yield _ground(season, row)
    yield from _scanned(season)
    yield from _from_outside(season)
    for row in season.rows("mishaps.csv"):
        if row["kind"] in CHOSEN and row["decision"]:
            yield _chosen(season, row, _came_in(season, row["code"]))


def _equipment(season: Season, session: Session, act: Act) -> None:
    for row in season.rows("equipment.csv"):
        set_equipment(session, row["kind"], row["name"], act, facts=row["facts"], reason=row["reason"])


def _sources(season: Season, session: Session, act: Act) -> None:
    maps = json.loads((season.fixtures / "column_maps.json").read_text(encoding="utf-8"))
    for key, name, kind in SOURCES:
        add_source_map(session, name, json.dumps(maps[key]), act, kind=kind, reason="The season begins.")


def _balances(season: Season) -> Iterator[Moment]:
    """The two balances, and their check on every morning on which something is weighed."""
    rows = season.rows("bench.csv")
    days = sorted({row[at][:10] for row in rows for at in ("tare_at", "dry_at") if row[at]})
    for name, step, limit in (("balance 1", "0.1", "0.1"), ("balance 2", "0.01", "0.02")):
        shown = Decimal("200.00").quantize(Decimal(step))
        yield Moment(moment(START), LEAD, "add balance", partial(_add_balance, name, shown, limit))
        for day in days:
            at = moment(f"{day}T07:05:00-05:00")
            yield Moment(at, CLERK, "check balance", partial(_check_balance, name, shown))


def _add_balance(name: str, shown: Decimal, limit: str, session: Session, act: Act) -> None:
    add_balance(session, name, act, route="keyboard", profile="any", check_weight=shown, limit=limit)


def _check_balance(name: str, shown: Decimal, session: Session, act: Act) -> None:
    check_balance(session, name, shown - shown, shown, act)


def _weighed(season: Season, row: dict[str, str], seal: str | None) -> Iterator[Moment]:
    key, clerk = row["lot"], row["clerk"]
    if seal:
        yield Moment(
            moment(row["tare_at"]) - timedelta(minutes=1),
            clerk,
            "break seal",
            lambda session, act: break_seal(session, season.sample(session, key), seal, act),
        )
    yield _weighing(season, key, "tare", row["tare_g"], row["tare_at"], clerk, row["tare_balance"])
    if row["fresh_gross_g"]:
        yield _weighing(season, key, "fresh", row["fresh_gross_g"], row["fresh_at"], clerk, row["balance"])
    if row["dry_gross_g"]:
        yield _weighing(season, key, "dry", row["dry_gross_g"], row["dry_at"], clerk, row["balance"])


def _weighing(season: Season, key: str, what: str, grams: str, at: str, by: str, balance: str) -> Moment:
    def do(session: Session, act: Act) -> Any:
        return weigh(session, season.sample(session, key), what, grams, act, balance=balance)

    return Moment(moment(at), by, f"weigh {what}", do)


def _dried(season: Season, row: dict[str, str]) -> Iterator[Moment]:
    places = sorted((sack.split(":") for sack in row["sacks"].split(";")), key=lambda place: int(place[1]))

    def into(session: Session, act: Act) -> Any:
        samples = [season.sample(session, key) for key, _ in places]
        return load_oven(session, row["load"], samples, act, oven=row["oven"], set_celsius=row["set_celsius"])

    yield Moment(moment(row["in_at"]), row["by"], "oven in", into)
    if row["out_at"]:
        yield Moment(
            moment(row["out_at"]),
            row["by"],
            "oven out",
            lambda session, act: empty_oven(session, row["load"], act),
        )


def _ground(season: Season, row: dict[str, str]) -> Moment:
    def do(session: Session, act: Act) -> Any:
        return grind(
            session,
            season.sample(session, row["lot"]),
            row["stage"],
            act,
            screen_mm=row["screen_mm"],
            mill=row["mill"],
            cleaned=row["cleaned"] == "yes",
        )

    return Moment(moment(row["at"]), row["by"], "grind", do)


def runs(season: Season) -> Iterator[tuple[str, datetime, bytes]]:
    """The instrument's files as they came day by day: name, when it was taken in, content."""
    for name in RUNS:
        header, *lines = (season.fixtures / name).read_text(encoding="utf-8").splitlines()
        at = header.split(",").index("Scanned")
        days: dict[str, list[str]] = {}
        for line in lines:
            days.setdefault(line.split(",")[at][:10], []).append(line)
        for day, of_day in days.items():
            kind = "again" if "rerun" in name else "run"
            hour = "16:30:00" if kind == "run" else "16:45:00"
            content = "\n".join([header, *of_day]) + "\n"
            yield f"{kind}-{day}.csv", moment(f"{day}T{hour}-05:00"), content.encode()


def _scanned(season: Season) -> Iterator[Moment]:
    for name, at, content in runs(season):
        yield _taken_in(INSTRUMENT, name, content, at)
        yield Moment(at + timedelta(days=1), LEAD, "parked rows", partial(_decide, season, name))
        if name.startswith("run-"):
            yield from _released(season, name, at + timedelta(days=2))


def _taken_in(source: str, name: str, content: bytes, at: datetime) -> Moment:
    def do(session: Session, act: Act) -> Any:
        return record_results(session, source, name, content, act)

    return Moment(at, ANALYST, "import analyses", do)


def _decide(season: Season, name: str, session: Session, act: Act) -> None:
    """Answer the file's parked rows as the mishaps say."""
    truth = {row["code"]: row for row in season.rows("mishaps.csv")}
    wanted = select(ParkedRow).join(ResultFile).where(ResultFile.name == name).order_by(ParkedRow.id)
    for row in session.scalars(wanted).all():
        story = truth.get(row.sample_text, {})
        if story.get("new_code"):
            take_in(session, row.id, story["new_code"], act, reason=story["words"])
        elif story.get("kind") == "unreadable value":
            repaired = {"CP % DM": story["words"].split()[2].rstrip(":").replace("l", "1")}
            take_in(session, row.id, row.sample_text, act, corrected=repaired, reason=story["words"])
        else:
            set_aside(session, row.id, act, reason=story.get("words") or "Not ours to decide.")


def _chosen(season: Season, row: dict[str, str], taken_in: datetime) -> Moment:
    """Of several analyses of one sample, the bench's own first one stands, as somebody decides."""

    def do(session: Session, act: Act) -> Any:
        sample = season.sample(session, row["lot"])
        first = min(analysis.id for analysis in analyses_of(session, sample.id))
        return choose_analysis(session, sample, first, act, reason=row["decision"])

    at = max(moment(row["decided_at"]), taken_in + timedelta(hours=1))
    return Moment(at, row["decided_by"], "choose analysis", do)


def _from_outside(season: Season) -> Iterator[Moment]:
    for source, (name, at) in zip((CSV, WORKBOOK), OUTSIDE.items(), strict=True):
        content = (season.fixtures / name).read_bytes()
        yield _taken_in(source, name, content, moment(at))
        reason = "Values from the outside laboratory were added."
        yield from _released(season, name, moment(at) + timedelta(days=1), reason)


def _came_in(season: Season, code: str) -> datetime:
    """When the last file that names this code was taken in."""
    files = [(content.decode(), at) for name, at, content in runs(season)]
    files.append(
        (
            (season.fixtures / "results_outside_lab.csv").read_text("latin-1"),
            moment(OUTSIDE["results_outside_lab.csv"]),
        )
    )
    book = read_table("book.xlsx", (season.fixtures / "results_outside_lab.xlsx").read_bytes())
    text = " ".join(cell for row in book.rows for cell in row.cells)
    files.append((text, moment(OUTSIDE["results_outside_lab.xlsx"])))
    return max(at for content, at in files if code in content)


def _released(season: Season, name: str, at: datetime, reason: str = "") -> Iterator[Moment]:
    """One report after another for the samples of a file; one on hold waits for its decision."""

    def release(number: int) -> Any:
        def do(session: Session, act: Act) -> None:
            wanted = select(Analysis.sample_id).join(ResultFile).where(ResultFile.name == name).distinct()
            ids = sorted(session.scalars(wanted).all())
            if number >= len(ids):
                return
            found = next(key for key, lot in season.lots.items() if _lot_of(session, ids[number]) == lot)
            sample = season.sample(session, found)
            if not standing_of(session, sample).on_hold:
                release_results(
                    session,
                    sample,
                    report_body(session, sample, SETTINGS, on=act.occurred_at.date()),
                    act,
                    reason=reason,
                )

        return do

    for number in range(8):
        yield Moment(at + timedelta(minutes=7 * number), LEAD, "release", release(number))


def _lot_of(session: Session, sample_id: int) -> int:
    return session.get_one(Sample, sample_id).lot_id
