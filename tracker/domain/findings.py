"""What is remarked on a value or an act: a note, a caution that goes with it, or a reason to put on hold.

A finding never stops anything from being recorded (ISO/IEC 17025:2017, 7.4.3: a doubt is kept and said). What
cannot be true at all is refused instead.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

NOTE, CAUTION, HOLD = "note", "caution", "hold"
LEVELS = (NOTE, CAUTION, HOLD)


@dataclass(frozen=True)
class Finding:
    """One remark. code: short and hyphened; words: a sentence for people; constituents: the values it is about."""

    code: str
    level: str
    words: str
    constituents: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.level not in LEVELS:
            raise ValueError(f"{self.level!r} is not a level; known are {', '.join(LEVELS)}")

    def as_data(self) -> dict[str, Any]:
        """The remark as plain values, as it is kept with what it was made on."""
        return {
            "code": self.code,
            "level": self.level,
            "words": self.words,
            "constituents": list(self.constituents),
        }


def worst(findings: Iterable[Finding]) -> str | None:
    """The gravest level among the findings, None when there are none."""
    return max((finding.level for finding in findings), key=LEVELS.index, default=None)
