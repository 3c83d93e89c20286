"""Two grinds, coarse then fine, and how dry the hay must be for each (NFTA sample preparation).

The whole sample is ground coarse before anything is divided from it; the fine grind must use the screen that
the scan's calibration was made with, since particle size changes the scatter (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from tracker.domain.findings import CAUTION, NOTE, Finding
from tracker.domain.practice import COMMON, Practice
from tracker.errors import Refused

COARSE, FINE = "coarse", "fine"
GRIND_STAGES = (COARSE, FINE)

# Common practice at the bench; shown beside the act, before it is begun.
SAFETY: dict[str, tuple[Finding, ...]] = {
    "mill": (
        Finding("mill-hands", CAUTION, "Switch off, unplug and wait for standstill before opening the mill."),
        Finding("mill-dust", CAUTION, "Wear a dust mask and run the extraction; mouldy hay is worse."),
        Finding("mill-eyes-ears", CAUTION, "Wear eye and ear protection. Tie back hair and sleeves."),
    ),
    "oven": (
        Finding("oven-burns", CAUTION, "Wear heat-proof gloves; racks and sacks are hot."),
        Finding("oven-fire", CAUTION, "Keep hay off the heating element and do not pack sacks tight."),
        Finding("oven-plastic", CAUTION, "Paper sacks only; no plastic bag goes into the oven."),
    ),
}


def gate(
    stage: str,
    screen_mm: Decimal,
    *,
    done: Mapping[str, Decimal],
    dm: Decimal | None = None,
    dried: bool = False,
    practice: Practice = COMMON,
) -> tuple[Finding, ...]:
    """What is to be said of a grind that may be done, or Refused.

    done: stages already ground, with their screens in mm. dm: % dry matter of the hay as it is now, by moisture
    meter or quick test; not partial DM, which tells what it lost and not what it still holds. dried: it came
    out of the first oven. Codes: `unknown-grind`, `grind-out-of-order`, `not-positive`, `screen-not-finer`,
    `too-moist-to-grind`.
    """
    _check_order(stage, done)
    _check_screen(stage, screen_mm, done)
    found = _dry_enough(stage, dm, dried, practice)
    usual = practice.number(f"{stage}_screen")
    if screen_mm != usual:
        level = CAUTION if stage == FINE else NOTE
        words = f"Ground through {screen_mm} mm; the {stage} screen here is {usual} mm."
        found.append(Finding("screen-not-usual", level, words))
    return tuple(found)


def _check_order(stage: str, done: Mapping[str, Decimal]) -> None:
    if stage not in GRIND_STAGES:
        raise Refused(
            "unknown-grind",
            f"{stage!r} is not a grind.",
            field="stage",
            remedy=f"Choose from {', '.join(GRIND_STAGES)}.",
        )
    if stage in done:
        said, remedy = f"The {stage} grind is already recorded.", "Amend that entry if it is wrong."
    elif stage == COARSE and FINE in done:
        said, remedy = "The fine grind is already recorded.", "Amend that entry if it is wrong."
    elif stage == FINE and COARSE not in done:
        said, remedy = "The hay has not been ground coarse.", "Grind all of it coarse first, and record it."
    else:
        return
    raise Refused("grind-out-of-order", said, field="stage", remedy=remedy)


def _check_screen(stage: str, screen_mm: Decimal, done: Mapping[str, Decimal]) -> None:
    if screen_mm <= 0:
        raise Refused(
            "not-positive",
            f"{screen_mm} mm is no screen.",
            field="screen_mm",
            remedy="Read it off the screen.",
        )
    if stage == FINE and screen_mm >= done[COARSE]:
        raise Refused(
            "screen-not-finer",
            f"The {screen_mm} mm screen is not finer than the {done[COARSE]} mm of the coarse grind.",
            field="screen_mm",
            remedy="Change the screen, or amend the coarse grind if that was noted wrong.",
        )


def _dry_enough(stage: str, dm: Decimal | None, dried: bool, practice: Practice) -> list[Finding]:
    least = practice.number(f"{stage}_dm_least")
    if dm is not None and dm >= least:
        return []
    if dm is None and dried:
        words = f"Dried, but not known to hold {least} % dry matter. If the mill clogs, dry it further."
        return [] if stage == COARSE else [Finding("dryness-not-measured", NOTE, words)]
    known = "Nothing tells how dry the hay is" if dm is None else f"The hay holds {dm} % dry matter"
    raise Refused(
        "too-moist-to-grind",
        f"{known}; the {stage} grind needs {least} %.",
        field="dm",
        remedy="Put it through the oven first, or measure its moisture.",
    )
