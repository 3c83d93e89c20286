"""The programme's own standard deviations, from composites taken twice and samples analysed twice.

Repeats of one sample at one source differ by the laboratory alone, composites of one lot by the sampling and the
laboratory. Both are pooled within their groups (one-way analysis of variance; Searle, Casella & McCulloch, Variance
Components, from memory) and drawn toward the default SD as if that had been found with `sd_prior_dof` degrees of
freedom, which is the mean of the scaled inverse chi-square law (Gelman et al., Bayesian Data Analysis, 2.6, from
memory). So two pairs change little, and two hundred decide alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from tracker.domain.default_sds import PUBLISHED, TOTAL_DM, horwitz_sd, relative_family, slug
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places

METHOD = "pooled variance of repeats (one-way ANOVA), shrunk toward the default (scaled inverse chi-square)"


@dataclass(frozen=True)
class Pooled:
    """The variance within groups, its degrees of freedom, and how many groups and values it rests on."""

    variance: Decimal
    dof: Decimal
    groups: int
    values: int

    @property
    def repeats(self) -> int:
        """Values beyond the first of each group."""
        return self.values - self.groups


def pooled_within(groups: Iterable[Sequence[Decimal]]) -> Pooled | None:
    """Sum of squares about each group's mean over the degrees of freedom; None without a group of two."""
    squares, dof, count, values = Decimal(0), 0, 0, 0
    for group in groups:
        if len(group) < 2:
            continue
        mean = sum(group, Decimal(0)) / len(group)
        squares += sum(((value - mean) ** 2 for value in group), Decimal(0))
        dof, count, values = dof + len(group) - 1, count + 1, values + len(group)
    return Pooled(squares / dof, Decimal(dof), count, values) if dof else None


@dataclass(frozen=True)
class Composites:
    """One lot's composites of one constituent, each the mean of its runs.

    expected: the variance of one composite about the lot that the default SDs and its cores give; noise: that
    of its mean of runs by the laboratory.
    """

    means: tuple[Decimal, ...]
    expected: Decimal
    noise: Decimal


def sampling_ratio(lots: Iterable[Composites]) -> Pooled | None:
    """How many times the default variance of sampling the lots show, the laboratory's share taken off.

    Lots are made comparable by their expected variance. The degrees of freedom are fewer than the repeats where
    the laboratory hides the sampling (Satterthwaite, at the default ratio). Never below zero. None without repeats.
    """
    ratio, weight, dof, count, values = Decimal(0), Decimal(0), Decimal(0), 0, 0
    for lot in lots:
        within = pooled_within([lot.means])
        if within is None or not lot.expected:
            continue
        ratio += within.dof * (within.variance - lot.noise) / lot.expected
        weight += within.dof
        dof += within.dof * (lot.expected / (lot.expected + lot.noise)) ** 2
        count, values = count + 1, values + within.values
    return Pooled(max(ratio / weight, Decimal(0)), dof, count, values) if weight else None


@dataclass(frozen=True)
class Shrunk:
    """A variance in force, its degrees of freedom, and what it was made from."""

    variance: Decimal
    dof: float
    own: Pooled


def enough(own: Pooled | None, practice: Practice = COMMON) -> Pooled | None:
    """The estimate if it rests on as many repeats as `sd_own_least` asks for, else None."""
    return own if own is not None and own.repeats >= practice.number("sd_own_least") else None


def shrunk(own: Pooled, default_variance: Decimal, prior_dof: Decimal) -> Shrunk:
    """(prior dof x default + dof x own) / (prior dof + dof)."""
    dof = prior_dof + own.dof
    return Shrunk((prior_dof * default_variance + own.dof * own.variance) / dof, float(dof), own)


@dataclass(frozen=True)
class Sds:
    """The SDs in force for one programme: its practice, and what its own repeats say.

    sampling: for each constituent the ratio of its variance between composites to the default; laboratory: for
    each source and constituent the variance between repeats, in points (in shares of the value squared where the
    default is a share of the value).
    """

    practice: Practice = COMMON
    sampling: Mapping[str, Shrunk] = field(default_factory=dict)
    laboratory: Mapping[tuple[str, str], Shrunk] = field(default_factory=dict)

    def field_sds(self, code: str, value: Decimal) -> tuple[Decimal, Decimal, float | None] | None:
        """SDs between bales and between cores, and their degrees of freedom; None where none are known."""
        default = default_field_sds(code, value, self.practice)
        if default is None:
            return None
        own = self.sampling.get(code)
        if own is None:
            return (*default, None)
        factor = own.variance.sqrt()
        return default[0] * factor, default[1] * factor, own.dof

    def lab_sd(self, code: str, value: Decimal, source: str, unit: str = "%") -> tuple[Decimal, float | None]:
        """The SD of one analysis by that source, and its degrees of freedom."""
        own = self.laboratory.get((source, code))
        if own is None:
            return default_lab_sd(code, value, unit, self.practice), None
        sd = own.variance.sqrt()
        return (abs(value) * sd if relative_family(code) else sd), own.dof

    def calibration_sd(self, code: str) -> Decimal:
        """The SD of a scan beyond the laboratory's, where the programme has set one."""
        return self.practice.number(f"{slug(code)}_calibration_sd") if code in PUBLISHED else Decimal(0)

    def leaf(self, code: str) -> Decimal:
        """How far the constituent's deviation in a core goes with the core's leaf, -1 to 1."""
        return self.practice.number(f"{slug(code)}_leaf") if code in PUBLISHED else Decimal(0)

    def field_words(self, code: str) -> str:
        """Where the SDs of sampling come from."""
        own = self.sampling.get(code)
        if own is None:
            return _default_words(self.practice, *field_rules(code))
        found = f"{own.own.values} composites of {_counted(own.own.groups, 'lot')}"
        return f"own: {found}, {_times(own.variance)} times the default SD"

    def lab_words(self, code: str, source: str) -> str:
        """Where the SD of the laboratory comes from."""
        own = self.laboratory.get((source, code))
        if own is None:
            return _default_words(self.practice, f"{slug(code)}_lab_sd")
        return f"own: {own.own.values} runs of {_counted(own.own.groups, 'sample')} at {source}"


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _times(variance_ratio: Decimal) -> Decimal:
    return to_places(variance_ratio.sqrt(), 2)


def _default_words(practice: Practice, *names: str) -> str:
    return "set by the programme" if any(practice.is_own(name) for name in names) else "default"


def field_rules(code: str) -> tuple[str, ...]:
    """The names of the rules with the SDs between bales and between cores; none where none are known."""
    if code in PUBLISHED or code == TOTAL_DM:
        return f"{slug(code)}_sd_between", f"{slug(code)}_sd_within"
    family = relative_family(code)
    return (f"{family}_cv_between", f"{family}_cv_within") if family else ()


def default_field_sds(
    code: str, value: Decimal, practice: Practice = COMMON
) -> tuple[Decimal, Decimal] | None:
    """SDs between bales and between cores of one bale by the rules, at that value; None where there is no rule."""
    rules = field_rules(code)
    if not rules:
        return None
    between, within = (practice.number(rule) for rule in rules)
    if relative_family(code):
        return between / 100 * abs(value), within / 100 * abs(value)
    return between, within


def default_lab_sd(code: str, value: Decimal, unit: str = "%", practice: Practice = COMMON) -> Decimal:
    """The SD of one analysis by the rules; by Horwitz where there is no rule for the constituent."""
    if code in PUBLISHED or code in (TOTAL_DM, "DM"):
        return practice.number(f"{slug(code)}_lab_sd")
    return horwitz_sd(value, unit)
