"""What happens at the stacks and on the road: lots, plans, cores, bags, hand-overs."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from tracker.demo.season import SETTINGS, START, Moment, Season
from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.files.lots_file import LotEntry, read_lots
from tracker.files.table_file import read_table
from tracker.steps.add_people import add_party, add_producer
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.core_lot import core_lot
from tracker.steps.end_sample import lose
from tracker.steps.hand_over import relinquish, store
from tracker.steps.hold import lift_hold
from tracker.steps.plan_coring import plan_coring
from tracker.steps.print_tags import print_tags, void_tag
from tracker.steps.receive import receive
from tracker.steps.register_lot import register_lot
from tracker.steps.register_lots import as_new_lot, register_lots
from tracker.storage.people import party

LEAD = "tobias-renwick"
# The stubs' tokens of a demonstration are no secrets, and the same papers come out each time.
SEED = 20260629
# Decisions about one of two analyses belong to the bench.
CHOSEN = ("re-run", "second analysis")
LAYOUT = {"stock": "a4-2x4", "start": 1, "skip": [], "rotation": 0, "offset_mm": ["0", "0"]}


def add_people(season: Season) -> None:
    """Take in everyone of the programme and its producers, before the season begins."""
    with season.database.act("add people", "", {}) as session:
        for row in season.rows("parties.csv"):
            add_party(
                session,
                key=row["key"],
                name=row["name"],
                kind=row["kind"],
                role=row["role"],
                secure=row["secure"] == "yes",
                now=season.clock(),
            )
        for row in season.rows("producers.csv"):
            add_producer(
                session,
                name=row["name"],
                phone=row["phone"],
                email=row["email"],
                place=row["place"],
                now=season.clock(),
            )


def moments(season: Season) -> Iterator[Moment]:
    """Everything of this part of the season, in no order."""
    yield Moment(moment(START), LEAD, "print tags", lambda session, act: _print(season, session, act))
    coring = {row["lot"]: row for row in season.rows("coring.csv")}
    for entry in _entries(season):
        # The note begins with the lot's key in the other files; the rest of it is the note.
        key, _, note = entry.note.partition(" ")
        yield _registered(season, key, replace(entry, note=note), coring.get(key))
    too_large = season.fixtures / "lots_too_large.csv"
    yield Moment(
        moment("2026-07-20T09:00:00-05:00"),
        LEAD,
        "register lots",
        lambda session, act: register_lots(session, too_large.name, too_large.read_bytes(), act),
    )
    for number, row in enumerate(coring.values(), start=1):
        yield from _cored(season, row, number)
    for row in season.rows("handovers.csv"):
        yield from _handed_over(season, row)
    for row in season.rows("mishaps.csv"):
        yield from _mishap(season, row)


def _print(season: Season, session: Session, act: Act) -> None:
    codes = [row["code"] for row in season.rows("codes.csv")]
    run, printed = print_tags(
        session,
        [None] * len(codes),
        act,
        base_url=SETTINGS.base_url,
        layout=LAYOUT,
        chooser=random.Random(SEED),
        codes=codes,
    )
    season.run, season.printed = run.id, [(one.tag.code, one.token) for one in printed]


def _entries(season: Season) -> list[LotEntry]:
    path = season.fixtures / "lots.csv"
    rows = read_lots(read_table(path.name, path.read_bytes()))
    return [row.entry for row in rows if row.entry is not None]


def _registered(season: Season, key: str, entry: LotEntry, coring: dict[str, str] | None) -> Moment:
    begun = coring["started_at"] if coring else ""
    at = _before(begun, days=2) if begun else moment(f"{entry.harvested}T17:00:00-05:00") + timedelta(days=8)

    def do(session: Session, act: Act) -> None:
        lot = as_new_lot(entry)
        season.lots[key] = register_lot(session, lot, act).id

    return Moment(at, coring["sampler"] if coring else LEAD, "register lot", do)


def _before(text: str, **span: float) -> datetime:
    return moment(text) - timedelta(**span)


def _cored(season: Season, row: dict[str, str], number: int) -> Iterator[Moment]:
    key = row["lot"]

    def plan(session: Session, act: Act) -> Any:
        return plan_coring(
            session,
            season.lots[key],
            act,
            probe=row["probe"],
            inside_mm=row["probe_inside_mm"],
            length_mm=row["probe_length_mm"],
            depth_mm=row["depth_mm"],
            cores=row["planned_cores"],
            reason=row["reason"],
            seed=SEED + number,
        )

    # A lot that was never cored has its plan all the same, from the season's last day in the field.
    yield Moment(_before(row["started_at"] or "2026-09-26T08:00:00-05:00", days=1), LEAD, "plan", plan)
    if not row["ended_at"]:
        return

    def cored(session: Session, act: Act) -> Any:
        return core_lot(
            session,
            season.sample(session, key),
            act,
            cores_taken=row["cores_taken"],
            entry=row["entry"],
            started_at=moment(row["started_at"]),
            deviations=[row["deviations"]],
            composite_g=row["composite_g"] or None,
        )

    def bagged(session: Session, act: Act) -> Any:
        return bag_cores(session, season.sample(session, key), row["code"], act)

    yield Moment(moment(row["ended_at"]), row["sampler"], "cored", cored)
    yield Moment(moment(row["bagged_at"]), row["sampler"], "bind", bagged)


PLACES = ("drop-box", "mill-porch", "sample-store")


def _handed_over(season: Season, row: dict[str, str]) -> Iterator[Moment]:
    key = row["lot"]

    def seal(session: Session, act: Act) -> Any:
        return seal_bag(session, season.sample(session, key), row["seal_sealed"], act)

    def give(session: Session, act: Act) -> Any:
        sample, to = season.sample(session, key), party(session, row["to"])
        if to.kind == "place":
            return store(session, sample, to, act)
        return relinquish(session, sample, to, act, waybill=row["waybill"])

    def take(session: Session, act: Act) -> Any:
        return receive(
            session,
            season.sample(session, key),
            act,
            condition=row["conditions"].split(";"),
            seal_state=row["seal_state"],
            seal_read=row["seal_read"],
            discrepancy=row["discrepancy"],
        )

    if row["relinquished_at"]:
        if row["seal_sealed"]:
            yield Moment(_before(row["relinquished_at"], minutes=3), row["from"], "seal", seal)
        yield Moment(moment(row["relinquished_at"]), row["from"], "hand over", give)
    if row["received_at"]:
        yield Moment(moment(row["received_at"]), row["to"], "receive", take)


def _mishap(season: Season, row: dict[str, str]) -> Iterator[Moment]:
    """The mishaps that are acts of their own; the others lie in the data."""
    key, words = row["lot"], row["words"]
    if row["kind"] == "voided tag":
        yield Moment(
            moment(row["at"]), LEAD, "void tag", lambda s, act: void_tag(s, row["code"], act, reason=words)
        )
    if row["kind"] == "lost bag":
        yield Moment(
            moment(row["at"]),
            LEAD,
            "lost",
            lambda s, act: lose(s, season.sample(s, key), act, circumstances=words),
        )
    if row["kind"] == "label damaged":
        yield Moment(
            moment(row["decided_at"]) - timedelta(minutes=5),
            row["decided_by"],
            "retag",
            lambda s, act: replace_tag(s, season.sample(s, key), row["new_code"], act, reason=words),
        )
    if row["decision"] and row["kind"] not in CHOSEN:
        yield Moment(
            moment(row["decided_at"]),
            row["decided_by"],
            "lift hold",
            lambda s, act: lift_hold(s, season.sample(s, key), act, reason=row["decision"]),
        )
