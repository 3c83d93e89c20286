"""One error budget: the values of a lot, and the independent errors that move them.

An error source says how far one standard uncertainty of it moves each value. Errors that several values share are
one source that moves them together, and so no covariance is ever written down apart: it follows. What is
calculated from the values is moved by the same sources, by half the difference of the result at plus and at minus
one standard uncertainty (JCGM 100:2008, 5.1.3, note 2), down to the last figure of a feeding plan.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from functools import cached_property
from math import isinf

from scipy.special import ndtri, stdtrit

BALES, CORES, LABORATORY, CALIBRATION, WEIGHING = (
    "between bales",
    "between cores",
    "laboratory",
    "calibration",
    "weighing",
)
KINDS = (BALES, CORES, LABORATORY, CALIBRATION, WEIGHING)
# Of a budget made again from what a report kept, which no longer tells the kinds apart.
ALL = "all errors"
CONFIDENCE = Decimal(95)
# What is left of a correlation of one once it was rounded to four digits.
_NOTHING = Decimal("0.02")

Values = Mapping[str, Decimal]


@dataclass(frozen=True)
class Part:
    """A share (0 to 1) of a source's variance; dof: degrees of freedom of its SD, None where taken as known."""

    kind: str
    share: Decimal = Decimal(1)
    dof: float | None = None


@dataclass(frozen=True)
class Source:
    """One independent error; shifts: how far one standard uncertainty moves each value, in the value's unit."""

    name: str
    shifts: Values
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Margin:
    """A value with its standard uncertainty u and half its 95 % interval, all in the value's unit.

    dof: effective degrees of freedom, None for SDs taken as known; parts: what each kind of error has of the
    variance, adding to 1.
    """

    code: str
    value: Decimal
    u: Decimal
    half_width: Decimal
    dof: float | None
    parts: Values

    @property
    def low(self) -> Decimal:
        """The lower end of the interval."""
        return self.value - self.half_width

    @property
    def high(self) -> Decimal:
        """The upper end of the interval."""
        return self.value + self.half_width

    def shown(self, decimals: int) -> str:
        """Half the interval with the decimals of its value; what would round to nothing is one last digit."""
        last = Decimal(1).scaleb(-decimals)
        rounded = self.half_width.quantize(last, rounding=ROUND_HALF_UP)
        return format(max(rounded, last), "f")


@dataclass(frozen=True)
class Budget:
    """Values by their codes, and the independent sources of their errors."""

    values: Values
    sources: tuple[Source, ...]

    def extended(self, work_out: Callable[[Values], Values]) -> Budget:
        """With what is calculated from the values as further values, moved by the same sources.

        work_out takes all values and gives some more, each under a code of its own. It should be smooth over one
        standard uncertainty: of a sum that stops at zero, carry the sum and stop afterwards.
        """
        known = work_out(self.values)
        sources = tuple(self._moved(source, known, work_out) for source in self.sources)
        return Budget({**self.values, **known}, sources)

    def _moved(self, source: Source, known: Values, work_out: Callable[[Values], Values]) -> Source:
        above, below = (
            work_out(
                {**self.values, **{code: self.values[code] + sign * u for code, u in source.shifts.items()}}
            )
            for sign in (1, -1)
        )
        more = {code: (above[code] - below[code]) / 2 for code in known if code in above and code in below}
        return replace(source, shifts={**source.shifts, **{code: u for code, u in more.items() if u}})

    def with_source(self, name: str, kind: str, shifts: Values, values: Values | None = None) -> Budget:
        """With one more independent error, and the values that it moves where the budget has not got them."""
        source = Source(name, dict(shifts), (Part(kind),))
        return Budget({**self.values, **(values or {})}, (*self.sources, source))

    def margin(self, code: str) -> Margin | None:
        """The value's margin; None where no source of error is known for it."""
        felt = [(source.shifts[code] ** 2, source.parts) for source in self.sources if code in source.shifts]
        variance = sum((share for share, _ in felt), Decimal(0))
        if not variance:
            return None
        kinds: dict[str, Decimal] = defaultdict(Decimal)
        for amount, parts in felt:
            for part in parts:
                kinds[part.kind] += amount * part.share / variance
        u, dof = variance.sqrt(), _effective_dof(variance, felt)
        return Margin(
            code, self.values[code], u, u * quantile(dof), dof, {k: v for k, v in kinds.items() if v}
        )

    @cached_property
    def margins(self) -> Mapping[str, Margin]:
        """The margin of every value that has one."""
        found = {code: self.margin(code) for code in self.values}
        return {code: margin for code, margin in found.items() if margin is not None}

    def covariance(self, first: str, second: str) -> Decimal:
        """What the sources that both values share make of them."""
        return sum(
            (
                s.shifts[first] * s.shifts[second]
                for s in self.sources
                if first in s.shifts and second in s.shifts
            ),
            Decimal(0),
        )

    def correlation(self, first: str, second: str) -> Decimal:
        """From -1 to 1; zero where either has no error."""
        spread = (self.covariance(first, first) * self.covariance(second, second)).sqrt()
        return self.covariance(first, second) / spread if spread else Decimal(0)


def correlated(values: Values, u: Values, correlations: Mapping[tuple[str, str], Decimal]) -> Budget:
    """A budget made again from standard uncertainties and correlations, as a report keeps them.

    Each value gets an error of its own and shares in those of the values before it (Cholesky). Where rounded
    correlations leave less than nothing for a value's own error it has none. Pairs that are not named do not
    correlate.
    """
    codes = [code for code in values if u.get(code)]
    rows: dict[str, list[Decimal]] = {}
    for code in codes:
        row: list[Decimal] = []
        for before in rows:
            r = correlations.get((code, before), correlations.get((before, code), Decimal(0)))
            shared = sum((a * b for a, b in zip(row, rows[before], strict=False)), Decimal(0))
            pivot = rows[before][len(row)]
            row.append((r - shared) / pivot if pivot > _NOTHING else Decimal(0))
        left = 1 - sum((part**2 for part in row), Decimal(0))
        rows[code] = [*row, left.sqrt() if left > _NOTHING**2 else Decimal(0)]
    sources = []
    for place, name in enumerate(codes):
        shifts = {code: u[code] * rows[code][place] for code in codes[place:] if rows[code][place]}
        if shifts:
            sources.append(Source(f"as {name} errs", shifts, (Part(ALL),)))
    return Budget(dict(values), tuple(sources))


def _effective_dof(variance: Decimal, felt: list[tuple[Decimal, tuple[Part, ...]]]) -> float | None:
    """Welch-Satterthwaite (JCGM 100:2008, G.4.1) over all parts whose SD was estimated."""
    lost = sum(
        float(amount * part.share / variance) ** 2 / part.dof
        for amount, parts in felt
        for part in parts
        if part.dof is not None
    )
    return 1 / lost if lost else None


def quantile(dof: float | None = None, confidence: Decimal = CONFIDENCE) -> Decimal:
    """How many standard uncertainties half the interval is: the normal's, or Student's where dof is given."""
    tail = 0.5 + float(confidence) / 200
    found = ndtri(tail) if dof is None or isinf(dof) else stdtrit(dof, tail)
    # Twelve digits are far more than any margin shows.
    return Decimal(f"{float(found):.12f}")
