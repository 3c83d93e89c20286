"""What follows from the measured values: protein, intake, feed value and energy, each by a published formula.

Every formula is a function of its own with its source, and has its heading in docs/formulas.md. All take and
give Decimals in % of dry matter unless they say otherwise, and round nothing. A value is derived only from
what was measured: where an input is missing, the result is missing too and says which.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal as D
from functools import cache

from tracker.domain.analysis import DRY_MATTER
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places
from tracker.errors import Refused

LEGUME, LEGUME_GRASS, COOL_GRASS, WARM_GRASS = "legume", "legume-grass", "cool grass", "warm grass"
FORAGE_CLASSES = (LEGUME, LEGUME_GRASS, COOL_GRASS, WARM_GRASS)

POUNDS_PER_KG = D("2.20462")
MCAL_PER_LB = "Mcal/[lb_av]"
HEADLINE_TDN = ("TDN-sum", "TDN-ADF-alfalfa", "TDN-ADF-hay")


@dataclass(frozen=True)
class Derived:
    """One derived value, unrounded; None where the constituents in `missing` were not measured.

    formula: as it was applied, in plain notation; decimals: worth showing.
    """

    code: str
    name: str
    value: D | None
    unit: str
    basis: str
    formula: str
    source: str
    decimals: int
    missing: tuple[str, ...] = ()

    @property
    def shown(self) -> D | None:
        """The value with the decimals worth showing, rounded half up; never for further sums."""
        return None if self.value is None else to_places(self.value, self.decimals)


def nitrogen_free_ndf(ndf: D, ndicp: D | None = None) -> D:
    """NDFn: NDF less the protein bound in it, or 0.93 NDF where that was not measured.

    Source: Georgia Forages glossary, TDN (Univ. of Georgia).
    """
    return D("0.93") * ndf if ndicp is None else ndf - ndicp


def fatty_acids(ee: D) -> D:
    """FA = EE - 1, never below zero. Source: Undersander, Ash in forage; NRC 2001 course handout (Wisconsin)."""
    return max(ee - 1, D(0))


def non_fiber_carbohydrate(cp: D, ndf: D, ee: D, ash: D, ndicp: D | None = None) -> D:
    """NFC = 100 - (NDFn + CP + EE + ash). Source: Georgia Forages glossary, TDN."""
    return 100 - (nitrogen_free_ndf(ndf, ndicp) + cp + ee + ash)


def adjusted_protein(cp: D, adicp: D, limit: D) -> D:
    """CP less what heat has bound beyond `limit` (% of CP); CP itself where the bound share is no more than that.

    Source of the rule: NDSU Extension AS-1080, which has 12; Univ. of Nebraska has 10. The formula is from memory.
    """
    allowed = limit / 100 * cp
    return cp - max(adicp - allowed, D(0))


def digestible_dry_matter(adf: D) -> D:
    """DDM = 88.9 - 0.779 ADF. Source: Utah State Univ., Relative feed value of alfalfa hay; NFTA appendix A3."""
    return D("88.9") - D("0.779") * adf


def intake_from_ndf(ndf: D) -> D:
    """DMI = 120 / NDF, % of body weight a day. Source: Utah State Univ., Relative feed value of alfalfa hay."""
    return 120 / ndf


def relative_feed_value(adf: D, ndf: D) -> D:
    """RFV = DDM x DMI / 1.29, an index; full-bloom alfalfa (ADF 41, NDF 53) is 100.

    Source: Utah State Univ., Relative feed value of alfalfa hay. It does not look at protein.
    """
    return digestible_dry_matter(adf) * intake_from_ndf(ndf) / D("1.29")


def tdn_from_adf_alfalfa(adf: D) -> D:
    """TDN = 82.38 - 0.7515 ADF, for alfalfa, western states.

    Source: Hay & Forage Grower, which prints 82.4 - 0.75 ADF; all decimals from memory. They give the TDN limits
    of the USDA AMS alfalfa guidelines from its ADF limits.
    """
    return D("82.38") - D("0.7515") * adf


def tdn_from_adf(adf: D) -> D:
    """TDN = 88.9 - 0.78 ADF, for any hay. Source: Oklahoma State Univ., Alfalfa hay quality."""
    return D("88.9") - D("0.78") * adf


def tdn_summative(cp: D, ndf: D, ee: D, ash: D, adl: D, adicp: D, ndicp: D | None = None) -> D:
    """TDN at maintenance as the sum of what is digested of each part, forage, processing factor 1.

    tdNFC + tdCP + 2.25 FA + tdNDF - 7, with tdNFC = 0.98 NFC, tdCP = CP exp(-1.2 ADICP / CP),
    tdNDF = 0.75 (NDFn - ADL) (1 - (ADL / NDFn)^0.667). Source: NRC, Nutrient Requirements of Dairy Cattle 2001,
    after Weiss et al. 1992; structure from a Univ. of Wisconsin course handout, coefficients from memory.
    """
    fiber = nitrogen_free_ndf(ndf, ndicp)
    carbohydrate = D("0.98") * non_fiber_carbohydrate(cp, ndf, ee, ash, ndicp)
    protein = cp * (D("-1.2") * adicp / cp).exp()
    # Fiber that is all lignin gives nothing, and the surface term has no meaning for it.
    open_fiber = max(fiber - adl, D(0))
    digested_fiber = D("0.75") * open_fiber * (1 - (adl / fiber) ** D("0.667")) if open_fiber else D(0)
    return carbohydrate + protein + D("2.25") * fatty_acids(ee) + digested_fiber - 7


def tdn_for_rfq_legume(cp: D, ndf: D, ee: D, ash: D, ndfd48: D, ndicp: D | None = None) -> D:
    """TDN for RFQ, legume and legume-grass; ndfd48 in % of NDF.

    0.98 NFC + 0.93 CP + 0.97 x 2.25 FA + NDFn NDFD / 100 - 7. Source: Georgia Forages glossary, TDN.
    """
    fiber = nitrogen_free_ndf(ndf, ndicp) * ndfd48 / 100
    carbohydrate = D("0.98") * non_fiber_carbohydrate(cp, ndf, ee, ash, ndicp)
    return carbohydrate + D("0.93") * cp + D("0.97") * D("2.25") * fatty_acids(ee) + fiber - 7


def tdn_for_rfq_grass(cp: D, ndf: D, ee: D, ash: D, ndfd48: D, ndicp: D | None = None) -> D:
    """TDN for RFQ, cool and warm grass; ndfd48 in % of NDF.

    0.98 NFC + 0.87 CP + 0.97 x 2.25 FA + NDFn NDFDp / 100 - 10, NDFDp = 22.7 + 0.664 NDFD. Source: Georgia
    Forages glossary, TDN.
    """
    fiber = nitrogen_free_ndf(ndf, ndicp) * (D("22.7") + D("0.664") * ndfd48) / 100
    carbohydrate = D("0.98") * non_fiber_carbohydrate(cp, ndf, ee, ash, ndicp)
    return carbohydrate + D("0.87") * cp + D("0.97") * D("2.25") * fatty_acids(ee) + fiber - 10


def intake_for_rfq_legume(ndf: D, ndfd48: D) -> D:
    """DMI for RFQ, legume and legume-grass, % of body weight: 120 / NDF + (NDFD - 45) x 0.374 / 1350 x 100.

    Source: Moore & Undersander 2002, from memory; 0.374 lb for each point of NDFD is Oba & Allen 1999.
    """
    return 120 / ndf + (ndfd48 - 45) * D("0.374") / 1350 * 100


def intake_for_rfq_grass(cp: D, adf: D, tdn: D) -> D:
    """DMI for RFQ, cool and warm grass, % of body weight, from the TDN for RFQ.

    -2.318 + 0.442 CP - 0.0100 CP^2 - 0.0638 TDN + 0.000922 TDN^2 + 0.180 ADF - 0.00196 ADF^2 - 0.00529 CP ADF.
    Source: Moore & Undersander 2002, from memory.
    """
    by_cp = D("0.442") * cp - D("0.0100") * cp**2
    by_tdn = D("0.000922") * tdn**2 - D("0.0638") * tdn
    by_adf = D("0.180") * adf - D("0.00196") * adf**2
    return D("-2.318") + by_cp + by_tdn + by_adf - D("0.00529") * cp * adf


def relative_forage_quality(dmi: D, tdn: D) -> D:
    """RFQ = DMI x TDN / 1.23, an index. Source: Univ. of Wisconsin, Relative Forage Quality."""
    return dmi * tdn / D("1.23")


def digestible_energy(tdn: D) -> D:
    """DE = 0.04409 TDN, Mcal/kg. Source: NRC, Nutrient Requirements of Beef Cattle 1996, p. 126."""
    return D("0.04409") * tdn


def metabolizable_energy(de: D) -> D:
    """ME = 0.82 DE, Mcal/kg. Source: NRC, Nutrient Requirements of Beef Cattle 1996, p. 126."""
    return D("0.82") * de


def net_energy_maintenance(me: D) -> D:
    """NEm = 1.37 ME - 0.138 ME^2 + 0.0105 ME^3 - 1.12, Mcal/kg from Mcal/kg. Source: NRC 1996, from memory."""
    return D("1.37") * me - D("0.138") * me**2 + D("0.0105") * me**3 - D("1.12")


def net_energy_gain(me: D) -> D:
    """NEg = 1.42 ME - 0.174 ME^2 + 0.0122 ME^3 - 1.65, Mcal/kg from Mcal/kg. Source: NRC 1996, from memory."""
    return D("1.42") * me - D("0.174") * me**2 + D("0.0122") * me**3 - D("1.65")


def net_energy_lactation(tdn: D) -> D:
    """NEl = 0.01114 TDN - 0.054, Mcal/lb (not kg). Source: NFTA appendix A3, Estimates of energy availability."""
    return D("0.01114") * tdn - D("0.054")


def per_pound(mcal_per_kg: D) -> D:
    """Mcal/kg as Mcal/lb."""
    return mcal_per_kg / POUNDS_PER_KG


_Known = Mapping[str, D]


@dataclass(frozen=True)
class _Formula:
    """What derive() needs to know: `needs` are codes measured or derived before, `{}` in text says what NDFn is."""

    code: str
    name: str
    needs: str
    compute: Callable[[_Known], D]
    text: str
    source: str
    unit: str = "%"
    basis: str = DRY_MATTER
    decimals: int = 1


_GEORGIA = "Georgia Forages glossary, TDN (Univ. of Georgia)"
_UTAH = "Utah State Univ., Relative feed value of alfalfa hay"
_MOORE = "Moore & Undersander 2002, from memory"
_BODY = "body weight, a day"


def _parts(k: _Known) -> tuple[D, D, D, D]:
    return k["CP"], k["NDF"], k["EE"], k["ash"]


# fmt: off
_ALWAYS = (
    _Formula("NFC", "non-fiber carbohydrate", "CP NDF EE ash",
             lambda k: non_fiber_carbohydrate(*_parts(k), k.get("NDICP")),
             "100 - (NDFn + CP + EE + ash), {}", _GEORGIA),
    _Formula("DDM", "digestible dry matter", "ADF", lambda k: digestible_dry_matter(k["ADF"]),
             "88.9 - 0.779 ADF", _UTAH),
    _Formula("DMI", "intake by NDF", "NDF", lambda k: intake_from_ndf(k["NDF"]),
             "120 / NDF", _UTAH, basis=_BODY, decimals=2),
    _Formula("RFV", "relative feed value", "ADF NDF", lambda k: relative_feed_value(k["ADF"], k["NDF"]),
             "DDM x DMI / 1.29", _UTAH, unit="1", basis="full-bloom alfalfa is 100", decimals=0),
    _Formula("TDN-sum", "TDN, sum of digested parts", "CP NDF EE ash ADL ADICP",
             lambda k: tdn_summative(*_parts(k), k["ADL"], k["ADICP"], k.get("NDICP")),
             "tdNFC + tdCP + 2.25 FA + tdNDF - 7, {}",
             "NRC dairy 2001 after Weiss et al. 1992; coefficients from memory"),
)
_TDN_ALFALFA = _Formula(
    "TDN-ADF-alfalfa", "TDN from ADF, alfalfa", "ADF", lambda k: tdn_from_adf_alfalfa(k["ADF"]),
    "82.38 - 0.7515 ADF", "Hay & Forage Grower (western alfalfa); last decimals from memory")
_TDN_HAY = _Formula(
    "TDN-ADF-hay", "TDN from ADF, any hay", "ADF", lambda k: tdn_from_adf(k["ADF"]),
    "88.9 - 0.78 ADF", "Oklahoma State Univ., Alfalfa hay quality")
_RFQ_LEGUME = (
    _Formula("TDN-RFQ-legume", "TDN for RFQ, legume", "CP NDF EE ash NDFD48",
             lambda k: tdn_for_rfq_legume(*_parts(k), k["NDFD48"], k.get("NDICP")),
             "0.98 NFC + 0.93 CP + 0.97 x 2.25 FA + NDFn NDFD / 100 - 7, {}", _GEORGIA),
    _Formula("DMI-RFQ-legume", "intake for RFQ, legume", "NDF NDFD48",
             lambda k: intake_for_rfq_legume(k["NDF"], k["NDFD48"]),
             "120 / NDF + (NDFD - 45) x 0.374 / 1350 x 100", _MOORE, basis=_BODY, decimals=2),
)
_RFQ_GRASS = (
    _Formula("TDN-RFQ-grass", "TDN for RFQ, grass", "CP NDF EE ash NDFD48",
             lambda k: tdn_for_rfq_grass(*_parts(k), k["NDFD48"], k.get("NDICP")),
             "0.98 NFC + 0.87 CP + 0.97 x 2.25 FA + NDFn (22.7 + 0.664 NDFD) / 100 - 10, {}", _GEORGIA),
    _Formula("DMI-RFQ-grass", "intake for RFQ, grass", "CP ADF TDN-RFQ-grass",
             lambda k: intake_for_rfq_grass(k["CP"], k["ADF"], k["TDN-RFQ-grass"]),
             "polynomial in CP, TDN for RFQ and ADF", _MOORE, basis=_BODY, decimals=2),
)
# fmt: on


def derive(values_dm: Mapping[str, D], forage_class: str, practice: Practice = COMMON) -> tuple[Derived, ...]:
    """All that can be said of hay of this class from its values in % of dry matter (NDFD48 in % of NDF).

    Energies are in Mcal/lb of dry matter and rest on headline_tdn. Raises Refused `unknown-forage-class`, and
    `not-derivable` where CP, ADF or NDF is zero or less.
    """
    found = derive_values(values_dm, forage_class, practice)
    ndfn = "NDFn = NDF - NDICP" if "NDICP" in values_dm else "NDFn = 0.93 NDF as NDICP was not measured"
    done: dict[str, Derived] = {}
    for formula in (*_formulas(forage_class, practice), *_energy(_tdn_of(found, forage_class))):
        lacking = [need for need in formula.needs.split() if need not in values_dm and need not in found]
        missing = [one for need in lacking for one in (done[need].missing if need in done else (need,))]
        done[formula.code] = Derived(
            formula.code,
            formula.name,
            found.get(formula.code),
            formula.unit,
            formula.basis,
            formula.text.format(ndfn),
            formula.source,
            formula.decimals,
            tuple(dict.fromkeys(missing)),
        )
    return tuple(done.values())


def derive_values(values_dm: Mapping[str, D], forage_class: str, practice: Practice = COMMON) -> dict[str, D]:
    """The values alone of all that derive() can calculate, by code. Raises what that raises."""
    _check_derivable(values_dm, forage_class)
    known, found = dict(values_dm), dict[str, D]()

    def work_out(formulas: Iterable[_Formula]) -> None:
        for formula in formulas:
            if all(need in known for need in formula.needs.split()):
                known[formula.code] = found[formula.code] = formula.compute(known)

    work_out(_formulas(forage_class, practice))
    work_out(_energy(_tdn_of(found, forage_class)))
    return found


def headline_tdn(known: Container[str]) -> str | None:
    """The code of the one TDN of those known that stands at the head of a report and that energies rest on.

    The sum of digested parts where it could be computed, else the one from ADF for the class, else None. The two
    differ by many points for one hay, so lots are compared only by the same code.
    """
    return next((code for code in HEADLINE_TDN if code in known), None)


def _check_derivable(values_dm: Mapping[str, D], forage_class: str) -> None:
    if forage_class not in FORAGE_CLASSES:
        raise Refused(
            "unknown-forage-class",
            f"{forage_class!r} is not a class of forage.",
            field="forage_class",
            remedy=f"Choose from {', '.join(FORAGE_CLASSES)}.",
        )
    for code in ("CP", "ADF", "NDF"):
        if values_dm.get(code, D(1)) <= 0:
            raise Refused(
                "not-derivable",
                f"{code} is {values_dm[code]} %, and no hay has that.",
                field=code,
                remedy="Correct or set aside this analysis first.",
            )


def _formulas(forage_class: str, practice: Practice) -> tuple[_Formula, ...]:
    legume = forage_class in (LEGUME, LEGUME_GRASS)
    variant = _RFQ_LEGUME if legume else _RFQ_GRASS
    return (_adjusted(practice), *_ALWAYS, _tdn_from_adf(forage_class), *variant, _rfq(*variant))


def _tdn_from_adf(forage_class: str) -> _Formula:
    return _TDN_ALFALFA if forage_class == LEGUME else _TDN_HAY


def _tdn_of(found: Container[str], forage_class: str) -> str:
    # Where no TDN was to be had, energies lack what that from ADF lacks.
    return headline_tdn(found) or _tdn_from_adf(forage_class).code


def _adjusted(practice: Practice) -> _Formula:
    limit = practice.number("bound_protein_limit")
    return _Formula(
        "ACP",
        "adjusted crude protein",
        "CP ADICP",
        lambda k: adjusted_protein(k["CP"], k["ADICP"], limit),
        f"CP - (ADICP - {limit / 100} CP) where ADICP is more than {limit} % of CP, else CP",
        practice.source("bound_protein_limit"),
    )


def _rfq(tdn: _Formula, dmi: _Formula) -> _Formula:
    # fmt: off
    return _Formula("RFQ", "relative forage quality", f"{dmi.code} {tdn.code}",
                    lambda k: relative_forage_quality(k[dmi.code], k[tdn.code]),
                    f"{dmi.code} x {tdn.code} / 1.23", "Univ. of Wisconsin, Relative Forage Quality",
                    unit="1", basis="full-bloom alfalfa is about 100", decimals=0)
    # fmt: on


@cache
def _energy(tdn: str) -> tuple[_Formula, ...]:
    """The energy chain from the TDN of this code, in Mcal/lb."""
    beef = "NRC, Nutrient Requirements of Beef Cattle 1996, p. 126"
    cubic = "NRC, Nutrient Requirements of Beef Cattle 1996, from memory"
    dairy = "NFTA appendix A3, Estimates of energy availability"

    def of_me(net: Callable[[D], D]) -> Callable[[_Known], D]:
        return lambda k: per_pound(net(metabolizable_energy(digestible_energy(k[tdn]))))

    # fmt: off
    rows: tuple[tuple[str, str, Callable[[_Known], D], str, str], ...] = (
        ("DE", "digestible energy", lambda k: per_pound(digestible_energy(k[tdn])), "0.04409 TDN", beef),
        ("ME", "metabolizable energy", of_me(lambda me: me), "0.82 DE", beef),
        ("NEm", "net energy for maintenance", of_me(net_energy_maintenance), "cubic in ME", cubic),
        ("NEg", "net energy for gain", of_me(net_energy_gain), "cubic in ME", cubic),
        ("NEl", "net energy for lactation", lambda k: net_energy_lactation(k[tdn]), "0.01114 TDN - 0.054", dairy),
    )
    # fmt: on
    return tuple(
        _Formula(code, name, tdn, compute, f"{text}, TDN by {tdn}", source, unit=MCAL_PER_LB, decimals=2)
        for code, name, compute, text, source in rows
    )
