"""The programme's practice: every number that is a choice, with its unit and where it comes from.

A rule is a default until the programme sets its own value with its own source. Sources marked "from memory"
have not been confirmed; "common practice" is a rule of thumb of the trade.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.default_sds import SD_RULES
from tracker.domain.feeding_rules import FEEDING_RULES
from tracker.domain.storage_rules import STORAGE_RULES
from tracker.domain.units import number
from tracker.errors import NotFound, Refused


@dataclass(frozen=True)
class Rule:
    """One choice: its name, default, UCUM unit (or "choice"), what it decides, its source."""

    name: str
    default: Decimal | str
    unit: str
    decides: str
    source: str
    choices: tuple[str, ...] = ()
    least: Decimal = Decimal(0)
    most: Decimal | None = None


def _rule(name: str, default: str, unit: str, decides: str, source: str) -> Rule:
    return Rule(name, Decimal(default), unit, decides, source)


_CHOSEN = (
    _rule(
        "lot_limit",
        "200",
        "short ton",
        "largest lot that one sample may speak for",
        "Putnam & Orloff, Recommended Principles for Proper Hay Sampling (National Forage Testing Association)",
    ),
    Rule(
        "lot_limit_basis",
        "as received",
        "choice",
        "what the lot limit is weighed as",
        "most published texts give tons as received; some give dry matter",
        ("as received", "dry matter"),
    ),
    _rule(
        "assumed_lot_dm",
        "88",
        "%",
        "dry matter assumed for a lot not yet weighed",
        "common practice for cured hay",
    ),
    _rule("cores", "20", "1", "cores wanted from one lot", "Putnam & Orloff, NFTA sampling principles"),
    _rule(
        "cores_least",
        "15",
        "1",
        "fewest cores accepted, and only with a reason",
        "NDSU Extension, Sampling feed for analysis",
    ),
    _rule(
        "composite_wanted",
        "200",
        "g",
        "mass of the composite sample that the lab wants",
        "Ontario ministry of agriculture, Take an accurate hay sample",
    ),
    _rule(
        "composite_least",
        "150",
        "g",
        "composite under this is short: take more or deeper cores",
        "Shewmaker (Idaho), Progressive Forage: 150 to 200 g",
    ),
    _rule(
        "composite_most",
        "450",
        "g",
        "composite over this is awkward and tempts people to divide it",
        "LSU AgCenter forage laboratory: about 1 lb is good",
    ),
    _rule(
        "oven_hours_least",
        "12",
        "h",
        "a load drier for less than this is flagged",
        "UC Davis method 507; common practice overnight",
    ),
    _rule(
        "oven_celsius_most",
        "60",
        "Cel",
        "an oven hotter than this is flagged",
        "UC Davis method 507: above 60 C the hay changes chemically",
    ),
    _rule(
        "constant_mass",
        "0.5",
        "%",
        "two dry weighings agree when they differ by no more than this of the sample",
        "field rule of 1 g on 200 g, extension microwave drying pages",
    ),
    _rule("dm_least", "60", "%", "dry matter below this is implausible for hay", "common practice"),
    _rule("dm_most", "97", "%", "dry matter above this is implausible for hay", "common practice"),
    _rule(
        "lab_dm_least",
        "85",
        "%",
        "dry matter of ground hay below this is suspect",
        "NFTA method 2.2: 3 to 15 % water left",
    ),
    _rule(
        "lab_dm_most",
        "97",
        "%",
        "dry matter of ground hay above this is suspect",
        "NFTA method 2.2: 3 to 15 % water left",
    ),
    _rule(
        "one_step_dm",
        "85",
        "%",
        "hay at or above this may skip the first oven if it grinds",
        "NFTA method 2.2",
    ),
    _rule("composite_far", "40", "%", "a fresh mass this far from the plan's is flagged", "our choice"),
    _rule("net_least", "5", "g", "less hay than this in a sack is taken for an empty sack", "our choice"),
    _rule("tares_least", "10", "1", "fewest empty sacks weighed for a batch tare", "our choice"),
    _rule(
        "tare_sd_most",
        "2",
        "%",
        "sacks of one batch that differ more than this (SD) are weighed one by one",
        "our choice",
    ),
    _rule(
        "balance_repeatability",
        "0",
        "g",
        "SD of repeated weighings on one balance, beside its resolution",
        "to be measured per balance",
    ),
    _rule(
        "coarse_dm_least",
        "80",
        "%",
        "hay must be this dry for the coarse grind",
        "NFTA sample preparation",
    ),
    _rule("fine_dm_least", "90", "%", "hay must be this dry for the fine grind", "NFTA sample preparation"),
    _rule(
        "coarse_screen",
        "2",
        "mm",
        "screen of the coarse grind",
        "common practice; the NFTA text says 4 to 6 mm",
    ),
    _rule("fine_screen", "1", "mm", "screen of the fine grind", "NFTA sample preparation"),
    _rule(
        "gh_limit",
        "3.0",
        "1",
        "global distance (GH) above this is outside the calibration",
        "NIR glossary of one calibration supplier; Garrido et al.",
    ),
    _rule(
        "nh_limit",
        "1.0",
        "1",
        "neighbour distance (NH) above this is thinly covered",
        "one supplier's default; 0.6 by Shenk & Westerhaus 1991 (from memory)",
    ),
    _rule(
        "bound_protein_limit",
        "10",
        "%",
        "share of CP bound by heat above which CP is adjusted",
        "Univ. of Nebraska uses 10; NDSU AS-1080 uses 12",
    ),
    _rule(
        "parts_most",
        "105",
        "%",
        "CP, NDF, fat and ash that add up to more than this (and NDICP) cannot all be right",
        "by definition 100, with room for the scatter of four methods; our choice",
    ),
    _rule(
        "basis_tolerance",
        "0.3",
        "%",
        "largest difference between a value given twice, on two bases",
        "rounding of both values to one decimal; our choice",
    ),
    _rule("check_share", "10", "%", "share of a load that is weighed again blind", "common practice"),
    _rule(
        "handover_silence",
        "60",
        "min",
        "a hand-over between two people longer than this is said on the report",
        "our choice",
    ),
    Rule(
        "release_second_person",
        "no",
        "choice",
        "whether whoever took in an analysis, or put a sample on hold, may decide on it alone",
        "our choice; larger laboratories let a second person release",
        ("no", "yes"),
    ),
    Rule(
        "second_factor",
        "no",
        "choice",
        "who shows a code from a phone at every sign-in, beside the password",
        "OWASP ASVS 5.0.0, 6.3.3; our choice to leave it to the programme",
        ("no", "lead", "staff"),
    ),
    _rule(
        "keep_rests_days",
        "180",
        "d",
        "what is left of a sample is kept this long after its last entry",
        "our choice; local law comes first",
    ),
    _rule("keep_photos_days", "1095", "d", "photos are kept this long", "our choice; local law comes first"),
    _rule(
        "keep_refusals_days",
        "1095",
        "d",
        "what was asked and refused is kept this long",
        "our choice; local law comes first",
    ),
    _rule(
        "keep_sign_ins_days",
        "365",
        "d",
        "who came in and who was turned away is kept this long",
        "our choice; local law comes first",
    ),
    _rule("late_days", "7", "d", "a sample that nothing happens to for longer is called late", "our choice"),
    _rule("sample_days", "7", "d", "a sample older than this on receipt is remarked on", "our choice"),
)
_SDS = tuple(
    Rule(one.name, one.default, one.unit, one.decides, one.source, (), one.least, one.most)
    for one in SD_RULES
)
_FEEDING = tuple(_rule(*row) for row in (*FEEDING_RULES, *STORAGE_RULES))
RULES: dict[str, Rule] = {rule.name: rule for rule in (*_CHOSEN, *_SDS, *_FEEDING)}


class Practice:
    """The rules in force: the programme's own values where it has set them, else the defaults."""

    def __init__(
        self, own: Mapping[str, Decimal | str] | None = None, sources: Mapping[str, str] | None = None
    ) -> None:
        self._own = dict(own or {})
        self._sources = dict(sources or {})

    def number(self, name: str) -> Decimal:
        """The value of a rule that is a number."""
        value = self._own.get(name, RULES[name].default)
        if not isinstance(value, Decimal):
            raise TypeError(f"{name} is a choice of words, not a number")
        return value

    def word(self, name: str) -> str:
        """The value of a rule that is a choice of words."""
        return str(self._own.get(name, RULES[name].default))

    def source(self, name: str) -> str:
        """Where the value in force comes from."""
        return self._sources.get(name, RULES[name].source)

    def is_own(self, name: str) -> bool:
        """Whether the programme has set its own value."""
        return name in self._own


COMMON = Practice()


def checked_value(name: str, text: str) -> Decimal | str:
    """A value for a rule, or NotFound `unknown-rule`, else Refused as its kind asks:

    `not-a-choice`, `not-a-number`, `not-positive`, `above-most`.
    """
    rule = RULES.get(name)
    if rule is None:
        raise NotFound(
            "unknown-rule",
            f"there is no rule called {name!r}.",
            field="rule",
            remedy="`tracker practice` lists the rules.",
        )
    if isinstance(rule.default, Decimal):
        return _in_range(rule, number(text, field=name))
    if text not in rule.choices:
        raise Refused(
            "not-a-choice",
            f"{text!r} is not one of {', '.join(rule.choices)}.",
            field=name,
            remedy="Choose one of these.",
        )
    return text


def _in_range(rule: Rule, value: Decimal) -> Decimal:
    if value < rule.least:
        said = "zero" if not rule.least else rule.least
        raise Refused(
            "not-positive",
            f"{value} is below {said}.",
            field=rule.name,
            remedy=f"This rule is {said} or more.",
        )
    if rule.most is not None and value > rule.most:
        raise Refused(
            "above-most",
            f"{value} is above {rule.most}.",
            field=rule.name,
            remedy=f"This rule is {rule.most} at most.",
        )
    return value
