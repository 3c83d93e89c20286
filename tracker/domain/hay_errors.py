"""The error budget of one sample: from the cores as really taken to the values on dry matter.

Bales differ, cores of one bale differ, and in both the leaf a core holds moves protein and fiber in opposite
directions; the laboratory errs for each constituent apart; the dry matter of the portion moves every value that was
turned by it; the weighings move the dry matter of the hay.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal as D

from tracker.domain.analysis import CONSTITUENTS, NOT_CONVERTED
from tracker.domain.default_sds import TOTAL_DM
from tracker.domain.error_budget import BALES, CALIBRATION, CORES, LABORATORY, WEIGHING, Budget, Part, Source
from tracker.domain.own_sds import Sds
from tracker.domain.practice import Practice
from tracker.domain.precision import bale_share
from tracker.domain.results import derive_values


@dataclass(frozen=True)
class Measured:
    """One value on dry matter in its constituent's unit.

    source: who measured it; scanned: whether by a calibration; portion, portion_dm: which analysis's dry matter
    (%) turned it to this basis, None where it was given so.
    """

    code: str
    value: D
    source: str
    scanned: bool = False
    portion: str | None = None
    portion_dm: D | None = None


@dataclass(frozen=True)
class Moisture:
    """Where the total dry matter (%) comes from: partial (%, with the u of its weighings), lab, and whose that is.

    partial is 100 with a u of 0 where the hay skipped the first oven.
    """

    total: D
    partial: D
    partial_u: D
    lab: D
    source: str
    portion: str


@dataclass(frozen=True)
class Cored:
    """The cores of each cored bale, and the bales of the lot."""

    cores: tuple[int, ...]
    bales: int


def hay_errors(measured: Sequence[Measured], cored: Cored, moisture: Moisture | None, sds: Sds) -> Budget:
    """All values of the sample, "total DM" (% as received) among them, and all errors known of them.

    A constituent with no known spread is a value without a source. Raises what precision.bale_share raises.
    """
    values = {one.code: one.value for one in measured}
    if moisture is not None:
        values[TOTAL_DM] = moisture.total
    sources = [*_leaf(values, cored, sds), *_own(measured, moisture, cored, sds)]
    sources += _portions(measured, moisture, sds)
    if moisture is not None and moisture.partial_u:
        by_weight = moisture.lab / 100 * moisture.partial_u
        sources.append(Source("weighing", {TOTAL_DM: by_weight}, (Part(WEIGHING),)))
    return Budget(values, tuple(source for source in sources if source.shifts))


def _field_u(code: str, value: D, cored: Cored, sds: Sds) -> tuple[D, D, float | None] | None:
    """Standard uncertainty of the composite by bales and by cores, and the degrees of freedom of both."""
    found = sds.field_sds(code, value)
    if found is None:
        return None
    between, within, dof = found
    return between * bale_share(cored.cores, cored.bales).sqrt(), within / D(sum(cored.cores)).sqrt(), dof


def _leaf(values: Mapping[str, D], cored: Cored, sds: Sds) -> list[Source]:
    """What the leaf in the bales and in the cores moves together."""
    shifts: dict[str, dict[str, D]] = {BALES: {}, CORES: {}}
    dofs: list[float] = []
    for code, value in values.items():
        leaf, found = sds.leaf(code), _field_u(code, value, cored, sds)
        if not leaf or found is None:
            continue
        bales, cores, dof = found
        shifts[BALES] |= {code: leaf * bales} if bales else {}
        shifts[CORES] |= {code: leaf * cores}
        dofs += [] if dof is None else [dof]
    # Several estimates stand behind the one source; the poorest decides.
    worst = min(dofs, default=None)
    return [Source(f"leaf {kind}", moved, (Part(kind, D(1), worst),)) for kind, moved in shifts.items()]


def _own(measured: Sequence[Measured], moisture: Moisture | None, cored: Cored, sds: Sds) -> list[Source]:
    """What moves one value alone, its parts told apart by their shares."""
    found = []
    for one in measured:
        parts = _field_parts(one.code, one.value, cored, sds)
        if not parts:
            continue
        lab, dof = sds.lab_sd(one.code, one.value, one.source, CONSTITUENTS[one.code].unit)
        parts.append((LABORATORY, lab**2, dof))
        if one.scanned:
            parts.append((CALIBRATION, sds.calibration_sd(one.code) ** 2, None))
        found.append(_together(one.code, parts))
    if moisture is not None:
        found.append(_together(TOTAL_DM, _field_parts(TOTAL_DM, moisture.total, cored, sds)))
    return found


def _field_parts(code: str, value: D, cored: Cored, sds: Sds) -> list[tuple[str, D, float | None]]:
    found = _field_u(code, value, cored, sds)
    if found is None:
        return []
    bales, cores, dof = found
    apart = 1 - sds.leaf(code) ** 2
    return [(BALES, apart * bales**2, dof), (CORES, apart * cores**2, dof)]


def _together(code: str, parts: Sequence[tuple[str, D, float | None]]) -> Source:
    total = sum((variance for _, variance, _ in parts), D(0))
    if not total:
        return Source(code, {}, ())
    shares = tuple(Part(kind, variance / total, dof) for kind, variance, dof in parts if variance)
    return Source(code, {code: total.sqrt()}, shares)


def _portions(measured: Sequence[Measured], moisture: Moisture | None, sds: Sds) -> list[Source]:
    """The dry matter of each portion: it moves what was turned by it, and the hay's if that rests on it."""
    portions = {one.portion: (one.portion_dm, one.source) for one in measured if one.portion is not None}
    if moisture is not None:
        portions[moisture.portion] = (moisture.lab, moisture.source)
    found = []
    for portion, (dm, source) in portions.items():
        if dm is None:
            continue
        u, dof = sds.lab_sd("DM", dm, source)
        turned = [one for one in measured if one.portion == portion and one.code not in NOT_CONVERTED]
        # Of X = given / (DM / 100) the derivative to DM is -X / DM.
        shifts = {one.code: -one.value / dm * u for one in turned}
        if moisture is not None and portion == moisture.portion:
            shifts[TOTAL_DM] = moisture.partial / 100 * u
        found.append(Source(f"dry matter of portion {portion}", shifts, (Part(LABORATORY, D(1), dof),)))
    return found


def received(code: str) -> str:
    """The code of a value as received."""
    return f"{code} as received"


def with_received(budget: Budget) -> Budget:
    """With every value that can be said of the hay as received, in the same unit."""
    if TOTAL_DM not in budget.values:
        return budget
    codes = [code for code in budget.values if code in CONSTITUENTS and code not in NOT_CONVERTED]
    return budget.extended(lambda k: {received(code): k[code] * k[TOTAL_DM] / 100 for code in codes})


def with_derived(budget: Budget, forage_class: str, practice: Practice) -> Budget:
    """With every value that results.derive can calculate. Raises what that raises."""

    def work_out(known: Mapping[str, D]) -> dict[str, D]:
        values = {code: value for code, value in known.items() if code in CONSTITUENTS}
        return derive_values(values, forage_class, practice)

    return budget.extended(work_out)
