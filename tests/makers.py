"""Samples brought to a station by the real steps, and how a test asks for a refusal."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Event, Standing, fold
from tracker.errors import TrackerError
from tracker.steps.add_people import add_party, add_producer
from tracker.steps.bag_cores import bag_cores, seal_bag
from tracker.steps.core_lot import core_lot
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.hand_over import relinquish
from tracker.steps.plan_coring import plan_coring
from tracker.steps.print_tags import print_tags
from tracker.steps.receive import receive
from tracker.steps.register_lot import NewLot, register_lot
from tracker.steps.share_results import share_at_wish
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Plan, Sample
from tracker.storage.custody import events_of
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Lot, lot_numbered
from tracker.storage.people import party
from tracker.storage.schema import METADATA
from tracker.storage.shares import ResultLink

START = datetime(2026, 6, 20, 9, 0, tzinfo=timezone(timedelta(hours=-5)))
BASE = "https://hay.example"
SEAL = "S-004417"

# Key, name, kind, role, secure: each stands for a right.
PEOPLE = (
    ("tove", "Tove Lind", "person", "technician", False),
    ("carl", "Carl Otis", "person", "clerk", False),
    ("ana", "Ana Field", "person", "analyst", False),
    ("lena", "Lena Roy", "person", "lead", False),
    # A technician like Tove, who has no business with her bags.
    ("ulf", "Ulf Brandt", "person", "technician", False),
    ("box", "Drop box", "place", "", True),
    ("shelf", "Shelf by the door", "place", "", False),
    ("store", "Store room", "place", "", True),
    ("van", "Valley Van", "carrier", "", False),
)
LOT = NewLot(
    producer="Oda Meadow",
    field="Long field",
    cutting="2",
    forage="alfalfa",
    harvested="2026-06-01",
    bale_shape="small square",
    bale_count="118",
    bale_mass="61",
)


def at(minutes: float) -> datetime:
    """So many minutes after nine on the day the makers live in."""
    return START + timedelta(minutes=minutes)


def act(session: Session, who: str, minutes: float, *, heard: float | None = None, **more: Any) -> Act:
    """Who does something at that minute, and at which the office heard of it: at once, unless said."""
    now = at(minutes if heard is None else heard).astimezone(UTC)
    return Act(party(session, who), at(minutes), now, **more)


def make_people(session: Session) -> None:
    for key, name, kind, role, secure in PEOPLE:
        add_party(session, key=key, name=name, kind=kind, role=role, secure=secure, now=START)
    add_producer(session, name="Oda Meadow", place="Upper Mill", now=START)


def make_lot(session: Session, **changes: Any) -> Lot:
    """Registered by Tove at 0; changes are fields of NewLot."""
    return register_lot(session, NewLot(**{**vars(LOT), **changes}), act(session, "tove", 0))


def share_lot(session: Session, lot: int, by: Act, *, name: str, until: date) -> tuple[ResultLink, str]:
    """A link to one lot at its own producer's wish, and its token."""
    producer = lot_numbered(session, lot).field.producer_id
    return share_at_wish(session, producer, by, name=name, until=until, lot=lot)


def make_plan(session: Session, lot: int | None = None, *, minute: float = 5, **changes: Any) -> Sample:
    """Planned by Tove at 5; a lot of its own unless one is given."""
    number = make_lot(session, **changes).id if lot is None else lot
    plan = plan_coring(
        session, number, act(session, "tove", minute), inside_mm="15.9", length_mm="510", seed=3
    )
    return session.get_one(Sample, plan.sample_id)


def make_tag(session: Session, lot: int | None = None, *, minute: float = 6) -> str:
    """The code of a tag printed by Tove at 6, for a lot or from a roll."""
    _, printed = print_tags(
        session, [lot], act(session, "tove", minute), base_url=BASE, layout={"stock": "roll"}
    )
    return printed[0].tag.code


def make_cored(session: Session, sample: Sample | None = None, **changes: Any) -> Sample:
    """Cored by Tove as planned, from 40 to 60."""
    sample = sample or make_plan(session, **changes)
    core_lot(session, sample, act(session, "tove", 60), started_at=at(40))
    return sample


def make_bag(session: Session, sample: Sample | None = None, **changes: Any) -> Sample:
    """Cored and in a bag that Tove has, with a tag of its lot; bound at 65."""
    sample = make_cored(session, sample, **changes)
    bag_cores(session, sample, make_tag(session, sample.lot_id), act(session, "tove", 65))
    return sample


def make_sealed(session: Session, **changes: Any) -> Sample:
    """Bagged and sealed at 66."""
    sample = make_bag(session, **changes)
    seal_bag(session, sample, SEAL, act(session, "tove", 66))
    return sample


def make_signed_away(session: Session, to: str = "carl", **changes: Any) -> Sample:
    """Sealed, and signed away by Tove at 200."""
    sample = make_sealed(session, **changes)
    waybill = "W-12" if to == "van" else ""
    relinquish(session, sample, party(session, to), act(session, "tove", 200), waybill=waybill)
    return sample


def make_received(session: Session, *, condition: Sequence[str] = ("dry",), **changes: Any) -> Sample:
    """Received by Carl at 240, dry and with its seal whole."""
    sample = make_signed_away(session, **changes)
    receive(
        session, sample, act(session, "carl", 240), condition=condition, seal_state="intact", seal_read=SEAL
    )
    return sample


def make_weighed(session: Session, *, tare: str = "18.6", fresh: str = "268.6", **changes: Any) -> Sample:
    """Tare and fresh weight by Carl at 250 and 251, sack and hay together: 250.0 g of hay."""
    sample = make_received(session, **changes)
    weigh(session, sample, "tare", tare, act(session, "carl", 250), balance="B1")
    weigh(session, sample, "fresh", fresh, act(session, "carl", 251), balance="B1")
    return sample


def make_in_oven(session: Session, *, load: str = "L-1", **changes: Any) -> Sample:
    """In the oven alone as one load, from 260 on."""
    sample = make_weighed(session, **changes)
    load_oven(session, load, [sample], act(session, "carl", 260), oven="Oven 1", set_celsius="55")
    return sample


def make_out_of_oven(session: Session, *, load: str = "L-1", **changes: Any) -> Sample:
    """Out again after 16 h, at 1220."""
    sample = make_in_oven(session, load=load, **changes)
    empty_oven(session, load, act(session, "carl", 1220))
    return sample


def make_dried(session: Session, *, dry: str = "251.1", **changes: Any) -> Sample:
    """Dry weight at 1240: 232.5 g of hay left, 93.0 % of the fresh."""
    sample = make_out_of_oven(session, **changes)
    weigh(session, sample, "dry", dry, act(session, "carl", 1240), balance="B1")
    return sample


def make_ground(session: Session, **changes: Any) -> Sample:
    """Ground by Ana, coarse at 1260 and fine at 1270."""
    sample = make_dried(session, **changes)
    grind(session, sample, "coarse", act(session, "ana", 1260), mill="M1")
    grind(session, sample, "fine", act(session, "ana", 1270), mill="M1")
    return sample


def made(season: Database, maker: Callable[..., Sample], **changes: Any) -> Sample:
    """A sample from one of the makers, kept in the season."""
    with season.act("make", "tove", {}) as session:
        return maker(session, **changes)


def done(season: Database, step: Callable[[Session], Any]) -> Any:
    """What a step gave, all of it kept."""
    with season.act("step", "tove", {}) as session:
        return step(session)


def refused(
    season: Database, step: Callable[[Session], Any], /, *, by: str = "tove", **given: Any
) -> TrackerError:
    """What the step was refused with. Nothing of it may be left in any table, and the refusal must be kept."""
    before = everything(season)
    with pytest.raises(TrackerError) as caught, season.act("step", by, given) as session:
        step(session)
    assert everything(season) == before
    assert caught.value.remedy
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal).order_by(KeptRefusal.id.desc()).limit(1)).one()
    assert (kept.code, kept.message, kept.by) == (caught.value.code, caught.value.message, by)
    assert kept.given == {name: None if value is None else str(value) for name, value in given.items()}
    return caught.value


def code_of(caught: pytest.ExceptionInfo[TrackerError]) -> str:
    """The code of a refusal that no act stood behind; it says what to do."""
    assert caught.value.remedy
    return caught.value.code


def everything(season: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, the kept refusals left out."""
    with season.read() as session:
        return {
            table.name: [tuple(row) for row in session.execute(select(table))]
            for table in METADATA.sorted_tables
            if table.name != "kept_refusal"
        }


def life(season: Database, sample: Sample) -> list[Event]:
    """The sample's events as they were recorded."""
    with season.read() as session:
        return events_of(session, sample.id)


def kinds(season: Database, sample: Sample) -> list[str]:
    return [event.kind for event in life(season, sample)]


def standing(season: Database, sample: Sample) -> Standing:
    """Where the sample stands, from the log."""
    return fold(life(season, sample))


def remarks(event: Event) -> list[str]:
    """The codes of what was remarked on an event."""
    return [finding["code"] for finding in event.data.get("findings", ())]


def weighed(season: Database, sample: Sample) -> list[tuple[str, Decimal]]:
    """Every weighing ever kept of the sample, corrected ones too."""
    with season.read() as session:
        rows = session.scalars(select(Weighing).where(Weighing.sample_id == sample.id).order_by(Weighing.id))
        return [(row.what, row.grams) for row in rows]


def plans(season: Database, sample: Sample) -> list[Mapping[str, Any]]:
    """The bodies of the sample's plans, by version."""
    with season.read() as session:
        rows = session.scalars(select(Plan).where(Plan.sample_id == sample.id).order_by(Plan.version))
        return [row.body for row in rows]
