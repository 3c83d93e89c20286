"""Do 95 % intervals hold the truth in 95 of 100 cases? Lots whose truth is known are cored, analysed and judged.

Each lot is made bale by bale and core by core, goes through a laboratory and over a balance, and then through the
very budget that a report takes its margins from; the truth is the mean of the made lot and what follows from it.
Nothing of the budget's own algebra is used in the making. Randomness comes from a seed, so every run can be repeated.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal as D
from math import sqrt
from random import Random

from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.default_sds import TOTAL_DM, relative_family
from tracker.domain.error_budget import Budget, Values
from tracker.domain.hay_errors import Cored, Measured, Moisture, hay_errors, with_derived, with_received
from tracker.domain.own_sds import (
    Composites,
    Sds,
    Shrunk,
    default_field_sds,
    default_lab_sd,
    pooled_within,
    sampling_ratio,
    shrunk,
)
from tracker.domain.practice import COMMON
from tracker.domain.precision import bale_share
from tracker.domain.results import COOL_GRASS

# Three hays from early to late cut, % of dry matter, NDFD of NDF, nitrate in mg/kg; total DM as received. Invented,
# of usual size.
_CODES = ("CP", "ADF", "NDF", "EE", "ash", "ADL", "ADICP", "NDICP", "NDFD48", "Ca", "NO3", TOTAL_DM)
# Repeats are made of those whose SD is in points.
_LEARNT = tuple(code for code in _CODES if relative_family(code) is None)
HAYS = tuple(
    dict(zip(_CODES, map(float, row.split()), strict=True))
    for row in (
        "16.5 31.0 50.0 2.8 9.0 3.8 0.8 2.6 62.0 1.10 900 88.0",
        "12.1 36.0 58.0 2.4 8.2 5.5 0.7 2.5 52.0 0.55 2500 86.5",
        "7.8 41.0 66.0 2.0 7.0 6.8 0.5 2.0 45.0 0.40 400 84.0",
    )
)
# Cores of each cored bale, and bales of the lot: as usual; every bale; big bales; fewer bales than cores.
CORINGS = (
    Cored((1,) * 20, 118),
    Cored((1,) * 20, 20),
    Cored((1,) * 12, 40),
    Cored((3, 3, 3, 3, 2, 2, 2, 2), 8),
)
DRAWS, SEED = 2000, 5
# Repeats that a programme of its own SDs has: pairs of runs, and lots with two composites.
RUN_PAIRS, COMPOSITE_PAIRS = 30, 20
RESOLUTION_G, FRESH_G = 0.1, 250.0
_PORTION, _SOURCE = "1", "bench"

Extend = Callable[[Budget], Budget]


@dataclass(frozen=True)
class Covered:
    """How many of the draws had the true value within their interval."""

    code: str
    hits: int
    draws: int

    @property
    def percent(self) -> float:
        """Of 100 cases."""
        return 100 * self.hits / self.draws


@dataclass(frozen=True)
class World:
    """The true scatter: how many times the default variances, for each constituent, of sampling and laboratory."""

    sampling: Mapping[str, float]
    laboratory: Mapping[str, float]

    def field(self, code: str, mean: float = 0.0) -> tuple[float, float]:
        """SDs between bales and between cores."""
        found = default_field_sds(code, D(repr(mean))) or (D(0), D(0))
        between, within = (float(sd) * sqrt(self.sampling.get(code, 1.0)) for sd in found)
        return between, within

    def lab(self, code: str, mean: float = 0.0) -> float:
        """SD of the laboratory."""
        default = default_lab_sd(code, D(repr(mean)), _unit(code))
        return float(default) * sqrt(self.laboratory.get(code, 1.0))


def _unit(code: str) -> str:
    return CONSTITUENTS[code].unit if code in CONSTITUENTS else "%"


AS_SET = World({}, {})


def covered(
    draws: int = DRAWS,
    seed: int = SEED,
    *,
    own: bool = False,
    extend: Extend = lambda budget: budget,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Covered, ...]:
    """For every value with a margin: in how many draws the interval held the truth.

    own: each draw is a programme of its own whose true SDs lie about the defaults as `sd_prior_dof` says, and
    which has estimated them from its repeats. extend: further values to calculate, as Budget.extended does.
    """
    random = Random(seed)
    hits: dict[str, int] = defaultdict(int)
    seen: dict[str, int] = defaultdict(int)
    for number in range(draws):
        world = _some_world(random) if own else AS_SET
        sds = _learnt(random, world) if own else Sds()
        hay, cored = HAYS[number % len(HAYS)], CORINGS[number // len(HAYS) % len(CORINGS)]
        # Every other laboratory gives its values as analysed, so that its dry matter turns them.
        truth, found = _one(random, world, sds, hay, cored, turned=number % 2 == 1, extend=extend)
        for code, margin in found.margins.items():
            seen[code] += 1
            hits[code] += abs(truth[code] - margin.value) <= margin.half_width
        if progress is not None:
            progress(number + 1, draws)
    return tuple(Covered(code, hits[code], count) for code, count in seen.items())


def _one(
    random: Random,
    world: World,
    sds: Sds,
    hay: Mapping[str, float],
    cored: Cored,
    *,
    turned: bool,
    extend: Extend,
) -> tuple[Values, Budget]:
    """The lot's true values, and the budget of its one analysed sample."""
    lot, composite = _lot_and_composite(random, world, hay, cored, sds)
    partial_true = composite[TOTAL_DM] / 93.0 * 100
    lab_dm = D(f"{93.0 + random.gauss(0, world.lab('DM')):.4f}")
    moisture = _weighed(random, partial_true, lab_dm)
    measured = []
    for code, value in composite.items():
        if code == TOTAL_DM:
            continue
        given = value + random.gauss(0, world.lab(code, value))
        if turned and code != "NDFD48":
            # Found in the portion as it was, and turned by the dry matter that the laboratory found.
            given = given * 93.0 / float(lab_dm)
        on_dm = D(f"{given:.6f}")
        portion = (_PORTION, lab_dm) if turned and code != "NDFD48" else (None, None)
        measured.append(Measured(code, on_dm, _SOURCE, False, *portion))
    budget = hay_errors(measured, cored, moisture, sds)
    exact = Budget({code: D(f"{value:.9f}") for code, value in lot.items()}, ())
    return _all_of(exact, extend).values, _all_of(budget, extend)


def _all_of(budget: Budget, extend: Extend) -> Budget:
    return extend(with_derived(with_received(budget), COOL_GRASS, COMMON))


def _lot_and_composite(
    random: Random, world: World, hay: Mapping[str, float], cored: Cored, sds: Sds
) -> tuple[dict[str, float], dict[str, float]]:
    """The mean of all bales, and of the cores drawn from some of them."""
    leafy = [random.gauss(0, 1) for _ in range(cored.bales)]
    in_cores = [random.gauss(0, 1) for _ in range(sum(cored.cores))]
    picked = random.sample(range(cored.bales), len(cored.cores))
    lot, composite = {}, {}
    for code, mean in hay.items():
        between, within = world.field(code, mean)
        share = float(sds.leaf(code))
        rest = sqrt(1 - share**2)
        bales = [mean + between * (share * leaf + rest * random.gauss(0, 1)) for leaf in leafy]
        cores = [within * (share * leaf + rest * random.gauss(0, 1)) for leaf in in_cores]
        of_bales = sum(bales[bale] * count for bale, count in zip(picked, cored.cores, strict=True))
        lot[code] = sum(bales) / len(bales)
        composite[code] = (of_bales + sum(cores)) / len(cores)
    return lot, composite


def _weighed(random: Random, partial: float, lab_dm: D) -> Moisture:
    """A composite over the balance: each net weight is rounded to its last digit twice, gross and tare."""
    offset = random.random()
    fresh, dry = (
        round((FRESH_G * share + offset) / RESOLUTION_G) * RESOLUTION_G - offset
        for share in (1.0, partial / 100)
    )
    found = D(f"{100 * dry / fresh:.6f}")
    # d / sqrt(12) for each of the two readings (JCGM 100:2008, F.2.2.1), by the slopes of 100 dry / fresh.
    reading = D(f"{RESOLUTION_G / sqrt(12) * 100 / FRESH_G:.9f}")
    u = (reading**2 * (1 + (found / 100) ** 2)).sqrt()
    return Moisture(found * lab_dm / 100, found, u, lab_dm, _SOURCE, _PORTION)


def _some_world(random: Random) -> World:
    """True variances about the defaults by the scaled inverse chi-square law of the prior."""
    dof = float(COMMON.number("sd_prior_dof"))

    def times() -> float:
        return dof / (2 * random.gammavariate(dof / 2, 1))

    return World({code: times() for code in _LEARNT}, {code: times() for code in (*_LEARNT, "DM")})


def _learnt(random: Random, world: World) -> Sds:
    """The sds that the programme estimates from repeats made in this world."""
    prior = COMMON.number("sd_prior_dof")
    laboratory: dict[tuple[str, str], Shrunk] = {}
    for code in (*(code for code in _LEARNT if code != TOTAL_DM), "DM"):
        own = pooled_within(list(_pairs(random, world.lab(code), RUN_PAIRS)))
        if own is not None:
            laboratory[_SOURCE, code] = shrunk(own, default_lab_sd(code, D(0)) ** 2, prior)
    by_lab = Sds(COMMON, {}, laboratory)
    ratios = {code: sampling_ratio(_composites(random, world, code, by_lab)) for code in _LEARNT}
    sampling = {code: shrunk(own, D(1), prior) for code, own in ratios.items() if own is not None}
    return replace(by_lab, sampling=sampling)


def _pairs(random: Random, sd: float, count: int) -> Iterator[Sequence[D]]:
    for _ in range(count):
        yield [D(f"{random.gauss(0, sd):.9f}") for _ in range(2)]


def _composites(random: Random, world: World, code: str, by_lab: Sds) -> Iterator[Composites]:
    cored = CORINGS[0]
    share, cores = bale_share(cored.cores, cored.bales), sum(cored.cores)
    between, within = world.field(code)
    default = default_field_sds(code, D(0)) or (D(0), D(0))
    expected = default[0] ** 2 * share + default[1] ** 2 / cores
    # Of the total dry matter the laboratory's part is that of the portion, times the partial dry matter.
    lab_code, times = ("DM", 0.93) if code == TOTAL_DM else (code, 1.0)
    noise = (by_lab.lab_sd(lab_code, D(0), _SOURCE)[0] * D(repr(times))) ** 2
    sd = sqrt(between**2 * float(share) + within**2 / cores + (world.lab(lab_code) * times) ** 2)
    for pair in _pairs(random, sd, COMPOSITE_PAIRS):
        yield Composites(tuple(pair), expected, noise)
