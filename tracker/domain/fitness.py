"""Whether this hay may be fed to this group at all, whatever it brings: nitrate, mould, heat in the stack.

The cautions say what one published scale advises; here it is turned on one group of animals. Each reason is a
caution and leaves the decision to a veterinarian.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tracker.domain.animals import Animals
from tracker.domain.cautions import Caution


@dataclass(frozen=True)
class Unfit:
    """Why the hay is not for this group, or not as all it eats (whole: False)."""

    whole: bool
    words: str


# Code of a caution -> for animals that carry, for others: None it may be fed, else whether it is barred as a whole.
_NITRATE: dict[str, tuple[bool | None, bool | None]] = {
    "nitrate-do-not-feed": (True, True),
    "nitrate-quarter": (True, False),
    "nitrate-third": (True, False),
    "nitrate-half": (False, False),
    "nitrate-pregnant": (False, None),
}


def unfit(animals: Animals, cautions: Iterable[Caution]) -> tuple[Unfit, ...]:
    """Every reason against feeding this hay to these animals, the gravest first."""
    found = [one for caution in cautions for one in _judged(animals, caution)]
    return tuple(sorted(found, key=lambda one: not one.whole))


def _judged(animals: Animals, caution: Caution) -> Iterable[Unfit]:
    if caution.code in _NITRATE:
        barred = _NITRATE[caution.code][0 if _may_carry(animals) else 1]
        if barred is not None:
            yield Unfit(barred, caution.words)
    elif caution.topic == "hot hay":
        yield Unfit(True, f"The hay is hot: leave the stack alone until it has cooled. {caution.words}")
    elif caution.code == "mould-seen" and _may_carry(animals):
        yield Unfit(True, f"Mould can make cows lose their calves. {caution.words}")


def _may_carry(animals: Animals) -> bool:
    """A cow whose breeding nobody has told may have been bred: she counts as carrying, except right after calving."""
    return animals.pregnant or (animals.kind != "bull" and (animals.days_since_calving or 0) > 60)
