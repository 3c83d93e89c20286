"""A lot registered, planned and cored on a phone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.domain.units import whole
from tracker.errors import NotFound, Refused
from tracker.steps.add_people import add_producer, named
from tracker.steps.append_event import on_lot
from tracker.steps.core_lot import core_lot
from tracker.steps.field_refs import Payload, lot_meant, text, texts
from tracker.steps.plan_coring import plan_coring
from tracker.steps.register_lot import NewLot, facts_given, register_lot
from tracker.storage.base import LARGEST_ID
from tracker.storage.coring import Plan, Sample, samples_of
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot, facts_of, lot_numbered
from tracker.storage.people import Producer

Notices = tuple[str, ...]
# What a plan is made for where the phone does not say: the command's own defaults.
USUAL_PROBE = {"name": "", "inside_mm": "15.9", "length_mm": "610"}


def register(session: Session, payload: Payload, act: Act) -> tuple[int, Notices]:
    """Register the lot, and its producer if he is new; the lot's number, and what differs from one known already.

    Raises as register_lot, but a lot that another phone registered is that lot. Raises NotFound `unknown-producer`.
    """
    given = _new_lot(payload, _producer(session, payload, act))
    known = _known(session, given, act)
    if known is None:
        return register_lot(session, given, act).id, ()
    return known.id, _registered_again(session, known, given, act)


def _new_lot(payload: Payload, producer: str) -> NewLot:
    return NewLot(
        producer=producer,
        field=text(payload, "field"),
        cutting=text(payload, "cutting"),
        forage=text(payload, "forage"),
        harvested=text(payload, "harvested"),
        bale_shape=text(payload, "shape"),
        bale_count=text(payload, "bale_count"),
        bale_mass=text(payload, "bale_lb") or None,
        storage=text(payload, "storage"),
        part=text(payload, "part"),
        note=text(payload, "note"),
    )


def _producer(session: Session, payload: Payload, act: Act) -> str:
    given = payload.get("producer")
    if not isinstance(given, dict):
        raise Refused(
            "entry-incomplete",
            "The entry needs a producer.",
            field="producer",
            remedy="Choose the producer, or write a name.",
        )
    if "id" in given:
        number = whole(text(given, "id"), field="producer", least=1)
        row = session.get(Producer, number) if number <= LARGEST_ID else None
        if row is None:
            raise NotFound(
                "unknown-producer",
                f"There is no producer {number}.",
                field="producer",
                remedy="Choose the producer again, or write the name.",
            )
        return row.name
    name = named(text(given, "name"))
    if session.scalar(select(Producer.id).where(Producer.name == name)) is None:
        add_producer(session, name=name, phone=text(given, "phone"), place=text(given, "place"), now=act.now)
    return name


def _known(session: Session, given: NewLot, act: Act) -> Lot | None:
    facts = facts_given(given, act)
    wanted = (
        select(Lot.id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(
            Producer.name == given.producer,
            Field.name == facts.field_name,
            Lot.season == facts.harvest_date.year,
            Lot.cutting == facts.cutting,
            Lot.part == given.part,
        )
    )
    number = session.scalar(wanted)
    return None if number is None else lot_numbered(session, number)


def _registered_again(session: Session, known: Lot, given: NewLot, act: Act) -> Notices:
    """What the second one says otherwise: both stay to be seen, and a person corrects the lot if need be."""
    first, second = facts_of(known), facts_given(given, act)
    differs = {
        name: [str(value), str(getattr(second, name))]
        for name, value in vars(first).items()
        if value != getattr(second, name)
    }
    on_lot(session, "lot registered again", known.id, {"lot": known.id, "differs": differs}, act)
    told = "; ".join(
        f"{name.replace('_', ' ')} is {pair[0]} there and {pair[1]} here" for name, pair in differs.items()
    )
    words = f"The office has this lot as lot {known.id} already"
    return (f"{words}: {told}. What the office has stays." if told else f"{words}.",)


def plan(session: Session, payload: Payload, act: Act) -> tuple[Sample, Notices]:
    """Issue the plan that the phone drew from its seed; one that is in force already is not issued again.

    Raises Refused `not-a-count`, and what plan_coring raises.
    """
    lot = lot_meant(session, payload)
    seed = whole(text(payload, "seed", needed=True), field="seed")
    cores = text(payload, "cores") or None
    probe = _probe(payload)
    row = _in_force(session, lot.id, seed, cores, probe)
    if row is None:
        row = plan_coring(
            session, lot.id, act, cores=cores, reason=text(payload, "reason"), seed=seed, **probe
        )
    return session.get_one(Sample, row.sample_id), _otherwise(payload, CoringPlan.from_dict(row.body))


def _in_force(
    session: Session, lot: int, seed: int, cores: str | None, probe: Mapping[str, Any]
) -> Plan | None:
    """The plan of the lot's planned sample, if it is this very one; two phones may have drawn it."""
    ids = [sample.id for sample in samples_of(session, lot)]
    wanted = (
        select(Plan)
        .join(StandingRow, StandingRow.sample_id == Plan.sample_id)
        .where(Plan.sample_id.in_(ids), StandingRow.state == "planned")
        .order_by(Plan.version.desc())
        .limit(1)
    )
    row = session.scalars(wanted).first()
    if row is None or row.body["seed"] != str(seed) or cores not in (None, row.body["cores"]):
        return None
    kept = row.body["probe"]
    same = all(kept[name] == probe[name] for name in ("inside_mm", "length_mm"))
    return row if same and probe["depth_mm"] in (None, row.body["depth_mm"]) else None


def _probe(payload: Payload) -> dict[str, Any]:
    given = payload.get("probe")
    probe = given if isinstance(given, dict) else {"name": text(payload, "probe")}
    values = {name: text(probe, name) or usual for name, usual in USUAL_PROBE.items()}
    return {
        "probe": values["name"],
        "inside_mm": values["inside_mm"],
        "length_mm": values["length_mm"],
        "depth_mm": text(probe, "depth_mm") or text(payload, "depth_mm") or None,
    }


def _otherwise(payload: Payload, planned: CoringPlan) -> Notices:
    drawn = payload.get("picks")
    if drawn is None:
        return ()
    ours = [(str(pick.bale), str(pick.cores)) for pick in planned.picks]
    theirs = (
        [(str(pick.get("bale")), str(pick.get("cores"))) for pick in drawn if isinstance(pick, dict)]
        if isinstance(drawn, list)
        else []
    )
    if ours == theirs:
        return ()
    return ("The phone drew other bales than the office draws from this seed; the office's plan stands.",)


def core(session: Session, sample: Sample, payload: Payload, act: Act) -> None:
    """Record the coring. Raises Refused `not-a-count`, and what core_lot raises."""
    given = payload.get("bales")
    started = text(payload, "started_at")
    core_lot(
        session,
        sample,
        act,
        bales=_counts(given) if given is not None else None,
        entry=text(payload, "entry") or None,
        started_at=_started(started, payload, act) if started else None,
        deviations=texts(payload, "deviations"),
        composite_g=text(payload, "composite_g") or None,
        weather=text(payload, "weather"),
        place=_place(payload),
    )


def _counts(given: Any) -> dict[int, int]:
    if not isinstance(given, dict):
        raise Refused(
            "not-a-count",
            "The bales are no list of bales and cores.",
            field="bales",
            remedy="Enter the coring anew on the phone.",
        )
    counted = {
        whole(str(bale), field="bales", least=1): whole(str(cores), field="bales", least=0)
        for bale, cores in given.items()
    }
    return {bale: cores for bale, cores in counted.items() if cores}


def _started(words: str, payload: Payload, act: Act) -> Any:
    """When it began, by the same clock as its end, and so put right by as much."""
    began = moment(words, field="started_at")
    by_phone = act.origin.get("device_time")
    if by_phone and not act.origin.get("paper"):
        began += act.at - moment(str(by_phone))
    return min(began, act.at)


def _place(payload: Payload) -> dict[str, str] | None:
    """Where the device said it was: WGS 84 degrees, and how far off it may be in metres. Words of the device."""
    given = payload.get("place")
    if not isinstance(given, dict):
        return None
    return {name: text(given, name) for name in ("lat", "lon", "accuracy_m") if text(given, name)}
