"""A usual feeding question as a test of intervals: what one cow in milk lacks on a hay, and what closes it.

The cow and the feed are of usual size (docs/feeding.md gives the equations and the table they come from).
"""

from __future__ import annotations

from decimal import Decimal as D

from tracker.domain.animals import COW, Animals
from tracker.domain.error_budget import Budget, Values
from tracker.domain.feed import FIBER, Feed
from tracker.domain.feeding import closing, shortfall
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import eaten
from tracker.domain.needs import need_of

COW_IN_MILK = Animals(COW, D(1275), days_since_calving=60)
SOYBEAN_HULLS = Feed(
    key="soybean-hulls",
    name="soybean hulls",
    kind=FIBER,
    dm=D(90),
    cp=D(12),
    tdn=D(78),
    fat=D(2),
    sulfur=D("0.1"),
    degradable=D(65),
    most_bw=D(1),
    substitution=D("0.35"),
    source="Alabama Extension, By-product quick reference",
    year="2014",
)
GAP_ENERGY, GAP_PROTEIN, SUPPLEMENT = (
    "energy short, Mcal a day",
    "protein short, lb a day",
    "soybean hulls, lb a day as fed",
)


def with_feeding(budget: Budget) -> Budget:
    """With the gaps of the cow and the amount of the feed, below zero where nothing is wanted."""
    return budget.extended(_reckoned)


def _reckoned(known: Values) -> Values:
    hay = Hay(dm=known["total DM"], cp=known["CP"], tdn=known["TDN-sum"], ndf=known["NDF"])
    need, lb = need_of(COW_IN_MILK), eaten(COW_IN_MILK, hay).headline
    short = shortfall(need, hay, lb)
    found = {GAP_ENERGY: short.nem_mcal, GAP_PROTEIN: short.cp_lb}
    # Rules that step, as how much hay a feed replaces, are decided once for a hay and not anew within its margin.
    close = closing(need, hay, lb, SOYBEAN_HULLS, SOYBEAN_HULLS.substitution)
    # The microbes' want stops at nothing where protein is enough, and stands above no shortfall here.
    wants = [pounds for pounds in (close.energy_lb, close.protein_lb) if pounds is not None]
    if wants:
        found[SUPPLEMENT] = SOYBEAN_HULLS.as_fed(max(wants))
    return found
