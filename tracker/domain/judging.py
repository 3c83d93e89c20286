"""What is to be said of an analysis's values together: parts above their wholes, unusual values, strange spectra."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.analysis import DRY_MATTER, NOT_CONVERTED, Value, in_usual_unit, to_dry_matter
from tracker.domain.findings import CAUTION, HOLD, NOTE, Finding
from tracker.domain.practice import COMMON, Practice


@dataclass(frozen=True)
class _Usual:
    """Usual ranges of one forage class, % of dry matter."""

    CP: tuple[int, int]
    NDF: tuple[int, int]
    ADF: tuple[int, int]
    ash: tuple[int, int] = (5, 18)


# CP of grass 4 to 16 and legume 10 to 25, NDF up from 30: Shewmaker (Idaho), Interpreting forage quality tests.
# Ash 5 to 18: Hay & Forage Grower. The other ends of NDF and ADF are common practice, from memory.
USUAL = {
    "legume": _Usual((10, 25), (30, 60), (22, 48)),
    "legume-grass": _Usual((6, 25), (32, 68), (24, 48)),
    "cool grass": _Usual((4, 16), (40, 75), (24, 50)),
    "warm grass": _Usual((4, 16), (50, 80), (26, 52)),
}

# The second can be no more than the first, since it is a part of it.
_PARTS_OF = (
    ("NDF", "ADF", HOLD, "adf-above-ndf"),
    ("ADF", "ADL", HOLD, "lignin-above-adf"),
    ("CP", "NDICP", HOLD, "bound-protein-above-cp"),
    ("CP", "ADICP", HOLD, "bound-protein-above-cp"),
    # Both are small and measured apart, so scatter alone can cross them.
    ("NDICP", "ADICP", CAUTION, "adicp-above-ndicp"),
    ("WSC", "ESC", CAUTION, "esc-above-wsc"),
)


def check(values: Mapping[str, Value], forage_class: str, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """What is to be said of the values of one analysis together; they should stand on dry matter.

    forage_class: a key of USUAL; of another class no range is judged. What contradicts a definition is a hold,
    what is merely unusual a caution. Values on another basis are named in a note and left out.
    """
    other = tuple(c for c, v in values.items() if v.basis != DRY_MATTER and c not in NOT_CONVERTED)
    amounts = {code: in_usual_unit(v).value for code, v in values.items() if code not in other}
    return Judge(forage_class, practice).findings(amounts, other)


class Judge:
    """The rules for analyses of one class of forage (a key of USUAL, or another one), made ready once for many."""

    def __init__(self, forage_class: str, practice: Practice = COMMON) -> None:
        self.forage_class = forage_class
        usual = USUAL.get(forage_class)
        self.usual = [(code, *getattr(usual, code)) for code in ("CP", "NDF", "ADF", "ash")] if usual else []
        self.parts_most = practice.number("parts_most")
        self.dry_matter = practice.number("dm_least"), practice.number("dm_most")
        self.distances = practice.number("gh_limit"), practice.number("nh_limit")

    def findings(self, amounts: Mapping[str, Decimal], other: tuple[str, ...] = ()) -> tuple[Finding, ...]:
        """As check. amounts: on dry matter, in usual units; other: constituents that could not be turned so."""
        found: list[Finding] = []
        if other:
            words = f"{', '.join(other)} could not be judged: not on dry matter."
            found.append(Finding("not-on-dry-matter", NOTE, words, other))
        found += _parts_within_wholes(amounts)
        found += self._whole_within_hundred(amounts)
        found += self._unusual(amounts)
        found += self._dry_matter_plausible(amounts)
        found += _spectral_distance(amounts.get("GH"), amounts.get("NH"), *self.distances)
        return tuple(found)

    def _whole_within_hundred(self, amounts: Mapping[str, Decimal]) -> list[Finding]:
        """Findings where the parts that do not overlap exceed the whole; NDICP stands in CP and in NDF."""
        parts = [code for code in ("CP", "NDF", "EE", "ash") if code in amounts]
        total = sum([amounts[code] for code in parts], Decimal(0)) - amounts.get("NDICP", Decimal(0))
        if total <= self.parts_most:
            return []
        words = f"{', '.join(parts)} add up to {_said(total)} % of the dry matter."
        return [Finding("parts-above-whole", HOLD, words, tuple(parts))]

    def _unusual(self, amounts: Mapping[str, Decimal]) -> list[Finding]:
        found = []
        for code, least, most in self.usual:
            if code in amounts and not least <= amounts[code] <= most:
                amount, range_ = _said(amounts[code]), f"{least} to {most} %"
                words = f"{code} {amount} % is unusual for {self.forage_class} hay ({range_})."
                found.append(Finding("unusual-value", CAUTION, f"{words} Is it this lot's sample?", (code,)))
        return found

    def _dry_matter_plausible(self, amounts: Mapping[str, Decimal]) -> list[Finding]:
        dm = amounts.get("DM")
        least, most = self.dry_matter
        if dm is None or least <= dm <= most:
            return []
        words = f"Dry matter {_said(dm)} % is implausible for hay ({least} to {most} %)."
        return [Finding("dm-implausible", CAUTION, words, ("DM",))]


def _parts_within_wholes(amounts: Mapping[str, Decimal]) -> list[Finding]:
    found = []
    for whole, part, level, code in _PARTS_OF:
        if whole in amounts and part in amounts and amounts[part] > amounts[whole]:
            sizes = f"{part} {_said(amounts[part])} is above {whole} {_said(amounts[whole])}"
            found.append(Finding(code, level, f"{sizes}, of which it is a part.", (part, whole)))
    return found


def spectral_distance(
    gh: Decimal | None, nh: Decimal | None, practice: Practice = COMMON
) -> tuple[Finding, ...]:
    """What is to be said of a spectrum's distances; None where the instrument gives none.

    GH above gh_limit: the hay is unlike all that the calibration knows, a hold. NH above nh_limit: few known
    samples are near, a caution. Both limits belong to the calibration, so set them in the practice.
    """
    return tuple(_spectral_distance(gh, nh, practice.number("gh_limit"), practice.number("nh_limit")))


def _spectral_distance(
    gh: Decimal | None, nh: Decimal | None, gh_limit: Decimal, nh_limit: Decimal
) -> list[Finding]:
    found = []
    if gh is not None and gh > gh_limit:
        words = f"GH {_said(gh)} is above {gh_limit}, outside the calibration: send it to wet chemistry."
        found.append(Finding("outside-calibration", HOLD, words, ("GH",)))
    if nh is not None and nh > nh_limit:
        words = f"NH {_said(nh)} is above {nh_limit}: the calibration knows few samples like it."
        found.append(Finding("thinly-covered", CAUTION, words, ("NH",)))
    return found


def same_on_two_bases(
    first: Value, second: Value, dm_percent: Decimal, practice: Practice = COMMON
) -> tuple[Finding, ...]:
    """A hold where one constituent given on two bases does not agree within basis_tolerance, on dry matter."""
    one, two = (in_usual_unit(to_dry_matter(value, dm_percent)).value for value in (first, second))
    if abs(one - two) <= practice.number("basis_tolerance"):
        return ()
    words = f"{first.code} is {_said(one)} by its {first.basis} value and {_said(two)} by its {second.basis} value."
    return (Finding("bases-disagree", HOLD, f"{words} Is a basis or the dry matter wrong?", (first.code,)),)


def _said(amount: Decimal) -> str:
    return format(amount.quantize(Decimal("0.01")).normalize(), "f")
