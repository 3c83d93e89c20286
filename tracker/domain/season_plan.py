"""Which hay for whom and when: hay shared out over groups and months so that little is short and little is bought.

First as little as can be is short, and that as late as can be; then the cost is least. As shares of a month this is
a linear programme; with one lot for a group and month it is one in whole numbers. Both are solved by HiGHS (scipy),
in floats; what comes out is taken as Decimals. Shares are of head-days: a group eats one lot at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from tracker.domain.units import to_places
from tracker.errors import Refused

# More than this is no season; the whole-number problem would run on.
MOST_CHOICES = 5000
SECONDS = 60
_PLACES = 6
# In tons: how much more may be short in the second step than the first found, against rounding.
_SLACK, _TOLERANCE = 1e-9, 1e-10
# Hay that must be short is short as late as can be: it can still be bought. A ton weighs so much less for each month
# that passes.
_LATER = 0.002
# A smaller share of a month is a rest of the reckoning and no hay.
_LEAST_SHARE = Decimal("0.0001")


@dataclass(frozen=True)
class Choice:
    """A group on a lot for a whole month: the hay that takes from the lot (tons as baled), and what it costs ($)."""

    lot: int
    group: str
    month: int
    tons: Decimal
    cost: Decimal


@dataclass(frozen=True)
class Allocation:
    """Shares of each choice above zero, and of each (group, month) without hay.

    cost: $; short_tons: hay lacking; worth: $ that one more ton of a lot would save; worth_short: tons
    less short for it; both None for whole lots, where one more ton has no price.
    """

    shares: Mapping[Choice, Decimal]
    unmet: Mapping[tuple[str, int], Decimal]
    cost: Decimal
    short_tons: Decimal
    worth: Mapping[int, Decimal] | None
    worth_short: Mapping[int, Decimal] | None


def allocate(
    choices: Sequence[Choice],
    tons: Mapping[int, Decimal],
    wanted: Mapping[tuple[str, int], Decimal],
    *,
    one_lot: bool = False,
) -> Allocation:
    """The best plan. tons: what each lot holds, as baled; wanted: the tons that each (group, month) eats and wastes,
    which are short where it gets none.

    Raises Refused `season-too-large`, and `season-not-solved` where time ran out.
    """
    if len(choices) > MOST_CHOICES:
        raise Refused(
            "season-too-large",
            f"{len(choices)} ways to feed are more than are planned at once.",
            field="lots",
            remedy=f"Plan fewer months, lots or groups: at most {MOST_CHOICES} together.",
        )
    problem = _Problem(choices, tons, wanted, one_lot)
    short = problem.solve(problem.shortness(), None)
    least = float(short.fun)
    best = problem.solve(problem.cost(), least)
    return problem.allocation(best, short)


@dataclass(frozen=True)
class _Problem:
    """Variables: a share for each choice, then one without hay for each wanted (group, month)."""

    choices: Sequence[Choice]
    tons: Mapping[int, Decimal]
    wanted: Mapping[tuple[str, int], Decimal]
    one_lot: bool

    def shortness(self) -> list[float]:
        weighed = [float(tons) * (1 - _LATER * month) for (_, month), tons in self.wanted.items()]
        return [0.0] * len(self.choices) + weighed

    def cost(self) -> list[float]:
        return [float(choice.cost) for choice in self.choices] + [0.0] * len(self.wanted)

    def solve(self, minimised: list[float], least_short: float | None) -> Any:
        """scipy's answer. least_short: what may be short at most, None in the first step."""
        # Only this needs scipy, which takes a while to import.
        from scipy.optimize import linprog, milp

        whole, rows, room = self._whole(), self._rows(), [float(tons) for tons in self.tons.values()]
        if least_short is not None:
            rows.append(self.shortness())
            room.append(least_short + _SLACK)
        if self.one_lot:
            found = milp(minimised, **self._limits(whole, rows, room))
        else:
            found = linprog(
                minimised,
                A_ub=rows,
                b_ub=room,
                A_eq=whole,
                b_eq=[1.0] * len(whole),
                bounds=(0, 1),
                options={
                    "primal_feasibility_tolerance": _TOLERANCE,
                    "dual_feasibility_tolerance": _TOLERANCE,
                },
            )
        if found.x is None:
            raise Refused(
                "season-not-solved",
                f"The plan was not found within {SECONDS} seconds.",
                field="one_lot",
                remedy="Plan fewer months, or let groups change lots within a month.",
            )
        return found

    def _limits(self, whole: list[list[float]], rows: list[list[float]], room: list[float]) -> dict[str, Any]:
        from numpy import inf
        from scipy.optimize import Bounds, LinearConstraint

        size = len(self.choices) + len(self.wanted)
        return {
            "constraints": [
                LinearConstraint(whole, 1.0, 1.0),
                LinearConstraint(rows, -inf, room),
            ],
            "integrality": [1] * size,
            "bounds": Bounds(0, 1),
            "options": {"mip_rel_gap": 0, "time_limit": SECONDS},
        }

    def _whole(self) -> list[list[float]]:
        """Every group is somewhere in every month."""
        keys = list(self.wanted)
        rows = []
        for place, key in enumerate(keys):
            row = [1.0 if (choice.group, choice.month) == key else 0.0 for choice in self.choices]
            rows.append(row + [1.0 if at == place else 0.0 for at in range(len(keys))])
        return rows

    def _rows(self) -> list[list[float]]:
        """No lot gives more than it holds."""
        rest = [0.0] * len(self.wanted)
        return [
            [float(choice.tons) if choice.lot == lot else 0.0 for choice in self.choices] + rest
            for lot in self.tons
        ]

    def allocation(self, best: Any, short: Any) -> Allocation:
        size = len(self.choices)
        shares = {
            choice: share
            for choice, x in zip(self.choices, best.x[:size], strict=True)
            if (share := _rounded(x)) >= _LEAST_SHARE
        }
        unmet = {
            key: share
            for key, x in zip(self.wanted, best.x[size:], strict=True)
            if (share := _rounded(x)) >= _LEAST_SHARE
        }
        return Allocation(
            shares,
            unmet,
            sum((choice.cost * share for choice, share in shares.items()), Decimal(0)),
            sum((self.wanted[key] * share for key, share in unmet.items()), Decimal(0)),
            None if self.one_lot else self._worth(best),
            None if self.one_lot else self._worth(short),
        )

    def _worth(self, found: Any) -> dict[int, Decimal]:
        """What the least total falls by for one ton more of each lot: the dual of its row."""
        return {
            lot: _rounded(-float(dual)) for lot, dual in zip(self.tons, found.ineqlin.marginals, strict=False)
        }


def _rounded(x: float) -> Decimal:
    return to_places(Decimal(repr(float(x) + 0.0)), _PLACES) + 0
