"""Everything a lot's report says, as plain values: asked once, kept with the report, and printed from there.

The keys are described in docs/report.md; numbers are text with the digits worth showing.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from labels import payload
from tracker.domain import analysis, cautions, results
from tracker.domain.analysis import CONSTITUENTS, NITRATE_FORMS, NOT_CONVERTED, Value
from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Event, fold
from tracker.domain.default_sds import TOTAL_DM
from tracker.domain.error_budget import Margin
from tracker.domain.hay_errors import Cored
from tracker.domain.lot import FORAGE_KINDS, bale_pounds, mass_is_assumed, mass_short_tons
from tracker.domain.own_sds import Sds, default_lab_sd
from tracker.domain.practice import Practice
from tracker.domain.precision import lot_mean_margin
from tracker.domain.units import to_places
from tracker.lookups.dry_matter import DryMatter
from tracker.lookups.grounds import grounds_of
from tracker.lookups.interpretation import interpretation
from tracker.lookups.margins import hay_budget, on_dry_matter
from tracker.lookups.report_margins import (
    as_received_margin,
    margin_rows,
    margin_words,
    shared_errors,
    shown_margin,
    total_dm,
)
from tracker.lookups.sample_way import station_dict, step_dict, way_from
from tracker.settings import Settings
from tracker.storage.analysis import Analysis, ResultValue
from tracker.storage.coring import Sample
from tracker.storage.lots import facts_of
from tracker.storage.people import party_names

# How far a spectrum lies from its calibration is said as a remark; it is no constituent of hay.
NOT_CONSTITUENTS = ("DM", "GH", "NH")


def report_body(
    session: Session, sample: Sample, settings: Settings, *, on: date | None = None
) -> dict[str, Any]:
    """The report's content as things stand; the sample's lot, field and producer must be loaded.

    on: the day for which the interpretation takes the producer's own groups of animals; None leaves them out.
    """
    body = _results_body(session, sample, settings)
    producer = sample.lot.field.producer.name
    return {**body, "interpretation": interpretation(session, body, producer, on)}


def _results_body(session: Session, sample: Sample, settings: Settings) -> dict[str, Any]:
    grounds = grounds_of(session, sample)
    events, standing, dm, practice = grounds.done, grounds.standing, grounds.dm, grounds.sds.practice
    hay = hay_budget(grounds)
    margins, margins_told = hay.budget.margins, margin_rows(hay)
    way = way_from(sample, grounds.events, party_names(session), practice)
    on_dm = on_dry_matter(standing)
    return {
        "programme": {"name": settings.programme, "address": settings.address, "phone": settings.phone},
        "customer": _customer(sample),
        "lot": _lot(sample),
        "sample": _sample(sample, events, fold(events).code),
        "plan": _plan(grounds.plan),
        "cored": _cored(grounds.cored, events, way.steps, grounds.sds),
        "stations": [station_dict(station) for station in way.stations],
        "custody": [step_dict(step) for step in way.steps],
        "gaps": [gap.words for gap in way.gaps],
        "dry_matter": total_dm(dm.as_dict(), margins.get(TOTAL_DM)),
        "results": [
            _result(code, standing[code], on_dm.get(code), dm, margins)
            for code in CONSTITUENTS
            if code in standing and code not in NOT_CONSTITUENTS
        ],
        "derived": _derived(on_dm, grounds.forage_class, practice, margins),
        "margins": {
            "rows": margins_told,
            "words": margin_words(hay, margins_told),
            "shared": shared_errors(hay.budget),
        },
        "cautions": _cautions(on_dm, dm, sample, events, practice),
        "remarks": _remarks(standing),
        "statements": _statements(practice),
    }


def _customer(sample: Sample) -> dict[str, Any]:
    producer = sample.lot.field.producer
    return {"name": producer.name, "place": producer.place, "phone": producer.phone}


def _lot(sample: Sample) -> dict[str, Any]:
    lot, facts = sample.lot, facts_of(sample.lot)
    return {
        "number": lot.id,
        "field": lot.field.name,
        "cutting": lot.cutting,
        "season": lot.season,
        "part": lot.part,
        "forage": lot.forage,
        "forage_class": FORAGE_KINDS[lot.forage],
        "harvested": lot.harvested.isoformat(),
        "bale_shape": lot.bale_shape,
        "bale_count": lot.bale_count,
        "bale_mass": format(facts.bale_mass if facts.bale_mass is not None else bale_pounds(facts), "f"),
        "bale_mass_unit": "kg" if facts.bale_mass is not None and facts.bale_mass_unit == "kg" else "lb",
        "mass_assumed": mass_is_assumed(facts),
        "short_tons": format(to_places(mass_short_tons(facts), 1), "f"),
        "storage": lot.storage,
    }


def _sample(sample: Sample, events: list[Event], code: str | None) -> dict[str, Any]:
    received = _last(events, "received")
    tests = [event for event in events if event.kind in ("fresh weighed", "scanned", "analysed outside")]
    cored = _last(events, "cored")
    return {
        "code": payload.shown(code) if code else None,
        "number": sample.number,
        "sampled_at": cored.occurred_at.isoformat() if cored else None,
        "received_at": received.occurred_at.isoformat() if received else None,
        "received_condition": ", ".join(received.data.get("condition") or []) if received else "",
        "tested_from": tests[0].occurred_at.isoformat() if tests else None,
        "tested_to": tests[-1].occurred_at.isoformat() if tests else None,
    }


def _last(events: list[Event], kind: str) -> Event | None:
    return next((event for event in reversed(events) if event.kind == kind), None)


def _plan(plan: CoringPlan) -> dict[str, Any]:
    return {
        "version": plan.version,
        "seed": plan.seed,
        "cores": plan.cores,
        "entry": plan.entry,
        "probe": f"{plan.probe.name}, {plan.probe.inside_mm} mm inside",
        "depth_mm": format(plan.depth_mm, "f"),
        "mass_g": format(plan.mass_g, "f"),
        "fewer_cores_reason": plan.fewer_cores_reason,
        "cp_margin": format(to_places(plan.cp_margin, 1), "f"),
        "ndf_margin": format(to_places(plan.ndf_margin, 1), "f"),
    }


def _cored(
    taken: Cored | None, events: list[Event], steps: tuple[Any, ...], sds: Sds
) -> dict[str, Any] | None:
    event = _last(events, "cored")
    if event is None or taken is None:
        return None
    cp, ndf = (_expected(code, taken, sds) for code in ("CP", "NDF"))
    return {
        "cores": int(event.data["cores_taken"]),
        "entry": event.data["entry"],
        "by": next(step.by for step in steps if step.kind == "cored"),
        "started_at": event.data.get("started_at"),
        "ended_at": event.occurred_at.isoformat(),
        "deviations": event.data.get("deviations") or [],
        "composite_g": event.data.get("composite_g"),
        "cp_margin": cp,
        "ndf_margin": ndf,
    }


def _expected(code: str, taken: Cored, sds: Sds) -> str:
    """± of the lot's mean to expect from these cores, whoever will analyse them."""
    between, within, dof = sds.field_sds(code, Decimal(0)) or (Decimal(0), Decimal(0), None)
    lab = default_lab_sd(code, Decimal(0), practice=sds.practice)
    whole = None if dof is None else int(dof)
    return format(
        to_places(lot_mean_margin(between, within, taken.bales, taken.cores, lab, dof=whole).half_width, 1),
        "f",
    )


def _result(
    code: str,
    standing: tuple[Analysis, ResultValue],
    on_dm: Value | None,
    dm: DryMatter,
    margins: Mapping[str, Margin],
) -> dict[str, Any]:
    row, value = standing
    known = CONSTITUENTS[code]
    source = row.file.map.source
    wet = _as_received(on_dm, dm)
    return {
        "code": code,
        "name": known.name,
        # A share of something else than the hay says so in its unit, and has no as-received value.
        "unit": known.note if code in NOT_CONVERTED and known.unit == "%" else known.unit,
        "dm": None if on_dm is None else format(to_places(on_dm.value, known.decimals), "f"),
        "ar": None if wet is None else format(to_places(wet.value, known.decimals), "f"),
        # What is only known to be below or above a limit has no interval about it.
        "margin": None if value.qualifier else shown_margin(margins, code, known.decimals),
        "ar_margin": None if value.qualifier else as_received_margin(margins, code, known.decimals),
        "decimals": known.decimals,
        "method": value.method,
        "calibration": value.calibration,
        "source": source.name,
        "outside": source.kind == "laboratory",
        "basis_given": value.basis,
        "value_given": format(value.value, "f"),
        "unit_given": value.unit,
        "qualifier": value.qualifier,
        "scanned_at": row.scanned_at,
        "flags": [finding["words"] for finding in row.findings if code in finding.get("constituents", ())],
        "changed": False,
    }


def _as_received(on_dm: Value | None, dm: DryMatter) -> Value | None:
    if on_dm is None or dm.total is None or on_dm.code in NOT_CONVERTED:
        return None
    return analysis.to_as_received(on_dm, dm.total.value)


def _derived(
    on_dm: Mapping[str, Value], forage_class: str, practice: Practice, margins: Mapping[str, Margin]
) -> list[dict[str, Any]]:
    values = {code: value.value for code, value in on_dm.items()}
    return [
        {
            "code": one.code,
            "name": one.name,
            "value": None if one.value is None else format(to_places(one.value, one.decimals), "f"),
            "margin": shown_margin(margins, one.code, one.decimals),
            "unit": one.unit,
            "basis": one.basis,
            "formula": one.formula,
            "source": one.source,
            "missing": list(one.missing),
            "changed": False,
        }
        for one in results.derive(values, forage_class, practice)
    ]


def _cautions(
    on_dm: Mapping[str, Value], dm: DryMatter, sample: Sample, events: list[Event], practice: Practice
) -> list[dict[str, Any]]:
    received = _last(events, "received")
    conditions = tuple(received.data.get("condition") or ()) if received else ()
    values = {code: value.value for code, value in on_dm.items()}
    total = dm.total.value if dm.total else None
    celsius = received.data.get("temperature_c") if received else None
    found = (
        *cautions.cautions_for(
            values,
            total,
            sample.lot.bale_shape,
            conditions,
            forage_class=FORAGE_KINDS[sample.lot.forage],
            practice=practice,
        ),
        *(cautions.hot_hay(Decimal(celsius)) if celsius else ()),
    )
    return [
        {
            "about": _beside(one.topic, values),
            "code": one.code,
            "topic": one.topic,
            "words": one.words,
            "source": one.source,
        }
        for one in found
    ]


def _beside(topic: str, values: Mapping[str, Decimal]) -> str:
    """What a caution stands beside: a constituent's code, "dry matter", or "lot"."""
    if topic == "nitrate":
        # Where none was measured, high protein is the reason to test.
        return next((form for form in NITRATE_FORMS if form in values), "CP")
    return {"heat damage": "ADICP", "moisture": "dry matter", "soil": "ash"}.get(topic, "lot")


def _remarks(standing: Mapping[str, tuple[Analysis, ResultValue]]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for row, _ in standing.values():
        for finding in row.findings:
            found.setdefault(finding["words"], {name: finding[name] for name in ("code", "level", "words")})
    return list(found.values())


def _statements(practice: Practice) -> list[str]:
    limits = f"{practice.number('dm_least')} to {practice.number('dm_most')} %"
    return [
        "The results relate only to the sample named above, as it was received.",
        "The sample was taken by this programme under the coring plan above; what was cored otherwise is said there.",
        "A margin (±) covers 95 of 100 cases; what it takes in is said under Margins. A dash means that no margin is "
        "known, not that it is zero.",
        f"A remark is set when a value lies outside the limits of the programme's practice (dry matter {limits}, "
        f"GH above {practice.number('gh_limit')}); no allowance is made for the margin.",
        "Values marked as from outside were measured by the laboratory named and are given as it returned them.",
        "Calculated values are not measured. Each names its formula and source; values by different formulas must "
        "not be compared.",
        "The cautions are the usual ones. Local codes, the veterinarian and licensed advice come first.",
        "This report may be copied only in full.",
    ]
