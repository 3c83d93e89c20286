"""What a person should be told before hay is fed or stacked: cautions, never verdicts.

Published scales differ, so each caution names the one it uses, and each leaves the decision to a veterinarian
or to local guidance. That no caution appears does not make hay safe: much is never tested. The bench's own
safety lines stand with the grinds and the oven (tracker.domain.grinding.SAFETY).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.analysis import CONSTITUENTS, NITRATE_FORMS, as_nitrate, nitrate_nitrogen
from tracker.domain.heat import heat_step
from tracker.domain.lot import LARGE_SQUARE, ROUND, SMALL_SQUARE
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places

_ASK = "Caution only: ask your veterinarian or county extension office before feeding."
_ASK_FIRE = "Caution only: local fire service guidance comes first."


@dataclass(frozen=True)
class Caution:
    """One caution. topic: "nitrate", "heat damage", "moisture", "mould", "soil", "hot hay"; words: for the owner."""

    code: str
    topic: str
    words: str
    source: str


def cautions_for(
    values_dm: Mapping[str, Decimal],
    total_dm: Decimal | None,
    bale_shape: str,
    conditions: tuple[str, ...],
    *,
    forage_class: str | None = None,
    practice: Practice = COMMON,
) -> tuple[Caution, ...]:
    """All cautions for a report, the gravest topic first.

    values_dm: on dry matter, in each constituent's own unit (nitrate in mg/kg, the others in %). total_dm: % as
    received, None if unknown. conditions: as the desk noted them. forage_class None: the milder ash limit.
    """
    return (
        *nitrate(values_dm),
        *seen_at_the_desk(conditions),
        *moisture(total_dm, bale_shape),
        *heat_damage(values_dm, practice),
        *soil(values_dm, forage_class),
    )


# From NO3-N in mg/kg of dry matter. A value on a step counts for the step above, which is the safer reading.
_NITRATE_SCALE = "Clemson Agricultural Service Laboratory, Nitrate nitrogen levels"
_NITRATE_STEPS: tuple[tuple[int, str, str], ...] = (
    (4000, "nitrate-do-not-feed", "do not feed it"),
    (3500, "nitrate-quarter", "at most a quarter of the ration's dry matter, and none to pregnant animals"),
    (2000, "nitrate-third", "at most 35 % of the ration's dry matter, and none to pregnant animals"),
    (1500, "nitrate-half", "at most half of the ration's dry matter"),
    (1000, "nitrate-pregnant", "at most half of the ration's dry matter for pregnant animals"),
)
_CP_THAT_HINTS_AT_NITRATE = 25


def nitrate(values_dm: Mapping[str, Decimal]) -> tuple[Caution, ...]:
    """A caution by the Clemson scale from whichever form of nitrate was reported; of several, the highest.

    Where none was and CP is above 25 %, a caution to test (Shewmaker, Interpreting forage quality tests).
    """
    forms = [as_nitrate(values_dm[form], form) for form in NITRATE_FORMS if form in values_dm]
    if forms:
        return _nitrate_step(max(forms))
    if values_dm.get("CP", Decimal(0)) > _CP_THAT_HINTS_AT_NITRATE:
        words = f"Crude protein above {_CP_THAT_HINTS_AT_NITRATE} % may be nitrate in part: have it tested. {_ASK}"
        source = "Shewmaker (Idaho), Interpreting forage quality tests"
        return (Caution("nitrate-not-tested", "nitrate", words, source),)
    return ()


def _nitrate_step(no3: Decimal) -> tuple[Caution, ...]:
    # Judged to a tenth, since a value reported on a step comes back from NO3 a hair under it.
    nitrogen = to_places(nitrate_nitrogen(no3), 1)
    for least, code, advice in _NITRATE_STEPS:
        if nitrogen >= least:
            amounts = (
                f"Nitrate (NO3) {to_places(no3, 0)} mg/kg, which is {to_places(nitrogen, 0)} mg/kg as NO3-N"
            )
            words = f"{amounts}, both in dry matter. One published scale (Clemson) advises: {advice}. {_ASK}"
            return (Caution(code, "nitrate", words, _NITRATE_SCALE),)
    return ()


def heat_damage(values_dm: Mapping[str, Decimal], practice: Practice = COMMON) -> tuple[Caution, ...]:
    """A caution where ADICP is more than bound_protein_limit (% of CP)."""
    cp, bound = values_dm.get("CP"), values_dm.get("ADICP")
    limit = practice.number("bound_protein_limit")
    if cp is None or bound is None or cp <= 0 or 100 * bound / cp <= limit:
        return ()
    words = (
        f"{to_places(100 * bound / cp, 0)} % of the protein is bound, more than the usual {limit} %: the hay has "
        f"heated. Plan with adjusted crude protein, and confirm by wet chemistry where protein is tight. {_ASK}"
    )
    return (Caution("heat-damage", "heat damage", words, practice.source("bound_protein_limit")),)


# % moisture when baled; the upper ends of the ranges for safe storage.
_MOISTURE_SOURCE = "Government of Alberta, Bale moisture; six weeks by CDQAP (California) 2020"
SAFE_MOISTURE = {SMALL_SQUARE: Decimal(20), ROUND: Decimal(18), LARGE_SQUARE: Decimal(16)}


def moisture(total_dm: Decimal | None, bale_shape: str) -> tuple[Caution, ...]:
    """A caution where the hay is moister than bales of its shape keep at; none for a shape not in SAFE_MOISTURE."""
    limit = SAFE_MOISTURE.get(bale_shape)
    if total_dm is None or limit is None or 100 - total_dm <= limit:
        return ()
    words = (
        f"The hay holds {to_places(100 - total_dm, 1)} % water; {bale_shape} bales keep safely up to {limit} %. "
        f"It may heat or mould: take the stack's temperature daily for six weeks after baling. {_ASK_FIRE}"
    )
    return (Caution("moist-hay", "moisture", words, _MOISTURE_SOURCE),)


_DESK: dict[str, tuple[str, str, str]] = {
    "mould": (
        "mould-seen",
        "mould",
        f"Mould was seen. Its dust harms people and horses: wear a mask. {_ASK}",
    ),
    "hot": ("hot-seen", "hot hay", f"The bag came hot: take the stack's temperature today. {_ASK_FIRE}"),
    "foreign matter": (
        "foreign-matter-seen",
        "soil",
        f"Soil, twine or other matter was in the bag: look through the bales for wire and other hazards. {_ASK}",
    ),
}


def seen_at_the_desk(conditions: tuple[str, ...]) -> tuple[Caution, ...]:
    """Cautions for conditions noted on receipt (tracker.domain.intake.CONDITIONS); the others have none."""
    return tuple(
        Caution(*_DESK[seen], "common practice") for seen in dict.fromkeys(conditions) if seen in _DESK
    )


# % ash in dry matter: up to 3 of soil over what the plant holds itself (alfalfa 8, grass 6).
_ASH_SOURCE = "Ohio State Univ. 2017, Minimize forage ash content; Undersander, Ash in forage"
ASH_LIMITS = {"legume": 11, "legume-grass": 11, "cool grass": 9, "warm grass": 9}


def soil(values_dm: Mapping[str, Decimal], forage_class: str | None = None) -> tuple[Caution, ...]:
    """A caution where ash is above ASH_LIMITS, which speaks for soil in the hay."""
    ash = values_dm.get("ash")
    limit = ASH_LIMITS.get(forage_class or "legume", 11)
    if ash is None or ash <= limit:
        return ()
    words = (
        f"{CONSTITUENTS['ash'].name.capitalize()} is {to_places(ash, 1)} %; above {limit} % part of it is likely "
        f"soil. Each point of ash takes about one point of TDN. {_ASK}"
    )
    return (Caution("soil-in-hay", "soil", words, _ASH_SOURCE),)


def hot_hay(celsius: Decimal) -> tuple[Caution, ...]:
    """What is advised at this temperature inside a stack; nothing under 120 F (49 C), usual in the first days."""
    step = heat_step(celsius)
    if step is None:
        return ()
    at = f"{to_places(celsius * 9 / 5 + 32, 0)} F ({to_places(celsius, 0)} C)"
    words = f"At {at}, {step.advice}. Never walk on a hot stack. {_ASK_FIRE}"
    return (Caution("hot-hay", "hot hay", words, step.source),)
