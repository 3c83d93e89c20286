"""Commands that keep the season safe: a backup while others work, and the way back, each proved before it is used;
and what is kept beside the log, made again from it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import (
    acting,
    command,
    counted,
    database_faults,
    integer,
    key_file_of,
    open_season,
    say,
    table,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tracker.domain.signed_head import PublicKey
    from tracker.files.key_file import KeyFile
    from tracker.storage.backup import Manifest
    from tracker.storage.engine import Database

NOT_WHOLE = "not-whole"
_KEYS = (
    "No key is in it, on purpose: whoever finds a backup can read it, and can sign nothing.",
    "Keep a copy of the key files apart, where the backups are not.",
)


def add(commands: Any) -> None:
    """Add the commands of this room."""
    backup = command(
        commands, "backup", "copy the season to a file while others work, and try it", _backup, acts=False
    )
    backup.add_argument("folder", nargs="?", help="where to put it; else TRACKER_BACKUP_FOLDER")
    backup.add_argument(
        "--keep", type=integer, metavar="COUNT", help="take older backups of the folder away down to so many"
    )
    restore = command(
        commands, "restore", "make a season of a backup again, and look through it", _restore, acts=False
    )
    restore.add_argument("file")
    restore.add_argument("--to", required=True, metavar="FILE", help="the new season; nothing may be there")
    command(
        commands,
        "count-again",
        "make again what is kept beside the log, and say what was wrong",
        _count_again,
    )


def _backup(asked: argparse.Namespace) -> int:
    from tracker.storage import backup
    from tracker.storage.engine import Database

    folder = _folder(asked)
    with closing(open_season(asked)) as season, _beside(folder) as part:
        now = season.clock()
        backup.copy_of(season, part)
        copy = Database(f"sqlite:///{part}")
        faults = faults_in(copy, keys_of(season.key_file))
        path, manifest = backup.pack(copy, folder, now, mark=NOT_WHOLE if faults else "")
    # What the disk gave back is what counts, not what was sent to it.
    with _beside(folder) as part:
        backup.unpack(path, part)
    older = [] if faults else _thin_out(folder, asked.keep)
    values = {"file": path, "faults": faults, "taken_away": older, **vars(manifest)}
    say(asked, values, *_made_lines(path, manifest, faults, older))
    return int(bool(faults))


def _made_lines(path: Path, manifest: Manifest, faults: list[str], older: list[Path]) -> list[str]:
    found = [f"{path}: {counted(manifest.events, 'event')}, {manifest.bytes / 1e6:.1f} MB of season."]
    if faults:
        return [*found, *_not_whole_lines(faults)]
    found.append("It was unpacked again, and the log in it is whole.")
    if older:
        found.append(f"Taken away: {counted(len(older), 'older backup')}.")
    return [*found, *_KEYS]


def _not_whole_lines(faults: list[str]) -> list[str]:
    return [
        "THE SEASON IN IT IS NOT WHOLE:",
        *(f"  {fault}" for fault in faults),
        "Take no older backup away, and find out since when: `tracker restore` says it of each.",
    ]


def _restore(asked: argparse.Namespace) -> int:
    from pathlib import Path

    from tracker.settings import read
    from tracker.steps.sign_in import end_everybody
    from tracker.storage import backup
    from tracker.storage.engine import Database

    target = _target(asked.to)
    with _beside(target.parent) as part:
        manifest = backup.unpack(Path(asked.file), part)
        with closing(Database(f"sqlite:///{part}")) as season, database_faults(season.url):
            # Of an older program it is brought up to this one; the backup itself stays as it is.
            season.migrate()
            keys = keys_of(key_file_of(Database(f"sqlite:///{target}"), read().log_key_file))
            faults = faults_in(season, keys)
            # A sign-in that was ended since would be open again.
            with season.act("restore", "", {}) as session:
                end_everybody(session, season.clock())
        part.replace(target)
    values = {"season": target, "faults": faults, "signatures_checked": bool(keys), **vars(manifest)}
    say(asked, values, *_restored_lines(target, manifest, faults, signed=bool(keys)))
    return int(bool(faults))


def _restored_lines(target: Path, manifest: Manifest, faults: list[str], *, signed: bool) -> list[str]:
    found = [f"{target} is the season as it was at {manifest.made_at}: {counted(manifest.events, 'event')}."]
    found += _not_whole_lines(faults) if faults else ["The log in it is whole."]
    if not signed:
        found.append(
            "No signature was checked, for the log's key is not at hand: `tracker custody audit --keys`."
        )
    return [
        *found,
        "Everybody signs in anew. Shut out and erase again whoever was shut out or erased since then.",
        f"What was entered since is not in it. Serve it with --database sqlite:///{target}.",
    ]


def _count_again(asked: argparse.Namespace) -> None:
    from tracker.steps.count_again import count_again

    with acting(asked) as (session, _):
        found = count_again(session)
    wrong = sum(one.wrong for one in found)
    said = f"{counted(wrong, 'row')} said something else, and {'is' if wrong == 1 else 'are'} right now."
    rows = [(one.what, one.rows, one.wrong) for one in found]
    last = said if wrong else "All of it was right."
    say(asked, found, *table(("kept beside the log", "rows", "wrong"), rows), last)


def keys_of(file: KeyFile | None) -> list[PublicKey]:
    """The public keys in the log's key file; none where there is no file, or it cannot be read."""
    from contextlib import suppress

    from tracker.errors import Refused

    with suppress(Refused):
        key = None if file is None else file.key()
        return [] if key is None else list(key.known)
    return []


def faults_in(season: Database, keys: Sequence[PublicKey]) -> list[str]:
    """Everything that is wrong with a season of this version, a sentence each: its file, its tables, what was signed.

    keys: the log's public keys; without any the signatures are not looked at.
    """
    from tracker.lookups.log_audit import audit
    from tracker.lookups.log_check import MOST_FAULTS, check_log
    from tracker.storage.backup import faults_of_file

    # In a damaged file the log need not even be readable.
    found = faults_of_file(season)
    if found:
        return found
    with season.read() as session:
        found = list(check_log(session).faults)
        if keys:
            found += [fault.words for fault in audit(session, keys).faults]
    return found[:MOST_FAULTS]


def _folder(asked: argparse.Namespace) -> Path:
    from pathlib import Path

    from tracker.errors import Refused
    from tracker.settings import read

    told = asked.folder or read().backup_folder
    if not told:
        raise Refused(
            "no-backup-folder",
            "It is not said where the backup is to go.",
            field="folder",
            remedy="Name a folder on another disk, or set TRACKER_BACKUP_FOLDER.",
        )
    folder = Path(told)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise Refused(
            "file-not-written",
            f"{folder} cannot be made: {fault.strerror or fault}.",
            field="folder",
            remedy="Name a folder that you may write in.",
        ) from fault
    return folder


def _target(told: str) -> Path:
    from pathlib import Path

    from tracker.errors import Conflict

    target = Path(told.removeprefix("sqlite:///")).absolute()
    # A -wal left beside a season that is gone would be played into the restored one.
    if any(Path(f"{target}{more}").exists() for more in ("", "-wal", "-shm")):
        raise Conflict(
            "restore-over-season",
            f"Something is at {target} already.",
            field="to",
            remedy="Restore beside it under another name, look at it, and then serve that one.",
        )
    return target


@contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """A place for a season on the same disk, which is gone afterwards with all that SQLite put beside it."""
    import sqlite3
    import tempfile
    from pathlib import Path

    from tracker.errors import Refused

    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".season-", dir=folder) as place:
            yield Path(place).absolute() / "season.db"
    except (OSError, sqlite3.OperationalError) as fault:
        raise Refused(
            "file-not-written",
            f"{folder} cannot be written: {getattr(fault, 'strerror', None) or fault}.",
            field="folder",
            remedy="Name a folder that you may write in, on a disk that is not full.",
        ) from fault


def _thin_out(folder: Path, keep: int | None) -> list[Path]:
    from tracker.storage.backup import SUFFIX

    if keep is None:
        return []
    # By name they stand in the order in which they were made.
    known = sorted(path for path in folder.glob(f"*{SUFFIX}") if not path.name.startswith("."))
    older = known[: -max(keep, 1)]
    for path in older:
        path.unlink()
    return older
