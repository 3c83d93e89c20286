"""A season with one sample at each stage, so that every command has one it can be used on."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from tests import makers
from tests.makers import act, at
from tests.result_files import NIR, NIR_MAP, add_map, release, row, written
from tracker.domain.season_kept import Question
from tracker.files.key_file import KeyFile
from tracker.lookups.find import sample_named
from tracker.lookups.issued_reports import issued_report
from tracker.lookups.season_plan import season_asked
from tracker.papers.bundled import bundle_of
from tracker.papers.lot_report import lot_report
from tracker.settings import Settings
from tracker.steps.add_people import add_party
from tracker.steps.append_event import standing_of
from tracker.steps.bag_cores import bag_cores
from tracker.steps.choose_messages import want_messages
from tracker.steps.end_sample import archive
from tracker.steps.hand_over import store
from tracker.steps.hold import hold
from tracker.steps.issue_tags import issue_tags
from tracker.steps.keep_group import keep_group
from tracker.steps.keep_plan import keep_plan
from tracker.steps.make_client import make_client
from tracker.steps.note_access import note_access
from tracker.steps.record_results import record_results
from tracker.steps.second_factor import begin_factor
from tracker.steps.set_equipment import set_equipment
from tracker.steps.set_feed import set_feed
from tracker.steps.settle_tag import contest_tag
from tracker.steps.sign_in import account_of, make_account
from tracker.steps.stub_access import pause_stub
from tracker.storage.coring import Sample
from tracker.storage.custody import events_of
from tracker.storage.engine import Database
from tracker.storage.people import party
from tracker.storage.tags import tag_coded

MAKERS: dict[str, Any] = {
    "planned": makers.make_plan,
    "cored": makers.make_cored,
    "bagged": makers.make_bag,
    "sealed": makers.make_sealed,
    "signed": makers.make_signed_away,
    "received": makers.make_received,
    "weighed": makers.make_weighed,
    "baking": makers.make_in_oven,
    "baked": makers.make_out_of_oven,
    "dried": makers.make_dried,
    "ground": makers.make_ground,
    "scanned": makers.make_ground,
    "twice": makers.make_ground,
    "reported": makers.make_ground,
    "archived": makers.make_ground,
    "stored": makers.make_bag,
    "held": makers.make_received,
}


@dataclass(frozen=True)
class Stages:
    """names: what stands for a stage in a command line: `{received}` is a code, or `lot 3` where there is none."""

    path: Path
    names: dict[str, str]


def build(season: Path, path: Path) -> Stages:
    """A copy of the people's season at this path, with the samples in it."""
    key_file = KeyFile(path.with_suffix(".key"))
    key_file.make("hay.example")
    database = Database(f"sqlite:///{shutil.copy(season, path)}", clock=lambda: at(0), key_file=key_file)
    with database.act("make", "tove", {}) as session:
        names = _fill(session)
    with database.read() as session:
        issued = issued_report(session, sample_named(session, names["reported"]).id)
        lot_report(path.with_suffix(".pdf"), issued.body, issued.proof)
        lot = sample_named(session, names["reported"]).lot_id
        path.with_suffix(".zip").write_bytes(bundle_of(session, lot, Settings()))
    database.close()
    return Stages(path, names)


def _fill(session: Session) -> dict[str, str]:
    made = {stage: _made(session, stage) for stage in MAKERS}
    codes = {stage: standing_of(session, sample).code for stage, sample in made.items()}
    names = {stage: codes[stage] or f"lot {made[stage].lot_id}" for stage in made}
    _results(session, [codes[stage] or "" for stage in ("twice", "scanned", "reported", "archived")])
    for stage in ("reported", "archived"):
        release(session, made[stage])
    archive(session, made["archived"], party(session, "store"), act(session, "ana", 1600))
    store(session, made["stored"], party(session, "box"), act(session, "tove", 70))
    hold(session, made["held"], act(session, "carl", 250), reason="the tag is hard to read")
    names["unplanned"] = str(makers.make_lot(session, field="unplanned").id)
    names["fresh"] = makers.make_tag(session)
    names["fresh run"] = str(tag_coded(session, names["fresh"]).run_id)
    names["carried"] = makers.make_tag(session)
    run = tag_coded(session, names["carried"]).run_id
    issue_tags(session, run, 1, 1, party(session, "tove"), act(session, "tove", 7))
    _contested(session, names)
    make_account(session, "ana", "lena", makers.at(0))
    # Somebody who holds nothing, and may be forgotten.
    add_party(session, key="siv", name="Siv Fen", role="technician", now=makers.at(0))
    make_client(session, "Wet room", "carl", ["read"], act(session, "lena", 8))
    names["reported lot"] = str(made["reported"].lot_id)
    cows = {"kind": "cow", "head": "12", "weight_lb": "1200", "calving": "2027-03-01"}
    keep_group(session, "Oda Meadow", "old cows", cows, act(session, "tove", 8), reason="told at the stack")
    set_feed(session, "corn", {"price_ton": "190"}, act(session, "lena", 8), reason="last week's price")
    set_equipment(session, "oven", "oven 3", act(session, "lena", 8), facts="240 litres", reason="its plate")
    note_access(session, makers.at(-800_000), "signed in", "ana", "127.0.0.1")
    begin_factor(session, account_of(session, "ana"), "a key", makers.at(0), programme="Larkmoor")
    pause_stub(session, names["carried"], act(session, "carl", 9), reason="it hangs on a barn")
    until = makers.at(0).date()
    link, _ = makers.share_lot(
        session, made["reported"].lot_id, act(session, "carl", 9), name="Dr. Lee", until=until
    )
    names["link"] = str(link.id)
    owner = link.producer_id
    want_messages(session, owner, act(session, "carl", 9), address="oda@example.org", how="signed form")
    names["plan"] = str(_plan(session))
    names["weighing"] = str(_event(session, made["weighed"], "fresh weighed"))
    return names


def _plan(session: Session) -> int:
    """Oda's November, planned and kept."""
    november = Question(date(2026, 11, 1), 1)
    found = season_asked(session, "Oda Meadow", november)
    told = found.told(found.answer(november))
    kept = keep_plan(
        session, found.producer, november, found.rests_on, told, b"%PDF-1.4", act(session, "lena", 9)
    )
    return kept.id


def _contested(session: Session, names: dict[str, str]) -> None:
    """Two bags with one tag: the second by Ulf's phone."""
    first, second = (makers.make_cored(session, field=f"contested {number}") for number in (1, 2))
    names["contested"] = makers.make_tag(session)
    names["contested lot"] = f"lot {first.lot_id}"
    bag_cores(session, first, names["contested"], act(session, "tove", 65))
    contest_tag(session, tag_coded(session, names["contested"]), second, act(session, "ulf", 66))


def _made(session: Session, stage: str) -> Sample:
    loads = {"load": f"of {stage}"} if _dries(stage) else {}
    made: Sample = MAKERS[stage](session, field=stage, **loads)
    return made


def _dries(stage: str) -> bool:
    return stage in ("baking", "baked", "dried", "ground", "scanned", "twice", "reported", "archived")


def _results(session: Session, codes: list[str]) -> None:
    """Each scanned once; one row names nobody and is parked; the first stands in a second file too."""
    add_map(session, NIR, NIR_MAP)
    lines = [*(row(code) for code in codes), row("????")]
    record_results(session, NIR, "run.csv", written(lines), act(session, "ana", 1400))
    again = row(codes[0], Scanned="2026-06-21 07:30:00")
    record_results(session, NIR, "again.csv", written([again]), act(session, "ana", 1410))


def _event(session: Session, sample: Sample, kind: str) -> int:
    (found,) = [event.seq for event in events_of(session, sample.id) if event.kind == kind]
    return found
