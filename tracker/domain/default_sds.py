"""How far hay and laboratories scatter, by default: the standard deviations that every margin starts from.

Each number is a rule of the programme's practice and may be replaced by its own. Published figures are few; what
could not be found is marked as from memory or as our choice, and is there to be replaced.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class SdRule:
    """One number of practice; see practice.Rule. least, most: what it may be at all."""

    name: str
    default: Decimal
    unit: str
    decides: str
    source: str
    least: Decimal = Decimal(0)
    most: Decimal | None = None


_COLLINS = "our split of Collins 2000 ({} in all, quoted by Undersander 2007)"
_ORLOFF = "; Orloff 1999 finds more variation within bales than between"
_MEMORY = "from memory, no published figure found; replace it by your own duplicates"
_LEAF = "leaf holds the protein and stem the fiber; the size is our choice, from memory"

# Constituent; SD between bales, between cores of one bale, of the laboratory, in points of dry matter; how far
# its deviation in a core goes with the leaf that the core holds; then the three sources.
_PUBLISHED = (
    (
        "CP",
        "crude protein",
        ("0.5", "0.62", "0.2", "0.8"),
        _COLLINS.format("0.8") + _ORLOFF,
        "NFTA method 3.4: replicate SD 0.20 at 20 % CP",
    ),
    (
        "NDF",
        "NDF",
        ("1.25", "1.56", "0.75", "-0.85"),
        _COLLINS.format("2.0") + _ORLOFF,
        "Shewmaker & Putnam: least honest error 1.5 % NDF, read as 95 %",
    ),
    (
        "ADF",
        "ADF",
        ("1.06", "1.33", "0.5", "-0.85"),
        "1.5 to 2.0 in all from memory, weak; split as for NDF",
        "Shewmaker & Putnam: least honest error 1 % ADF, read as 95 %",
    ),
    (
        "ADL",
        "lignin",
        ("0.3", "0.4", "0.35", "-0.7"),
        _MEMORY,
        "Moller 2009: repeatability SD 0.08 to 0.59, about the middle",
    ),
    ("ash", "ash", ("0.45", "0.55", "0.2", "0.3"), _MEMORY, _MEMORY),
    ("EE", "crude fat", ("0.15", "0.2", "0.15", "0.5"), _MEMORY, _MEMORY),
    ("NDICP", "protein bound to NDF", ("0.25", "0.3", "0.25", "0"), _MEMORY, _MEMORY),
    ("ADICP", "protein bound to ADF", ("0.1", "0.12", "0.15", "0"), _MEMORY, _MEMORY),
    ("NDFD48", "NDF digested in 48 h", ("1.2", "1.5", "1.5", "0.5"), _MEMORY, _MEMORY),
)
PUBLISHED = frozenset(row[0] for row in _PUBLISHED)
TOTAL_DM = "total DM"


def slug(code: str) -> str:
    """The start of a constituent's rule names: cp for CP."""
    return "dm" if code in (TOTAL_DM, "DM") else code.lower().replace("-", "_")


def _of(code: str, name: str, numbers: tuple[str, ...], field: str, lab: str) -> tuple[SdRule, ...]:
    between, within, laboratory, leaf = (Decimal(text) for text in numbers)
    start = slug(code)
    basis = "% of NDF" if code == "NDFD48" else "dry matter basis"
    calibration = "none until you set it: take the SEP from the calibration's papers"
    return (
        SdRule(f"{start}_sd_between", between, "%", f"SD of {name} between bales of one lot, {basis}", field),
        SdRule(f"{start}_sd_within", within, "%", f"SD of {name} between cores of one bale, {basis}", field),
        SdRule(f"{start}_lab_sd", laboratory, "%", f"SD of the laboratory for {name}, {basis}", lab),
        SdRule(
            f"{start}_calibration_sd",
            Decimal(0),
            "%",
            f"SD of a scan's {name} about chemistry beyond the laboratory's, {basis}",
            calibration,
        ),
        SdRule(
            f"{start}_leaf",
            leaf,
            "1",
            f"how far {name} of a core goes with its leaf: 1 wholly, -1 with its stem",
            _LEAF,
            Decimal(-1),
            Decimal(1),
        ),
    )


_DRY_MATTER = (
    SdRule(
        "dm_sd_between",
        Decimal("0.8"),
        "%",
        "SD of dry matter between bales of one lot, as received",
        "common practice: cured bales of one lot differ by a point or two of moisture",
    ),
    SdRule(
        "dm_sd_within",
        Decimal("1.0"),
        "%",
        "SD of dry matter between cores of one bale, as received",
        _MEMORY,
    ),
    SdRule(
        "dm_lab_sd",
        Decimal("0.3"),
        "%",
        "SD of the laboratory for the dry matter of the portion analysed",
        "the duplicates 23.2 and 22.8 % of Mekarn's laboratory manual give 0.28; one pair, weak",
    ),
)

_RELATIVE = tuple(
    SdRule(name, Decimal(default), "%", f"SD of {what}, in % of the value", _MEMORY)
    for name, default, what in (
        ("nitrate_cv_between", "15", "nitrate between bales of one lot"),
        ("nitrate_cv_within", "20", "nitrate between cores of one bale"),
        ("sugar_cv_between", "6", "sugars and starch between bales of one lot"),
        ("sugar_cv_within", "8", "sugars and starch between cores of one bale"),
        ("mineral_cv_between", "8", "a mineral between bales of one lot"),
        ("mineral_cv_within", "10", "a mineral between cores of one bale"),
    )
)

_WEIGHT = (
    SdRule(
        "sd_prior_dof",
        Decimal(10),
        "1",
        "how many repeats a default SD counts for beside the programme's own",
        "our choice: a default is worth ten duplicate pairs",
        Decimal(1),
    ),
    SdRule(
        "sd_own_least",
        Decimal(5),
        "1",
        "fewest repeats from which the programme's own SD is taken",
        "our choice: one sample scanned again in doubt is no measure of a laboratory",
        Decimal(1),
    ),
)

SD_RULES = (*(rule for row in _PUBLISHED for rule in _of(*row)), *_DRY_MATTER, *_RELATIVE, *_WEIGHT)


def relative_family(code: str) -> str | None:
    """The start of the rules for a constituent whose SDs are a share of its value; None where none is known."""
    if code in ("NO3", "NO3-N", "KNO3"):
        return "nitrate"
    if code in ("WSC", "ESC", "starch"):
        return "sugar"
    return "mineral" if code in ("Ca", "P", "K", "Mg", "S", "Na", "Cl", "Fe", "Zn", "Cu", "Mn") else None


def horwitz_sd(value: Decimal, unit: str) -> Decimal:
    """The SD between laboratories to expect at a value, whatever is measured; value in % or mg/kg, SD in the same.

    SD / value = 0.02 C^-0.1505 with C the mass fraction: 4 % at 1 % of calcium, 5.6 % at 1000 mg/kg. Source:
    Horwitz, Kamps & Boyer, J. AOAC 63 (1980) 1344, from memory. Zero has an SD of zero.
    """
    if value <= 0:
        return Decimal(0)
    fraction = value / (100 if unit == "%" else 1_000_000)
    return value * Decimal("0.02") * fraction ** Decimal("-0.1505")
