"""A producer's group of animals through the year: one calving date, and the stage that follows on any day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from tracker.domain.animals import BULL, REBRED, WEANING, YEAR, Animals, Given, checked
from tracker.domain.times import day
from tracker.errors import Refused


@dataclass(frozen=True)
class Group:
    """Animals of a producer that are fed together. calving: the middle of it, last or next; None for bulls.

    The year rolls: they milk for 205 days, carry from day 82 on, and calve again after 365 (common practice).
    """

    name: str
    kind: str
    head: int
    weight_lb: Decimal
    calving: date | None = None
    peak_milk_lb: Decimal | None = None
    condition: Decimal | None = None

    @property
    def year_round(self) -> bool:
        """Whether the group needs the same on every day of the year."""
        return self.calving is None


def checked_group(
    *,
    name: str,
    kind: str,
    head: Given,
    weight_lb: Given,
    calving: str | date | None = None,
    peak_milk_lb: Given = None,
    condition: Given = None,
) -> Group:
    """A group from plain values. Raises Refused `group-name-missing`, `calving-missing`, and as animals.checked."""
    plain = " ".join(name.split())
    if not plain:
        raise Refused(
            "group-name-missing", "The group has no name.", field="name", remedy="Name it: spring cows."
        )
    # The days are of no account here: what is checked is what they all have in common.
    like = checked(
        kind=kind,
        weight_lb=weight_lb,
        head=head,
        days_since_calving=0,
        peak_milk_lb=peak_milk_lb,
        condition=condition,
    )
    if like.kind == BULL:
        calved = None
    elif calving in (None, ""):
        raise Refused(
            "calving-missing",
            f"Nothing says when {plain} calve.",
            field="calving",
            remedy="Give the middle of their calving as a date, the last or the next one.",
        )
    else:
        calved = day(calving, field="calving")
    return Group(plain, like.kind, like.head, like.weight_lb, calved, like.peak_milk_lb, like.condition)


def animals_on(
    group: Group, on: date, *, effective_f: Decimal | None = None, coat: str | None = None
) -> Animals:
    """The group as it stands on a day. A first-calf heifer does not milk before her first calving."""
    since = to = None
    if group.calving is not None:
        apart = (on - group.calving).days
        in_year = apart % YEAR
        nursing = in_year <= WEANING and (apart >= 0 or group.kind != "first-calf heifer")
        since = in_year if nursing else None
        to = YEAR - in_year if in_year >= REBRED or since is None else None
    return Animals(
        kind=group.kind,
        weight_lb=group.weight_lb,
        head=group.head,
        days_since_calving=since,
        days_to_calving=to,
        peak_milk_lb=group.peak_milk_lb,
        condition=group.condition,
        effective_f=effective_f,
        coat=coat,
    )
