"""How far an answer's amounts move within the error budget of the hay, all values together as they really err."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tracker.domain.error_budget import Budget, Values
from tracker.domain.hay import Hay
from tracker.domain.spread import Amounts, Spread

OF_ANSWER = "answer: "


def by_budget(hay: Hay, budget: Budget, codes: Mapping[str, str]) -> Spread:
    """For domain.answer: half-widths at 95 % of what is reckoned from this hay, by its error budget.

    codes: which value of the budget the hay's "cp", "tdn" and "ndf" are; what the budget has not got is taken as
    exact.
    """
    known = {name: code for name, code in codes.items() if code in budget.values}

    def spread(reckon: Callable[[Hay], Amounts]) -> Amounts:
        def work_out(values: Values) -> Values:
            # The hay keeps its own digits; only the errors come from the budget.
            moved = {name: values[code] - budget.values[code] for name, code in known.items()}
            return {_named(name): amount for name, amount in reckon(hay.moved(**moved)).items()}

        more = budget.extended(work_out)
        margins = {code: more.margin(code) for code in more.values if code not in budget.values}
        return {_name(code): margin.half_width for code, margin in margins.items() if margin is not None}

    return spread


def _named(amount: str) -> str:
    """Amounts get a code of their own, so that none takes the place of a value."""
    return f"{OF_ANSWER}{amount}"


def _name(code: str) -> str:
    return code.removeprefix(OF_ANSWER)
