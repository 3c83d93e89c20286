"""Five lots from excellent to unfit, reported, each with a stub whose token the test knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select, update

from labels.payload import make_token, token_hash
from tests import makers
from tests.makers import act, at
from tests.result_files import (
    NIR,
    NIR_MAP,
    SETTINGS,
    WET,
    WET_MAP,
    add_map,
    row,
    wet_row,
    wet_written,
    written,
)
from tracker.lookups.lot_report import report_body
from tracker.steps.append_event import standing_of
from tracker.steps.record_results import record_results
from tracker.steps.release_results import release_results
from tracker.storage.coring import sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.people import Producer
from tracker.storage.tags import Tag

# Name of the field, forage, CP, ADF, NDF in % of dry matter, nitrate nitrogen in mg/kg as received or "".
# What such hays can well be; none is a published sample.
HAYS = (
    ("Top Meadow", "alfalfa", "21.4", "25.0", "33.0", ""),
    ("Long Acre", "alfalfa-grass", "14.2", "34.0", "52.0", ""),
    ("Mill Piece", "mixed grass", "9.3", "38.5", "61.0", ""),
    ("Far Bottom", "bermudagrass", "5.9", "44.5", "73.0", ""),
    ("Road Field", "small grain", "10.8", "37.0", "60.0", "4700"),
)
NAMES = ("excellent", "good", "fair", "poor", "unfit")


@dataclass(frozen=True)
class Stub:
    """One reported lot and the token on its stub."""

    name: str
    lot: int
    sample: int
    code: str
    token: str


def give_token(season: Database, code: str) -> str:
    """The season keeps a hash only, so a stub whose token a test knows gets its hash put there."""
    token = make_token()
    with season.act("put there", "", {}) as session:
        session.execute(update(Tag).where(Tag.code == code).values(token_hash=token_hash(token)))
    return token


def five_lots(season: Database, hays: Sequence[tuple[str, ...]] = HAYS) -> dict[str, Stub]:
    """The lots by name, each with its report released by Lena at 1500."""
    made = []
    with season.act("make", "tove", {}) as session:
        add_map(session, NIR, NIR_MAP)
        add_map(session, WET, WET_MAP, kind="laboratory")
        for number, (field, forage, *_) in enumerate(hays):
            made.append(makers.make_ground(session, load=f"B-{number}", field=field, forage=forage))
        codes = [standing_of(session, sample).code or "" for sample in made]
        lines = [
            row(code, CP_pc_DM=cp, ADF_pc_DM=adf, NDF_pc_DM=ndf)
            for code, (_, _, cp, adf, ndf, _) in zip(codes, hays, strict=True)
        ]
        record_results(session, NIR, "run.csv", written(lines), act(session, "ana", 1400))
        wet = [
            wet_row(code, CP="", NDF="", NO3=hay[5]) for code, hay in zip(codes, hays, strict=True) if hay[5]
        ]
        if wet:
            record_results(session, WET, "wet.csv", wet_written(wet), act(session, "ana", 1410))
        for sample in made:
            body = report_body(session, sample_with_lot(session, sample.id), SETTINGS, on=at(1500).date())
            release_results(session, sample, body, act(session, "lena", 1500))
    season.clock = lambda: at(1600)
    return {
        name: Stub(name, sample.lot_id, sample.id, code, give_token(season, code))
        for name, sample, code in zip(NAMES, made, codes, strict=False)
    }


def producer_id(season: Database, name: str = "Oda Meadow") -> int:
    """The number of the producer of that name."""
    with season.read() as session:
        return session.scalars(select(Producer.id).where(Producer.name == name)).one()
