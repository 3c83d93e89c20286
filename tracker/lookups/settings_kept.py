"""Every setting of the programme: its value, where it comes from, and each change with who, when and why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels.stock import PRESETS
from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.practice import RULES
from tracker.errors import NotFound
from tracker.storage.analysis import Source, SourceMap
from tracker.storage.equipment import Balance, equipment_versions, names_in_use
from tracker.storage.feeding import feed_versions, feeds_in_force
from tracker.storage.kept import PracticeValue, practice_in_force
from tracker.storage.people import PartyRow, party_names
from tracker.storage.runs import CheckLimit

__all__ = [
    "SHELVES",
    "Change",
    "Setting",
    "Shelf",
    "names_in_use",
    "setting_named",
    "settings_kept",
    "settings_of",
]


@dataclass(frozen=True)
class Change:
    """One version of a setting. by: a name, reason: as it was given; both empty where nobody was asked."""

    version: int
    value: str
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True)
class Setting:
    """A setting as it is now; changes newest first, none where it stands as it came with the program."""

    kind: str
    name: str
    value: str
    unit: str
    decides: str
    source: str
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True)
class Shelf:
    """The settings of one kind. words: how they are changed, and what remembers the version it used."""

    kind: str
    title: str
    words: str
    settings: tuple[Setting, ...]


SHELVES = {
    "rule": (
        "The programme's rules",
        "Limits, margins, standard deviations and choices. A finding, a coring plan and a report keep the words "
        "and values that held when they were made.",
    ),
    "feed": (
        "Supplements",
        "Changed by `tracker set-feed` and `tracker import-feeds`. An interpretation keeps the table it used.",
    ),
    "map": (
        "Column maps of the sources",
        "Changed by `tracker add-source`. A file of results keeps the version that read it.",
    ),
    "limit": (
        "Limits of check samples",
        "Frozen on the page Check samples. A reading keeps the version that judged it.",
    ),
    "balance": (
        "Balances",
        "Changed on the page Balances. A check keeps the version it was made on; a weighing keeps the "
        "balance's name and its time.",
    ),
    "oven": ("Ovens", "A load's sacks keep the version that stood behind the oven's name."),
    "mill": ("Mills", "A grind keeps the version that stood behind the mill's name."),
    "instrument": ("Instruments", "An analysis keeps its source, calibration and the file it came in."),
    "place": (
        "Places",
        "A place never changes, for the gaps in custody rest on whether it is locked. A shelf that gets a lock is "
        "another place: `tracker add-place`.",
    ),
    "sheet": (
        "Label sheets and rolls",
        "They come with the program. A print run keeps the sheet and the offset it was printed by.",
    ),
}


def settings_kept(session: Session) -> tuple[Shelf, ...]:
    """Every shelf with its settings, in the order of SHELVES."""
    found: dict[str, list[Setting]] = defaultdict(list)
    for one in settings_of(session):
        found[one.kind].append(one)
    return tuple(Shelf(kind, title, words, tuple(found[kind])) for kind, (title, words) in SHELVES.items())


def settings_of(session: Session) -> tuple[Setting, ...]:
    """Every setting."""
    names = party_names(session)
    return (
        *_rules(session, names),
        *_feeds(session, names),
        *_maps(session, names),
        *_limits(session, names),
        *_balances(session, names),
        *_equipment(session, names),
        *_places(session),
        *_sheets(),
    )


def setting_named(session: Session, kind: str, name: str) -> Setting:
    """One setting. Raises NotFound `unknown-setting`."""
    for one in settings_of(session):
        if (one.kind, one.name) == (kind, name):
            return one
    raise NotFound(
        "unknown-setting",
        f"There is no {kind} {name!r} among the settings.",
        field="name",
        remedy="Choose from the list of settings.",
    )


def _newest_first(changes: Iterable[Change]) -> tuple[Change, ...]:
    return tuple(reversed(list(changes)))


def _rules(session: Session, names: dict[str, str]) -> list[Setting]:
    made: dict[str, list[Change]] = defaultdict(list)
    for row in session.scalars(select(PracticeValue).order_by(PracticeValue.id)):
        mine = made[row.rule]
        said = f"{row.reason} (from {row.source})"
        mine.append(Change(len(mine) + 1, row.value, said, names.get(row.by, row.by), row.at))
    practice = practice_in_force(session)
    return [
        Setting(
            "rule",
            name,
            practice.word(name),
            "" if rule.unit in ("1", "choice") else rule.unit,
            rule.decides,
            practice.source(name),
            _newest_first(made[name]),
        )
        for name, rule in RULES.items()
    ]


def _feeds(session: Session, names: dict[str, str]) -> list[Setting]:
    made: dict[str, list[Change]] = defaultdict(list)
    for row in feed_versions(session):
        said = ", ".join(f"{name} {value}" for name, value in row.given.items())
        made[row.key].append(Change(row.version, said, row.reason, names[row.by], row.at))
    return [
        Setting(
            "feed",
            feed.key,
            f"CP {feed.cp}, TDN {feed.tdn}",
            "% of dry matter",
            feed.name,
            f"{feed.source}, {feed.year}",
            _newest_first(made[feed.key]),
        )
        for feed in feeds_in_force(session)
    ]


def _maps(session: Session, names: dict[str, str]) -> list[Setting]:
    made: dict[int, list[Change]] = defaultdict(list)
    for row in session.scalars(select(SourceMap).order_by(SourceMap.source_id, SourceMap.version)):
        made[row.source_id].append(Change(row.version, row.body, row.reason, names[row.by], row.at))
    return [
        Setting(
            "map",
            source.name,
            f"version {made[source.id][-1].version}" if made[source.id] else "none",
            "",
            f"which column of a file holds what ({source.kind})",
            "the programme",
            _newest_first(made[source.id]),
        )
        for source in session.scalars(select(Source).order_by(Source.name))
    ]


def _limits(session: Session, names: dict[str, str]) -> list[Setting]:
    sources = {row.id: row.name for row in session.scalars(select(Source))}
    made: dict[tuple[str, str], list[Change]] = defaultdict(list)
    for row in session.scalars(select(CheckLimit).order_by(CheckLimit.id)):
        said = f"mean {row.mean}, SD {row.sigma}, from {row.n} readings"
        key = (f"{sources[row.source_id]}: {row.check_name}: {row.constituent}", row.constituent)
        made[key].append(Change(row.version, said, row.reason, names[row.by], row.at))
    return [
        Setting(
            "limit",
            name,
            changes[-1].value,
            CONSTITUENTS[code].unit if code in CONSTITUENTS else "",
            "when a run is held",
            "readings of the check sample",
            _newest_first(changes),
        )
        for (name, code), changes in sorted(made.items())
    ]


def _balances(session: Session, names: dict[str, str]) -> list[Setting]:
    made: dict[str, list[Change]] = defaultdict(list)
    for row in session.scalars(select(Balance).order_by(Balance.id)):
        said = f"{row.route}, {row.profile['name']}, check weight {row.check_weight} g within {row.limit} g"
        mine = made[row.name]
        mine.append(Change(len(mine) + 1, said, row.reason, names[row.by], row.at))
    decides = "how its readings come, and its daily check"
    return [
        Setting("balance", name, changes[-1].value, "", decides, "the programme", _newest_first(changes))
        for name, changes in sorted(made.items())
    ]


def _equipment(session: Session, names: dict[str, str]) -> list[Setting]:
    made: dict[tuple[str, str], list[Change]] = defaultdict(list)
    for row in equipment_versions(session):
        said = row.facts if row.in_use else f"{row.facts} (no more in use)"
        made[row.kind, row.name].append(Change(row.version, said, row.reason, names[row.by], row.at))
    return [
        Setting(
            kind, name, changes[-1].value, "", f"what the {kind} is", "the programme", _newest_first(changes)
        )
        for (kind, name), changes in sorted(made.items())
    ]


def _places(session: Session) -> list[Setting]:
    rows = session.scalars(select(PartyRow).where(PartyRow.kind == "place").order_by(PartyRow.key))
    return [
        Setting(
            "place",
            row.key,
            "locked" if row.secure else "not locked",
            "",
            row.name,
            "the programme",
            (Change(1, "added", "", "", row.added_at),),
        )
        for row in rows
    ]


def _sheets() -> list[Setting]:
    return [
        Setting(
            "sheet",
            stock.name,
            f"{stock.per_page} of {stock.label_w:g} x {stock.label_h:g} on {stock.page_w:g} x {stock.page_h:g}",
            "mm",
            "where labels stand on the paper",
            "public template files, common sizes",
        )
        for stock in PRESETS.values()
    ]
