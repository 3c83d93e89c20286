"""What a phone takes along before a trip: lots with their plans, tags, people, and what can be chosen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.coring import ENTRIES, PRACTICE_USED, SAFETY, CoringPlan
from tracker.domain.custody import IN_FIELD, Party
from tracker.domain.field_entry import DEVIATIONS
from tracker.domain.intake import CONDITIONS, SEAL_STATES
from tracker.domain.lot import BALE_MASSES, BALE_SHAPES, FORAGE_KINDS, MOST_CUTTINGS, STORAGES
from tracker.domain.tag import ISSUED, VOID
from tracker.lookups.lots import parties
from tracker.storage.coring import Plan, Sample
from tracker.storage.custody import StandingRow
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.tags import Tag

# What a technician may still have to do with a sample.
IN_HAND = ("planned", "cored", *IN_FIELD, "in transfer")
# Tubes that are sold for it: inside of the tip 5/8 and 3/4 inch, 20 and 24 inches long (common practice).
USUAL_PROBES = (("", "15.9", "610"), ("", "19.1", "610"), ("", "15.9", "510"))


def field_pack(session: Session, person: Party) -> dict[str, Any]:
    """The pack of this person as plain values, every number with digits as text."""
    lots = _lots(session)
    return {
        "person": {"key": person.key, "name": person.name, "role": person.role},
        "people": [
            {"key": one.key, "name": one.name, "kind": one.kind, "secure": one.secure, "role": one.role}
            for one in parties(session)
        ],
        "producers": [
            {"id": row.id, "name": row.name, "place": row.place}
            for row in session.scalars(select(Producer).order_by(Producer.name))
        ],
        "lots": lots,
        "tags": _tags(session, person, [lot["id"] for lot in lots]),
        "choices": _choices(session),
        "practice": _practice(session),
    }


def _lots(session: Session) -> list[dict[str, Any]]:
    """The lots with something left to do in the field: not cored yet, or with a bag that is not in the laboratory."""
    loading = joinedload(Lot.field).joinedload(Field.producer)
    rows = session.execute(
        select(Lot, Sample, StandingRow)
        .outerjoin(Sample, Sample.lot_id == Lot.id)
        .outerjoin(StandingRow, StandingRow.sample_id == Sample.id)
        .where(or_(Sample.id.is_(None), StandingRow.state.in_(IN_HAND)))
        .options(loading)
        .order_by(Lot.id, Sample.number)
    ).all()
    plans = _plans(session, [sample.id for _, sample, _ in rows if sample is not None])
    found: dict[int, dict[str, Any]] = {}
    for lot, sample, standing in rows:
        line = found.setdefault(lot.id, _lot(lot))
        if sample is not None:
            line["samples"].append(_sample(sample, standing, plans.get(sample.id)))
    return list(found.values())


def _lot(lot: Lot) -> dict[str, Any]:
    return {
        "id": lot.id,
        "number": lot.id,
        "key": f"lot {lot.id}",
        "producer": lot.field.producer.name,
        "producer_place": lot.field.producer.place,
        "field": lot.field.name,
        "cutting": lot.cutting,
        "season": lot.season,
        "part": lot.part,
        "forage": lot.forage,
        "harvested": lot.harvested.isoformat(),
        "shape": lot.bale_shape,
        "bale_count": lot.bale_count,
        "bale_mass": None if lot.bale_mass is None else str(lot.bale_mass),
        "bale_mass_unit": lot.bale_mass_unit,
        "bale_lb": _pounds(lot),
        "storage": lot.storage,
        "note": lot.note,
        "samples": [],
    }


def _pounds(lot: Lot) -> str | None:
    return str(lot.bale_mass) if lot.bale_mass is not None and lot.bale_mass_unit == "[lb_av]" else None


def _sample(sample: Sample, standing: StandingRow, plan: Plan | None) -> dict[str, Any]:
    return {
        "id": sample.id,
        "number": sample.number,
        "state": standing.state,
        "code": standing.code,
        "holder": standing.holder,
        "transfer_to": standing.transfer_to,
        "hold": standing.hold,
        "seal": standing.seal,
        "plan": None if plan is None else _plan(CoringPlan.from_dict(plan.body)),
    }


def _plan(planned: CoringPlan) -> dict[str, Any]:
    advice = (planned.mass_advice,) if planned.mass_advice else ()
    return {
        "version": planned.version,
        "seed": planned.seed,
        "entry": planned.entry,
        "probe": {
            "name": planned.probe.name,
            "inside_mm": str(planned.probe.inside_mm),
            "length_mm": str(planned.probe.length_mm),
        },
        "depth_mm": str(planned.depth_mm),
        "cores": planned.cores,
        "mass_g": str(planned.mass_g),
        "mass_least_g": str(planned.mass_least_g),
        "mass_most_g": str(planned.mass_most_g),
        "when": planned.when,
        "cautions": [*SAFETY, *advice],
        "picks": [{"bale": pick.bale, "cores": pick.cores} for pick in planned.picks],
    }


def _plans(session: Session, samples: Iterable[int]) -> dict[int, Plan]:
    """The plan in force of each sample."""
    wanted = select(Plan).where(Plan.sample_id.in_(list(samples))).order_by(Plan.version)
    return {plan.sample_id: plan for plan in session.scalars(wanted)}


def _tags(session: Session, person: Party, lots: list[int]) -> list[dict[str, Any]]:
    """The tags that this person carries, and those of the lots in the pack."""
    mine = and_(Tag.state == ISSUED, Tag.issued_to == person.key)
    wanted = select(Tag).where(or_(mine, Tag.lot_id.in_(lots)), Tag.state != VOID)
    return [
        {
            "code": tag.code,
            "state": tag.state,
            "lot_id": tag.lot_id,
            "sample_id": tag.sample_id,
            "issued_to": tag.issued_to,
            "run": tag.run_id,
            "number": tag.number,
        }
        for tag in session.scalars(wanted.order_by(Tag.run_id, Tag.number))
    ]


def _choices(session: Session) -> dict[str, Any]:
    return {
        "forages": list(FORAGE_KINDS),
        "shapes": list(BALE_SHAPES),
        "storages": list(STORAGES),
        "entries": dict(ENTRIES),
        "probes": _probes(session),
        "conditions": list(CONDITIONS),
        "seal_states": list(SEAL_STATES),
        "deviations": list(DEVIATIONS),
        "most_cuttings": MOST_CUTTINGS,
        "bale_lb": {
            shape: {"least": str(mass.least), "usual": str(mass.usual), "most": str(mass.most)}
            for shape, mass in BALE_MASSES.items()
        },
        "cautions": list(SAFETY),
    }


def _probes(session: Session) -> list[dict[str, str]]:
    """The probes that plans were made for, the latest first, and the usual ones."""
    bodies = session.scalars(select(Plan.body).order_by(Plan.id.desc()).limit(200))
    used = [
        (body["probe"]["name"], body["probe"]["inside_mm"], body["probe"]["length_mm"]) for body in bodies
    ]
    usual = [(name or f"{inside} mm probe", inside, length) for name, inside, length in USUAL_PROBES]
    return [
        {"name": name, "inside_mm": inside, "length_mm": length}
        for name, inside, length in dict.fromkeys([*used, *usual])
    ]


def _practice(session: Session) -> dict[str, str]:
    """The rules that a plan is drawn by, as the office has them in force."""
    practice = practice_in_force(session)
    return {name: practice.word(name) for name in PRACTICE_USED}
