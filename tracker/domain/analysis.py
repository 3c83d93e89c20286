"""What a scan or a laboratory measures in hay, on which basis, and whether its values can be true together.

A percentage says nothing until it is known of what: of the hay as received, of the portion analysed, or of its
dry matter. Conversion is X(dry matter) = X / (DM / 100), with the dry matter of the same material (Montana
State Univ., MontGuide MT201609AG). Nitrate is reported in three forms whose numbers differ 7-fold, so each
form is a constituent of its own.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from tracker.errors import Refused

DRY_MATTER, AS_RECEIVED, AS_ANALYSED = "dry matter", "as received", "as analysed"
BASES = (DRY_MATTER, AS_RECEIVED, AS_ANALYSED)


@dataclass(frozen=True)
class Constituent:
    """One thing that is measured.

    unit: UCUM, the unit it is kept and shown in; least, most: what hay can have at all, in that unit, on any
    basis; decimals: worth showing; note: what it is; source: whose definition.
    """

    code: str
    name: str
    unit: str
    least: Decimal
    most: Decimal
    decimals: int
    note: str
    source: str


def _constituent(
    code: str, name: str, unit: str, span: str, decimals: int, note: str, source: str
) -> Constituent:
    least, most = (Decimal(end) for end in span.split())
    return Constituent(code, name, unit, least, most, decimals, note, source)


_NDSU = "NDSU Extension AS-1080, Interpreting forage analysis"
_AOAC = "AOAC methods, numbers from memory"
_MINERAL = "Plant tissue mineral analysis, common practice"
_NITRATE = "Univ. of Nebraska 2016, Nitrate-nitrogen or nitrate: know the difference"
_NIR = "NIR glossary of one calibration supplier; Garrido et al., Mahalanobis and related distances"

# The limits are our choice: wide enough for straw and for young leaf, narrow enough to catch a slip of scale.
CONSTITUENTS: dict[str, Constituent] = {
    one.code: one
    for one in (
        _constituent(
            "DM", "dry matter of the portion analysed", "%", "40 100", 1, "not the total", "NFTA method 2.2"
        ),
        _constituent(
            "CP",
            "crude protein",
            "%",
            "2 40",
            1,
            "6.25 x nitrogen",
            "Oklahoma State Univ., Alfalfa hay quality",
        ),
        _constituent("ADF", "acid detergent fiber", "%", "10 65", 1, "cellulose and lignin", _NDSU),
        _constituent(
            "NDF", "neutral detergent fiber (aNDF)", "%", "15 90", 1, "ADF and hemicellulose", _NDSU
        ),
        _constituent("ADL", "lignin", "%", "0.5 20", 1, "acid detergent lignin", _AOAC),
        _constituent(
            "ash", "ash", "%", "1 40", 1, "minerals of the plant, and soil", "Undersander, Ash in forage"
        ),
        _constituent("EE", "crude fat", "%", "0.1 10", 1, "ether extract", _AOAC),
        _constituent(
            "NDICP", "protein bound to NDF", "%", "0 20", 1, "crude protein in the NDF, % of hay", _NDSU
        ),
        _constituent(
            "ADICP", "protein bound to ADF", "%", "0 15", 1, "crude protein in the ADF, % of hay", _NDSU
        ),
        _constituent(
            "NDFD48", "NDF digested in 48 h", "%", "5 95", 1, "% of NDF", "Georgia Forages glossary, TDN"
        ),
        _constituent(
            "WSC", "water-soluble carbohydrates", "%", "0 40", 1, "sugars and fructan", "from memory"
        ),
        _constituent("ESC", "ethanol-soluble carbohydrates", "%", "0 30", 1, "simple sugars", "from memory"),
        _constituent("starch", "starch", "%", "0 40", 1, "high in small grains with heads", "from memory"),
        _constituent("Ca", "calcium", "%", "0.02 4", 2, "", _MINERAL),
        _constituent("P", "phosphorus", "%", "0.02 1.5", 2, "", _MINERAL),
        _constituent("K", "potassium", "%", "0.1 8", 2, "", _MINERAL),
        _constituent("Mg", "magnesium", "%", "0.02 1.5", 2, "", _MINERAL),
        _constituent("S", "sulfur", "%", "0.02 1.5", 2, "", _MINERAL),
        _constituent("Na", "sodium", "%", "0 3", 2, "", _MINERAL),
        _constituent("Cl", "chloride", "%", "0 5", 2, "", _MINERAL),
        _constituent("Fe", "iron", "mg/kg", "5 20000", 0, "much of it may be soil", _MINERAL),
        _constituent("Zn", "zinc", "mg/kg", "1 1000", 0, "", _MINERAL),
        _constituent("Cu", "copper", "mg/kg", "0.5 300", 0, "", _MINERAL),
        _constituent("Mn", "manganese", "mg/kg", "2 3000", 0, "", _MINERAL),
        _constituent("NO3", "nitrate", "mg/kg", "0 80000", 0, "as nitrate, NO3", _NITRATE),
        _constituent("NO3-N", "nitrate nitrogen", "mg/kg", "0 18000", 0, "nitrogen in nitrate", _NITRATE),
        _constituent(
            "KNO3", "nitrate as potassium nitrate", "mg/kg", "0 130000", 0, "older reports", _NITRATE
        ),
        _constituent("pH", "pH", "[pH]", "3 9", 1, "for wrapped hay", "from memory"),
        _constituent(
            "GH", "global distance of the spectrum", "1", "0 1000", 1, "from the calibration's mean", _NIR
        ),
        _constituent(
            "NH", "neighbour distance of the spectrum", "1", "0 1000", 1, "from the nearest sample", _NIR
        ),
    )
}

# What is no share of the hay's mass keeps its value on every basis; DM itself is what the bases differ by.
NOT_CONVERTED = frozenset(("DM", "NDFD48", "pH", "GH", "NH"))

# How much of one milligram per kilogram each unit is worth.
_MG_PER_KG = {
    "mg/kg": Decimal(1),
    "ppm": Decimal(1),
    "[ppm]": Decimal(1),
    "[lb_av]/[ston_av]": Decimal(500),
    "g/kg": Decimal(1000),
    "%": Decimal(10_000),
}

# Atomic weights N 14.007, O 15.999, K 39.098 (IUPAC abridged, from memory).
_N, _NO3, _KNO3 = Decimal("14.007"), Decimal("62.004"), Decimal("101.102")
NITRATE_FORMS = {"NO3": Decimal(1), "NO3-N": _NO3 / _N, "KNO3": _NO3 / _KNO3}


@dataclass(frozen=True)
class Value:
    """One measured value. unit: UCUM; basis: one of BASES; margin: half the interval at 95 %, in the same unit."""

    code: str
    value: Decimal
    unit: str
    basis: str
    method: str
    calibration: str | None = None
    margin: Decimal | None = None


def convert_unit(value: Decimal, from_unit: str, to_unit: str) -> Decimal:
    """The value in another unit: %, g/kg, mg/kg (ppm), pounds per short ton; any unit into itself.

    Raises Refused `unit-not-convertible`; a fraction ("1") is refused too, since 0.1 may as well be 0.1 %.
    """
    if from_unit == to_unit:
        return value
    if from_unit not in _MG_PER_KG or to_unit not in _MG_PER_KG:
        raise Refused(
            "unit-not-convertible",
            f"{from_unit!r} cannot be turned into {to_unit!r}.",
            field="unit",
            remedy=f"Convertible into one another are {', '.join(_MG_PER_KG)}.",
        )
    return value * _MG_PER_KG[from_unit] / _MG_PER_KG[to_unit]


def in_usual_unit(value: Value) -> Value:
    """The value in its constituent's own unit. Raises Refused `unit-not-convertible`."""
    unit = CONSTITUENTS[value.code].unit
    if value.unit == unit:
        return value
    margin = None if value.margin is None else convert_unit(value.margin, value.unit, unit)
    return replace(value, value=convert_unit(value.value, value.unit, unit), unit=unit, margin=margin)


def to_dry_matter(value: Value, dm_percent: Decimal) -> Value:
    """The value as a share of dry matter; dm_percent is the DM of the material it is a share of now.

    That is the total DM for as received, the lab DM for as analysed. Ratios and pH stay as they are. Raises
    Refused `not-a-dry-matter`, `unknown-basis`.
    """
    if _stays(value, DRY_MATTER):
        return value
    return _scaled(value, Decimal(100), _usable(dm_percent), DRY_MATTER)


def all_on_dry_matter(values: Mapping[str, Value]) -> dict[str, Value]:
    """The values of one analysis in their usual units on dry matter, by the DM that stands among them.

    A value as received or as analysed without such a DM is left out: by another portion's it would be a guess.
    """
    own = values.get("DM")
    found = {}
    for code, value in values.items():
        usual = in_usual_unit(value)
        if _stays(usual, DRY_MATTER):
            found[code] = usual
        elif own is not None:
            found[code] = to_dry_matter(usual, in_usual_unit(own).value)
    return found


def amounts_on_dry_matter(
    amounts: Mapping[str, Decimal], wet: Container[str]
) -> tuple[dict[str, Decimal], tuple[str, ...]]:
    """The same for bare amounts in usual units, those of `wet` on another basis: what could be turned, what not."""
    own = amounts.get("DM")
    if own is None:
        other = tuple([code for code in amounts if code in wet])
        return {code: amount for code, amount in amounts.items() if code not in wet}, other
    dm = _usable(own)
    turned = {
        code: _rescaled(amount, Decimal(100), dm) if code in wet else amount
        for code, amount in amounts.items()
    }
    return turned, ()


def to_as_received(value: Value, total_dm: Decimal) -> Value:
    """The value as a share of the hay as received, from dry matter; total_dm in %.

    Raises Refused `not-a-dry-matter`, `unknown-basis`, and `basis-not-convertible` for a value as analysed:
    it goes to dry matter by its lab DM first.
    """
    if _stays(value, AS_RECEIVED):
        return value
    if value.basis == AS_ANALYSED:
        raise Refused(
            "basis-not-convertible",
            f"{value.code} is given as analysed, and the portion analysed is drier than the hay as received.",
            field=value.code,
            remedy="Turn it into dry matter by the lab dry matter first.",
        )
    return _scaled(value, _usable(total_dm), Decimal(100), AS_RECEIVED)


def _stays(value: Value, basis: str) -> bool:
    if value.basis not in BASES:
        raise Refused(
            "unknown-basis",
            f"{value.basis!r} is not a basis.",
            field=value.code,
            remedy=f"Choose from {', '.join(BASES)}.",
        )
    return value.basis == basis or value.code in NOT_CONVERTED


def _usable(dm_percent: Decimal) -> Decimal:
    if not 0 < dm_percent <= 100:
        raise Refused(
            "not-a-dry-matter",
            f"{dm_percent} % is not a dry matter.",
            field="DM",
            remedy="It lies above 0 and up to 100 %. Was moisture given instead?",
        )
    return dm_percent


def _scaled(value: Value, times: Decimal, over: Decimal, basis: str) -> Value:
    margin = None if value.margin is None else _rescaled(value.margin, times, over)
    return replace(value, value=_rescaled(value.value, times, over), margin=margin, basis=basis)


def _rescaled(amount: Decimal, times: Decimal, over: Decimal) -> Decimal:
    # Multiplied before divided, so that 9.0 at 90 % is 10 and not a hair less.
    return amount * times / over


def as_nitrate(amount: Decimal, form: str) -> Decimal:
    """Nitrate (NO3) from one of NITRATE_FORMS, in the same unit: NO3 = 4.427 NO3-N = 0.613 KNO3.

    Univ. of Nebraska 2016 rounds the first factor to 4.43. Raises Refused `unknown-nitrate-form`.
    """
    if form not in NITRATE_FORMS:
        raise Refused(
            "unknown-nitrate-form",
            f"{form!r} is not a form of nitrate.",
            field="NO3",
            remedy=f"Ask the laboratory which of {', '.join(NITRATE_FORMS)} it reports; never guess.",
        )
    return amount * NITRATE_FORMS[form]


def nitrate_nitrogen(no3: Decimal) -> Decimal:
    """Nitrate nitrogen (NO3-N) from nitrate (NO3), in the same unit: a share of 0.226."""
    return no3 * _N / _NO3
