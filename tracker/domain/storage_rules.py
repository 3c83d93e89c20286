"""How much hay storing loses: rules of the programme's practice, each in % of the dry matter over nine months.

Published figures differ widely with rain, ground and months (outside on the ground 5 to 35 %), so each is a rule to
be set for the place. Sources: Texas A&M, Round bale hay storage (up to 9 months; LSU, 280 days); Iowa State in Hay
& Forage Grower; Purdue, as quoted by Texas A&M; North Carolina Cooperative Extension.
"""

from __future__ import annotations

MONTHS = 9

# The way of storing as a lot has it; the share lost over nine months; where it is from.
_LOSSES = (
    ("barn", "5", "Iowa State and North Carolina 5, Texas A&M under 2, LSU 3"),
    ("covered on ground", "9", "LSU, tarp, 280 days; Texas A&M 5 to 10"),
    ("covered and raised", "6", "Texas A&M 2 to 4, Iowa State 10; between them"),
    ("outside on ground", "24", "Purdue: 76 % kept; Texas A&M 5 to 20, Iowa State 25 to 35"),
    ("outside raised", "15", "Purdue: 85 % kept; Texas A&M 3 to 15, Iowa State 20"),
    ("wrapped", "7", "Iowa State 7, North Carolina 10"),
    ("", "15", "our choice where nobody said how it is stored: the middle of the others"),
)


def rule_of(storage: str) -> str:
    """The rule's name for a lot's way of storing, "" for one that nobody said."""
    return f"storage_loss_{storage.replace(' ', '_') or 'unknown'}"


STORAGE_RULES: tuple[tuple[str, str, str, str, str], ...] = tuple(
    (
        rule_of(way),
        loss,
        "%",
        f"dry matter lost in nine months of storing: {way or 'nobody said how'}",
        source,
    )
    for way, loss, source in _LOSSES
)
