"""How far an amount moves within the margins of the hay's values.

Each value is moved to both ends of its margin with the others held, and the half differences are added as squares
(JCGM 100:2008, 5.1.3 note 2, with the errors taken as independent). Where an error budget is known that says how
the values move together, it takes this one's place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from tracker.domain.hay import Hay

Amounts = Mapping[str, Decimal]
Spread = Callable[[Callable[[Hay], Amounts]], Amounts]


def by_margins(hay: Hay) -> Spread:
    """Half-widths at 95 % of what is reckoned from this hay, by its own margins; none where no margin is known."""
    margins = {"cp": hay.cp_margin, "tdn": hay.tdn_margin, "ndf": hay.ndf_margin}
    known = {name: margin for name, margin in margins.items() if margin}

    def spread(reckon: Callable[[Hay], Amounts]) -> Amounts:
        if not known:
            return {}
        squares: dict[str, Decimal] = {}
        for name, margin in known.items():
            high, low = reckon(hay.moved(**{name: margin})), reckon(hay.moved(**{name: -margin}))
            for each in set(high) & set(low):
                squares[each] = squares.get(each, Decimal(0)) + ((high[each] - low[each]) / 2) ** 2
        return {name: total.sqrt() for name, total in squares.items()}

    return spread
