"""Hay that heats: what is advised at which temperature of a stack. Published in degrees Fahrenheit."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.units import to_places


@dataclass(frozen=True)
class HeatStep:
    """From this temperature of a stack on, in degrees Fahrenheit as published, this is advised."""

    fahrenheit: int
    advice: str
    source: str

    @property
    def celsius(self) -> Decimal:
        """The same in whole degrees Celsius."""
        return to_places(Decimal(self.fahrenheit - 32) * 5 / 9, 0)


# Where published advice for one temperature differs, the stricter stands.
HOT_HAY = (
    HeatStep(212, "fire is almost certain: keep away and call the fire service", "Mississippi State Univ."),
    HeatStep(190, "hot hay is removed only with the fire service there", "Penn State, Wet hay and fires"),
    HeatStep(
        185,
        "burning pockets are likely and flare up in air: call the fire service",
        "Mississippi State Univ.",
    ),
    HeatStep(
        175, "hot spots are likely: call the fire service, stop all air movement", "Mississippi State Univ."
    ),
    HeatStep(170, "hay may take fire: do not move it without the fire service", "iGrow (South Dakota)"),
    HeatStep(
        160, "check every 2 hours; the fire service comes before the stack is moved", "Penn State; Cornell"
    ),
    HeatStep(150, "the stack is in danger: check every 2 hours", "Cornell"),
    HeatStep(140, "check twice a day", "Cornell"),
    HeatStep(130, "check often until it falls", "CDQAP (California) 2020"),
    HeatStep(120, "mould is likely and protein is being bound: check daily", "Ohio State (Sulc); Cornell"),
)


def heat_step(celsius: Decimal) -> HeatStep | None:
    """The gravest step that this temperature reaches, exactly or rounded to whole degrees; None under the lowest."""
    for step in HOT_HAY:
        if celsius * 9 / 5 + 32 >= step.fahrenheit or celsius >= step.celsius:
            return step
    return None
