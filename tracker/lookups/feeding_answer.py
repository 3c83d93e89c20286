"""Whether a lot's hay carries animals, answered from its report as it was released.

What is printed is what is reckoned with, to the last digit shown: whoever holds the report can follow the sums.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.advice import Answer
from tracker.domain.animals import Animals
from tracker.domain.answer import answer
from tracker.domain.budget_spread import by_budget
from tracker.domain.cautions import Caution, cautions_for
from tracker.domain.feed import Feed
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import BaleCount, checked_count, counted
from tracker.domain.herd import Group, animals_on
from tracker.domain.practice import COMMON, Practice
from tracker.domain.results import headline_tdn
from tracker.domain.spread import Spread
from tracker.domain.units import GRAMS_PER_POUND, to_places
from tracker.errors import NotFound, Refused
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.groups import groups_of
from tracker.lookups.report_margins import budget_of
from tracker.storage.coring import samples_of
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import lot_numbered
from tracker.storage.results import ReportVersion, latest_report


def answer_for(session: Session, lot: int, animals: Animals, *, bales: BaleCount | None = None) -> Answer:
    """The answer for these animals on this lot, from its latest report.

    Raises NotFound `unknown-lot`, `no-report`, `fixtures-missing`, and as answer_from.
    """
    body = released_body(session, lot)
    return answer_from(body, animals, feeds_in_force(session), practice_in_force(session), bales=bales)


def answers_for_groups(session: Session, lot: int, on: date) -> tuple[tuple[Group, Answer], ...]:
    """The answer for each group of the lot's producer as it stands on that day, by the group's name.

    Raises as answer_for.
    """
    body = released_body(session, lot)
    feeds, practice = feeds_in_force(session), practice_in_force(session)
    lines = groups_of(session, lot_numbered(session, lot).field.producer.name)
    return tuple(
        (line.group, answer_from(body, animals_on(line.group, on), feeds, practice)) for line in lines
    )


def bales_as_fed(body: Mapping[str, Any], bales: str, days: str, head: int, **more: str | None) -> BaleCount:
    """Bales counted of this lot; a bale weighs what the report says unless bale_lb is given. waste: in %.

    Raises as domain.hay_eaten.checked_count.
    """
    lot = body["lot"]
    kilograms = lot["bale_mass_unit"] == "kg"
    usual = Decimal(lot["bale_mass"]) * (1000 / GRAMS_PER_POUND if kilograms else 1)
    return checked_count(
        bales=bales,
        days=days,
        bale_lb=more.get("bale_lb") or format(to_places(usual, 1), "f"),
        head=head,
        waste_percent=more.get("waste"),
    )


def answer_from(
    body: Mapping[str, Any],
    animals: Animals,
    feeds: Iterable[Feed],
    practice: Practice = COMMON,
    *,
    bales: BaleCount | None = None,
) -> Answer:
    """The answer from a report's body, released or about to be.

    Raises Refused `hay-unmeasured`, `hay-implausible`.
    """
    hay = hay_of(body)
    intakes = None if bales is None else counted(bales, hay)
    found = cautions_in(body, practice)
    return answer(animals, hay, feeds, found, practice, intakes=intakes, spread=_errors(hay, body))


def _errors(hay: Hay, body: Mapping[str, Any]) -> Spread | None:
    """How the hay's values err together, as the report keeps it; None for a report from before there was a budget."""
    budget = budget_of(body)
    return (
        by_budget(hay, budget, {"cp": hay.cp_by, "tdn": hay.tdn_by, "ndf": "NDF"}) if budget.sources else None
    )


def released_body(session: Session, lot: int) -> dict[str, Any]:
    """The body of the lot's latest report, of its newest sample that has one.

    Raises NotFound `unknown-lot`, and `no-report` where none was released yet.
    """
    lot_numbered(session, lot)
    reports = (latest_report(session, sample.id) for sample in reversed(samples_of(session, lot)))
    found: ReportVersion | None = next((row for row in reports if row is not None), None)
    if found is None:
        raise NotFound(
            "no-report",
            f"Nothing is released of lot {lot} yet, so there is nothing to feed by.",
            field="lot",
            remedy=f'See how far it has come: `tracker way "lot {lot}"`.',
        )
    body: dict[str, Any] = found.body
    return body


def hay_of(body: Mapping[str, Any]) -> Hay:
    """The hay as its report has it; protein is adjusted where heat has bound some.

    Raises Refused `hay-unmeasured` where dry matter, CP, NDF or every TDN is missing: nothing is guessed.
    """
    results = {row["code"]: row for row in body["results"]}
    derived = {row["code"]: row for row in body["derived"] if row["value"] is not None}
    tdn = derived.get(headline_tdn(derived) or "")
    measured = _measured(body, results, tdn)
    adjusted = derived.get("ACP")
    protein = {"dm": adjusted["value"], **_margin(adjusted)} if adjusted else results["CP"]
    assert tdn is not None
    report = body.get("report") or {}
    number = report.get("number")
    return Hay(
        dm=measured["dm"],
        cp=Decimal(protein["dm"]),
        tdn=measured["tdn"],
        ndf=measured["ndf"],
        cp_margin=_decimal(protein.get("margin") or results["CP"].get("margin")),
        tdn_margin=_decimal(tdn.get("margin")),
        ndf_margin=_decimal(results["NDF"].get("margin")),
        fat=_decimal(results.get("EE", {}).get("dm")),
        sulfur=_decimal(results.get("S", {}).get("dm")),
        tdn_by=tdn["code"],
        cp_by="ACP" if adjusted else "CP",
        report=f"report {number}" if number else "",
    )


def _margin(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"margin": row.get("margin")}


def _measured(
    body: Mapping[str, Any], results: Mapping[str, Mapping[str, Any]], tdn: Mapping[str, Any] | None
) -> dict[str, Decimal]:
    texts = {
        "dm": body["dry_matter"]["total"],
        "cp": results.get("CP", {}).get("dm"),
        "ndf": results.get("NDF", {}).get("dm"),
        "tdn": tdn["value"] if tdn else None,
    }
    missing = [name.upper() for name, text in texts.items() if text is None]
    if missing:
        raise Refused(
            "hay-unmeasured",
            f"The report lacks {', '.join(missing)}, and feeding is not guessed at.",
            field=missing[0],
            remedy="Have it analysed: dry matter, CP, ADF and NDF are the least.",
        )
    return {name: Decimal(text) for name, text in texts.items() if text is not None}


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def cautions_in(body: Mapping[str, Any], practice: Practice = COMMON) -> tuple[Caution, ...]:
    """The report's cautions, judged again from its values so that reports of every age say which is which."""
    values = {row["code"]: Decimal(row["dm"]) for row in body["results"] if row["dm"] is not None}
    lot, total = body["lot"], body["dry_matter"]["total"]
    seen = tuple(part for part in (body["sample"].get("received_condition") or "").split(", ") if part)
    judged = cautions_for(
        values,
        _decimal(total),
        lot["bale_shape"],
        seen,
        forage_class=lot["forage_class"],
        practice=practice,
    )
    hot = tuple(
        Caution("hot-hay", one["topic"], one["words"], one["source"])
        for one in body["cautions"]
        if one["topic"] == "hot hay" and one["words"] not in {each.words for each in judged}
    )
    return (*judged, *hot)
