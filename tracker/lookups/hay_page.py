"""All that a producer's page shows of one lot: whose hay, where its sample stands, and the report's figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.analysis import DRY_MATTER
from tracker.domain.custody import fold, that_count
from tracker.domain.hay_standing import COMING, HayStanding, due_words, hay_standing
from tracker.domain.plain_cautions import caution_said
from tracker.domain.plain_custody import custody_said
from tracker.domain.plain_names import FIRST, meaning
from tracker.domain.results import headline_tdn
from tracker.errors import NotFound
from tracker.lookups.issued_reports import Issued, latest_version
from tracker.lookups.sample_way import Way, way_of
from tracker.lookups.turnaround import expected_for
from tracker.storage.coring import Sample, sample_with_lot, samples_of
from tracker.storage.custody import events_of
from tracker.storage.lots import Lot, lot_numbered
from tracker.storage.people import party_names
from tracker.storage.results import latest_report

NOT_CORED = HayStanding(COMING, "This hay is not cored yet.", "Call us to set a day.")
# Units as people write them; the record keeps UCUM.
_UNITS = {"Mcal/[lb_av]": "Mcal/lb", "[pH]": "", "1": "", "{index}": ""}
_DM, _WET = "of dry matter", "of the hay as it is"


@dataclass(frozen=True)
class Number:
    """One figure with what it is, and the cautions that stand beside it. value, margin, wet: text with its digits."""

    code: str
    name: str
    tells: str
    value: str
    margin: str
    unit: str
    basis: str
    wet: str
    measured: bool
    source: str
    changed: bool
    cautions: tuple[str, ...]

    @property
    def first(self) -> bool:
        """Whether it is read first: by what it is, or because a caution stands beside it."""
        return self.code in FIRST or bool(self.cautions)


@dataclass(frozen=True)
class Handled:
    """Who did what with the sample, and when, at the offset of whoever noted it."""

    at: datetime
    by: str
    words: str


@dataclass(frozen=True)
class HayPage:
    """One lot for its producer. due: when to expect the answer, in sentences; report None before the first."""

    lot: int
    producer: str
    field: str
    cutting: int
    part: str
    season: int
    forage: str
    harvested: date
    bales: str
    bag: str
    standing: HayStanding
    due: tuple[str, ...]
    way: Way | None
    custody: tuple[Handled, ...]
    report: Issued | None
    numbers: tuple[Number, ...]
    cautions: tuple[str, ...]

    @property
    def title(self) -> str:
        """Which hay: field and cutting."""
        return f"{self.field}, cutting {self.cutting}" + (f", {self.part}" if self.part else "")


def hay_page(session: Session, lot_id: int, now: datetime) -> HayPage:
    """The lot as its producer sees it now. Raises NotFound `unknown-lot`."""
    lot = lot_numbered(session, lot_id)
    sample = sample_to_show(session, lot_id)
    if sample is None:
        return _page(lot, NOT_CORED, (), None, (), None, "")
    events = that_count(events_of(session, sample.id))
    report = latest_version(session, sample.id)
    folded = fold(events)
    standing = hay_standing(events, folded, report is not None)
    due: tuple[str, ...] = ()
    if standing.kind == COMING:
        due = due_words(expected_for(session, events, now.astimezone()))
    way, names = way_of(session, sample), party_names(session)
    said = ((event, custody_said(event.kind, event.data, names)) for event in events)
    custody = tuple(
        Handled(event.occurred_at, names.get(event.by, event.by), words) for event, words in said if words
    )
    return _page(lot, standing, due, way, custody, report, (folded.code or "")[-4:])


def sample_to_show(session: Session, lot_id: int) -> Sample | None:
    """The newest of the lot's samples that has a report, else its newest; None before any is planned."""
    samples = samples_of(session, lot_id)
    with_report = [sample for sample in samples if latest_report(session, sample.id) is not None]
    chosen = (with_report or list(samples))[-1:]
    return sample_with_lot(session, chosen[0].id) if chosen else None


def latest_of_lot(session: Session, lot_id: int) -> Issued:
    """The report that the lot's page shows. Raises NotFound `no-report`."""
    sample = sample_to_show(session, lot_id)
    found = latest_version(session, sample.id) if sample is not None else None
    if found is None:
        raise NotFound(
            "no-report", "There is no report of this hay yet.", field="lot", remedy="Look again later."
        )
    return found


def _page(
    lot: Lot,
    standing: HayStanding,
    due: tuple[str, ...],
    way: Way | None,
    custody: tuple[Handled, ...],
    report: Issued | None,
    bag: str,
) -> HayPage:
    body: Mapping[str, Any] = report.body if report is not None else {}
    placed = numbers(body)
    return HayPage(
        lot=lot.id,
        producer=lot.field.producer.name,
        field=lot.field.name,
        cutting=lot.cutting,
        part=lot.part,
        season=lot.season,
        forage=lot.forage,
        harvested=lot.harvested,
        bales=f"{lot.bale_count} {lot.bale_shape} bales",
        bag=bag,
        standing=standing,
        due=due,
        way=way,
        custody=custody,
        report=report,
        numbers=placed,
        cautions=_loose(body, placed),
    )


def numbers(body: Mapping[str, Any]) -> tuple[Number, ...]:
    """The report's figures, those that are read first at the head, each with its cautions."""
    found = [*_dry_matter(body), *_measured(body), *_calculated(body)]
    order = {code: place for place, code in enumerate(FIRST)}
    return tuple(sorted(found, key=lambda one: order.get(one.code, len(order))))


def _dry_matter(body: Mapping[str, Any]) -> list[Number]:
    dry = body.get("dry_matter") or {}
    if not dry.get("total"):
        return []
    name, tells = meaning("total DM", "")
    cautions = _about(body, "dry matter", "dm", "total", "partial")
    return [
        Number(
            code="total DM",
            name=name,
            tells=tells,
            value=dry["total"],
            margin=dry.get("total_margin") or "",
            unit="%",
            basis=_WET,
            wet="",
            measured=True,
            source=str(dry.get("lab_source") or ""),
            changed=False,
            cautions=cautions,
        )
    ]


def _measured(body: Mapping[str, Any]) -> list[Number]:
    found = []
    for row in body.get("results") or ():
        name, tells = meaning(row["code"], row["name"])
        on_dm = row.get("dm") is not None
        found.append(
            Number(
                code=row["code"],
                name=name,
                tells=tells,
                value=str(row.get("dm") if on_dm else row.get("ar") or ""),
                margin=(row.get("margin") or "") if on_dm else "",
                unit=_UNITS.get(row["unit"], row["unit"]),
                basis=_DM if on_dm else _WET,
                wet=str(row.get("ar") or "") if on_dm else "",
                measured=True,
                source=", ".join(str(row[part]) for part in ("method", "source") if row.get(part)),
                changed=bool(row.get("changed")),
                cautions=_about(body, row["code"]),
            )
        )
    return [one for one in found if one.value]


def _calculated(body: Mapping[str, Any]) -> list[Number]:
    found = []
    known = [row for row in body.get("derived") or () if row.get("value") is not None]
    codes = {row["code"] for row in known}
    # There are several TDN by several formulas; one is the report's own, and the others keep their long names.
    headline = headline_tdn(codes)
    for row in known:
        code = "TDN" if row["code"] == headline else row["code"]
        name, tells = meaning(code, row["name"])
        unit = _UNITS.get(row["unit"], row["unit"])
        found.append(
            Number(
                code=code,
                name=name,
                tells=tells,
                value=row["value"],
                margin=row.get("margin") or "",
                unit=unit,
                basis=_basis(unit, row["basis"]),
                wet="",
                measured=False,
                source=row["formula"],
                changed=bool(row.get("changed")),
                cautions=_about(body, row["code"]),
            )
        )
    return found


def _basis(unit: str, basis: str) -> str:
    if basis == DRY_MATTER:
        return _DM
    return f"of {basis}" if unit else f"a rank: {basis}"


def _about(body: Mapping[str, Any], *names: str) -> tuple[str, ...]:
    wanted = {name.casefold() for name in names}
    rows = body.get("cautions") or ()
    return tuple(caution_said(row) for row in rows if str(row.get("about") or "").casefold() in wanted)


def _loose(body: Mapping[str, Any], placed: tuple[Number, ...]) -> tuple[str, ...]:
    """Cautions about the lot itself, or about a value that the report does not show."""
    beside = {words for one in placed for words in one.cautions}
    said = (caution_said(row) for row in body.get("cautions") or ())
    return tuple(dict.fromkeys(words for words in said if words not in beside))
