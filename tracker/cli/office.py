"""Commands of the office: the season itself, the programme's rules, what was refused, and the demonstration."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import (
    acting,
    command,
    database_faults,
    integer,
    open_season,
    progress,
    reading,
    say,
    table,
)

if TYPE_CHECKING:
    from tracker.storage.engine import Database


def add(commands: Any) -> None:
    """Add the commands of this room."""
    init = command(
        commands, "init", "make a new season, or bring an old one up to this program", _init, acts=False
    )
    init.add_argument(
        "--let", metavar="ACCOUNT", help="let this account of the database server read and add, for the pages"
    )
    command(
        commands,
        "practice",
        "list the programme's rules, their values and where they come from",
        _practice,
        acts=False,
    )
    own = command(commands, "set-practice", "make one of the rules the programme's own", _set_practice)
    own.add_argument("rule")
    own.add_argument("value")
    own.add_argument("--source", required=True, help="where the value comes from")
    own.add_argument("--reason", required=True)
    listed = command(
        commands, "equipment", "list what is known of ovens, mills and instruments", _equipment, acts=False
    )
    listed.add_argument("--all", action="store_true", help="what was known of them before too")
    described = command(
        commands, "set-equipment", "describe an oven, a mill or an instrument", _set_equipment
    )
    described.add_argument("kind", help="oven, mill or instrument")
    described.add_argument("name", help="as people write it beside a load or a grind")
    described.add_argument("--facts", required=True, help="what is known of it, in words")
    described.add_argument("--reason", required=True)
    described.add_argument("--left", action="store_true", help="it has left the bench")
    refused = command(commands, "refusals", "list what was asked and refused", _refusals, acts=False)
    refused.add_argument("--last", type=integer, default=20, metavar="COUNT")
    demo = command(
        commands, "demo", "play an invented season and leave its papers to open", _demo, acts=False
    )
    demo.add_argument("--out", default="demo", metavar="FOLDER", help="where to put it (default %(default)s)")


def _init(asked: argparse.Namespace) -> None:
    from alembic.util import CommandError

    from tracker.errors import NotFound
    from tracker.steps.sign_log import catch_up

    with closing(open_season(asked, checked=False)) as season:
        try:
            with database_faults(season.url):
                season.migrate(let=_account(season, asked.let))
                with season.act(asked.act, "", {}) as session:
                    catch_up(session)
        except CommandError:
            # Its version is not among this program's.
            raise NotFound(
                "database-version",
                f"{season.shown} was made by a newer program.",
                field="database",
                remedy="Use the newer program for it.",
            ) from None
        key, *lines = _log_key(season)
        say(asked, {"database": season.shown, "log_key": key}, *lines, f"{season.shown} is ready.")


def _account(season: Database, asked: str | None) -> str | None:
    from tracker.errors import Refused

    if asked is not None and season.file is not None:
        raise Refused(
            "no-accounts",
            "A season in a file has no accounts of its own.",
            field="let",
            remedy="Leave --let away; who may read and write the file is said by its folder.",
        )
    return asked


def _log_key(season: Database) -> list[str]:
    """The log's public key, made where there is none, and what to do about it."""
    from urllib.parse import urlsplit

    from tracker.settings import read

    file = season.key_file
    if file is None:
        return ["", "No key signs its log: set TRACKER_LOG_KEY_FILE and run `tracker init` again."]
    key = file.key()
    if key is not None:
        return [str(key.public), f"Its log is signed with the key in {file.path}."]
    made = file.make(urlsplit(read().base_url).hostname or "localhost")
    return [
        str(made.public),
        f"A key that signs its log was made in {file.path}. Keep a copy apart from the database and its backups.",
        f"Publish its public half: {made.public}",
    ]


def _practice(asked: argparse.Namespace) -> None:
    from tracker.domain.practice import RULES
    from tracker.storage.kept import practice_in_force

    with reading(asked) as session:
        practice = practice_in_force(session)
    found = [
        {
            "rule": name,
            "value": practice.word(name),
            "unit": rule.unit,
            "decides": rule.decides,
            "source": practice.source(name),
            "own": practice.is_own(name),
        }
        for name, rule in RULES.items()
    ]
    rows = [(one["rule"], one["value"], one["unit"], one["decides"], one["source"]) for one in found]
    say(asked, found, *table(("rule", "value", "unit", "what it decides", "source"), rows))


def _set_practice(asked: argparse.Namespace) -> None:
    from tracker.steps.set_practice import set_practice

    with acting(asked) as (session, act):
        row = set_practice(session, asked.rule, asked.value, act, source=asked.source, reason=asked.reason)
    say(asked, {"rule": row.rule, "value": row.value}, f"{row.rule} is {row.value} from now on.")


def _equipment(asked: argparse.Namespace) -> None:
    from tracker.lookups.settings_kept import settings_kept
    from tracker.steps.set_equipment import KINDS

    with reading(asked) as session:
        shelves = [shelf for shelf in settings_kept(session) if shelf.kind in KINDS]
    listed = [
        (one.kind, one.name, change)
        for shelf in shelves
        for one in shelf.settings
        for change in (one.changes if asked.all else one.changes[:1])
    ]
    found = [
        {"kind": kind, "name": name, "version": change.version, "facts": change.value, "by": change.by}
        | {"at": change.at, "reason": change.reason}
        for kind, name, change in listed
    ]
    rows = [
        (kind, name, change.version, change.value, change.by, change.at.date(), change.reason)
        for kind, name, change in listed
    ]
    say(asked, found, *table(("kind", "name", "version", "what is known", "who", "when", "why"), rows))


def _set_equipment(asked: argparse.Namespace) -> None:
    from tracker.steps.set_equipment import set_equipment

    with acting(asked) as (session, act):
        row = set_equipment(
            session,
            asked.kind,
            asked.name,
            act,
            facts=asked.facts,
            reason=asked.reason,
            in_use=not asked.left,
        )
        said = {"kind": row.kind, "name": row.name, "version": row.version}
    say(asked, said, f"{said['name']} is kept as version {said['version']}.")


def _refusals(asked: argparse.Namespace) -> None:
    from tracker.lookups.kept_refusals import refusals

    with reading(asked) as session:
        found = refusals(session, asked.last)
    rows = [
        (one.id, one.at.isoformat(timespec="seconds"), one.by, one.act, one.code, one.message)
        for one in found
    ]
    say(asked, found, *table(("no.", "when (UTC)", "who", "asked", "code", "why"), rows))


def _demo(asked: argparse.Namespace) -> None:
    from pathlib import Path

    from tracker.demo import play
    from tracker.lookups.bench_queue import waiting
    from tracker.lookups.kept_refusals import refusals

    folder = Path(asked.out)
    counters: dict[str, Any] = {}

    def shown(what: str, done: int, total: int) -> None:
        counters.setdefault(what, progress(asked, what))
        if counters[what]:
            counters[what](done, total)

    season = play(folder, shown)
    with season.database.read() as session:
        left, kept = len(waiting(session)), refusals(session)
    season.database.close()
    reports = sorted(path.name for path in (folder / "reports").glob("*.pdf"))
    values = {
        "folder": folder,
        "lots": len(season.lots),
        "reports": reports,
        "waiting": left,
        "refused_acts": kept,
    }
    say(asked, values, *_demo_lines(folder, season, len(reports), left, len(kept)))


def _demo_lines(folder: Any, season: Any, reports: int, left: int, kept: int) -> list[str]:
    database = f"--database {season.database.url}"
    return [
        f"{len(season.lots)} lots, {reports} reports issued, {left} samples wait for somebody.",
        f"Refused and kept on the way: {kept}. See `tracker refusals {database}`.",
        f"In {folder}: tags.pdf, sack-labels.pdf, test-page.pdf, season-plan.pdf, season.db, and the folders cards, "
        "oven, reports, answers and results.",
        "Ask the season, for example:",
        f"  tracker waiting {database}",
        f'  tracker way "lot 1" {database}',
        f"  tracker parked --all {database}",
        f'  tracker answer 4 --group "spring cows" --on 2026-12-15 {database}',
    ]
