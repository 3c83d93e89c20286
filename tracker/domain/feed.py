"""Supplements: what is in them, how much of them is safe, and what they do to the hay eaten.

A table of composition is a starting point (protein and fiber vary by 15 %, energy by 10 %, minerals by 30 %:
Preston, Feed composition tables), so each feed carries its source and waits to be replaced by a tag or an analysis.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.units import POUNDS_PER_SHORT_TON, number, whole
from tracker.errors import Refused

MEAL, FIBER, GRAIN, SUGAR = "oilseed meal", "by-product", "grain", "molasses"
CUBE, TUB = "pellets or cubes", "tub"
KINDS = (MEAL, FIBER, GRAIN, SUGAR, CUBE, TUB)
COTTONSEED, NPN = "cottonseed", "urea"
MARKS = (COTTONSEED, NPN)
UNDATED = "undated"

# lb of hay that one lb leaves uneaten, dry. Our choice, after Chase & Hibberd 1987 (corn on poor hay 1.2) and an Iowa
# trial (soybean hulls with some corn: none).
SUBSTITUTION = {
    MEAL: Decimal(0),
    FIBER: Decimal("0.35"),
    CUBE: Decimal("0.35"),
    GRAIN: Decimal("0.6"),
    SUGAR: Decimal("0.6"),
    TUB: Decimal(0),
}
_KEY = re.compile(r"[a-z][a-z0-9-]{0,39}", re.ASCII)


@dataclass(frozen=True)
class Feed:
    """One supplement. dm: % as fed; cp to phosphorus: % of dry matter; degradable: % of its protein, in the rumen.

    most_bw: most a day, dry, % of body weight; most_of_diet: most of all dry matter eaten, %; substitution: lb of hay
    left for each lb eaten, dry; price_ton: $ a short ton as fed, None if nobody said; marks: of MARKS; from_memory:
    the values that nobody could look up; year: of the source, or "undated"; own: the programme has set values of it.
    """

    key: str
    name: str
    kind: str
    dm: Decimal
    cp: Decimal
    tdn: Decimal
    fat: Decimal
    sulfur: Decimal
    degradable: Decimal
    most_bw: Decimal
    substitution: Decimal
    source: str
    year: str
    ndf: Decimal | None = None
    calcium: Decimal | None = None
    phosphorus: Decimal | None = None
    most_of_diet: Decimal | None = None
    price_ton: Decimal | None = None
    marks: tuple[str, ...] = ()
    from_memory: tuple[str, ...] = ()
    note: str = ""
    offered: bool = True
    own: bool = False

    @property
    def starchy(self) -> bool:
        return self.kind == GRAIN

    @property
    def energy_counts(self) -> bool:
        """A tub is licked for its protein; what it brings in energy is too little to plan with."""
        return self.kind != TUB

    @property
    def cost_lb_dm(self) -> Decimal | None:
        """$ for a pound of its dry matter, None without a price."""
        if self.price_ton is None:
            return None
        return self.price_ton / POUNDS_PER_SHORT_TON / (self.dm / 100)

    def as_fed(self, dm_lb: Decimal) -> Decimal:
        """Pounds as fed from pounds of dry matter."""
        return dm_lb / (self.dm / 100)


# % that a column can hold at all; our choice.
SPANS = {
    "dm": ("20", "100"),
    "cp": ("0", "300"),
    "tdn": ("0", "110"),
    "fat": ("0", "60"),
    "sulfur": ("0", "5"),
    "degradable": ("0", "100"),
    "most_bw": ("0.01", "1.5"),
    "substitution": ("0", "2"),
    "ndf": ("0", "90"),
    "calcium": ("0", "30"),
    "phosphorus": ("0", "20"),
    "most_of_diet": ("1", "100"),
    "price_ton": ("1", "5000"),
}
NEEDED = (
    "key",
    "name",
    "kind",
    "dm",
    "cp",
    "tdn",
    "fat",
    "sulfur",
    "degradable",
    "most_bw",
    "source",
    "year",
)
OPTIONAL = (
    "ndf",
    "calcium",
    "phosphorus",
    "most_of_diet",
    "substitution",
    "price_ton",
    "marks",
    "from_memory",
    "note",
    "offered",
)


def checked_feed(given: Mapping[str, str], *, own: bool = False) -> Feed:
    """A feed from the texts of NEEDED and OPTIONAL; an empty one counts as not given.

    Raises Refused `feed-incomplete`, `unknown-feed-value`, `not-a-feed-key`, `unknown-feed-kind`,
    `unknown-feed-mark`, `feed-implausible`, `not-yes-or-no`, and as units.number and whole.
    """
    texts = {name: str(text).strip() for name, text in given.items() if str(text).strip()}
    unknown = sorted(set(texts) - {*NEEDED, *OPTIONAL})
    if unknown:
        raise Refused(
            "unknown-feed-value",
            f"A feed has no {', '.join(unknown)}.",
            field=unknown[0],
            remedy=f"It has {', '.join((*NEEDED, *OPTIONAL))}.",
        )
    missing = [name for name in NEEDED if name not in texts]
    if missing:
        raise Refused(
            "feed-incomplete",
            f"The feed lacks {', '.join(missing)}.",
            field=missing[0],
            remedy="Give every value from its tag, its analysis, or a table with its source.",
        )
    kind = _kind(texts["kind"])
    numbers = {name: _share(texts[name], name) for name in SPANS if name in texts}
    numbers.setdefault("substitution", SUBSTITUTION[kind])
    return Feed(
        key=_key(texts["key"]),
        name=" ".join(texts["name"].split()),
        kind=kind,
        source=texts["source"],
        year=_year(texts["year"]),
        marks=_marks(texts.get("marks", "")),
        from_memory=tuple(texts.get("from_memory", "").replace(";", " ").split()),
        note=texts.get("note", ""),
        offered=_yes(texts.get("offered", "yes")),
        own=own,
        **numbers,
    )


def texts_of(feed: Feed) -> dict[str, str]:
    """The feed as the texts that checked_feed takes."""
    found = {name: getattr(feed, name) for name in (*NEEDED, *OPTIONAL)}
    found |= {"marks": ";".join(feed.marks), "from_memory": ";".join(feed.from_memory)}
    found |= {"offered": "yes" if feed.offered else "no"}
    return {
        name: format(value, "f") if isinstance(value, Decimal) else str(value)
        for name, value in found.items()
        if value not in (None, "")
    }


def _key(text: str) -> str:
    if not _KEY.fullmatch(text):
        raise Refused(
            "not-a-feed-key",
            f"{text!r} cannot be a feed's short name.",
            field="key",
            remedy="Use small letters, digits and hyphens, beginning with a letter: soybean-hulls.",
        )
    return text


def _kind(text: str) -> str:
    kind = " ".join(text.lower().split())
    if kind not in KINDS:
        raise Refused(
            "unknown-feed-kind",
            f"{text!r} is not a kind of feed.",
            field="kind",
            remedy=f"Choose from {', '.join(KINDS)}.",
        )
    return kind


def _marks(text: str) -> tuple[str, ...]:
    marks = tuple(part.strip() for part in text.split(";") if part.strip())
    for mark in marks:
        if mark not in MARKS:
            raise Refused(
                "unknown-feed-mark",
                f"{mark!r} is no mark of a feed.",
                field="marks",
                remedy=f"Choose from {', '.join(MARKS)}, divided by semicolons.",
            )
    return marks


def _share(text: str, name: str) -> Decimal:
    value = number(text, field=name)
    least, most = (Decimal(end) for end in SPANS[name])
    if not least <= value <= most:
        raise Refused(
            "feed-implausible",
            f"{name} {value} lies outside {least} to {most}.",
            field=name,
            remedy="Check the unit: shares are in % of dry matter, the price in $ a short ton as fed.",
        )
    return value


def _year(text: str) -> str:
    return text if text == UNDATED else str(whole(text, field="year", least=1900))


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        raise Refused(
            "not-yes-or-no", f"{text!r} is neither yes nor no.", field="offered", remedy="Write yes or no."
        )
    return text == "yes"
