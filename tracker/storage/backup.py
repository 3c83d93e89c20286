"""A season in one file, taken while others write, and back again; what the file says is proved before it is used.

The file is a zip that any computer opens: the database as it was at one instant, and manifest.json, which says how
much is in it and its SHA-256. No key is in it: whoever finds a backup can read it, and can sign nothing.
"""

from __future__ import annotations

import hashlib
import json
import lzma
import os
import shutil
import sqlite3
import zipfile
import zlib
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING

from sqlalchemy import func, select, text

from tracker.errors import NotFound, Refused
from tracker.files.disk import is_full
from tracker.storage.engine import Database, newest_version
from tracker.storage.schema import METADATA

if TYPE_CHECKING:
    from collections.abc import Iterator

SUFFIX = ".season.zip"
FORM = 1
_SEASON, _MANIFEST = "season.db", "manifest.json"
_CHUNK = 1 << 20
# All that reading a spoilt zip can end in; RuntimeError is its word for "encrypted".
_SPOILT = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    OSError,
    ValueError,
    RuntimeError,
)


@dataclass(frozen=True)
class Manifest:
    """form: of this file; version: of the tables; events: the number of the last one; rows: of every table."""

    form: int
    made_at: str
    version: str
    events: int
    rows: dict[str, int]
    bytes: int
    sha256: str


def copy_of(season: Database, to: Path) -> None:
    """The season as it is now, at this path, while others go on writing. Raises Refused `backup-by-server`.

    SQLite's backup in one step reads one snapshot: under WAL it keeps no writer waiting (sqlite.org/backup.html).
    """
    if season.engine.dialect.name != "sqlite":
        raise Refused(
            "backup-by-server",
            f"The season is kept by {season.engine.dialect.name}, which makes its own backups.",
            field="database",
            remedy="Use its own tool, such as pg_dump --format=custom, and try restoring what it made.",
        )
    with season.engine.connect() as connection, closing(sqlite3.connect(to)) as target:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        source.backup(target, pages=-1)


def faults_of_file(season: Database) -> list[str]:
    """What SQLite itself finds wrong with the file: damaged pages, and rows that point at nothing."""
    with season.engine.connect() as connection:
        pages = [str(row[0]) for row in connection.execute(text("pragma integrity_check"))]
        astray = [str(row[0]) for row in connection.execute(text("pragma foreign_key_check"))]
    return [words for words in pages if words != "ok"] + [
        f"A row of {table} points at nothing." for table in sorted(set(astray))
    ]


def pack(season: Database, folder: Path, now: datetime, *, mark: str = "") -> tuple[Path, Manifest]:
    """Make the backup of a copy, in the folder; it appears whole or not at all. The copy is closed here.

    mark: a word for its name, where it is not as a backup should be.
    """
    events, rows = counted(season)
    season.close()
    path = Path(str(season.engine.url.database))
    size, digest = _measured(path)
    manifest = Manifest(FORM, now.isoformat(), newest_version(), events, rows, size, digest)
    part = folder / f".{now:%Y%m%dT%H%M%SZ}.{os.getpid()}.part"
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as packed:
            packed.write(path, _SEASON)
            packed.writestr(_MANIFEST, json.dumps(asdict(manifest), indent=1, sort_keys=True))
        _flush(part)
        done = _free_name(folder, f"{now:%Y-%m-%dT%H%M%SZ}{mark and '-' + mark}")
        part.replace(done)
    finally:
        part.unlink(missing_ok=True)
    return done, manifest


def counted(season: Database) -> tuple[int, dict[str, int]]:
    """The number of the last event, and how many rows each table has."""
    tables = METADATA.tables
    with season.engine.connect() as connection:
        last = connection.scalar(select(func.max(tables["event"].c.seq)))
        rows = {
            name: connection.scalar(select(func.count()).select_from(table)) or 0
            for name, table in sorted(tables.items())
        }
    return last or 0, rows


def manifest_in(path: Path) -> Manifest:
    """What a backup says of itself. Raises NotFound `file-missing`, Refused `not-a-backup`."""
    with _opened(path) as packed:
        return _manifest(path, packed)


def unpack(path: Path, to: Path) -> Manifest:
    """Put the season in a backup at this path, proved by its size and SHA-256.

    Raises NotFound `file-missing`, Refused `not-a-backup`, `backup-damaged`.
    """
    with _opened(path) as packed:
        manifest = _manifest(path, packed)
        if packed.getinfo(_SEASON).file_size != manifest.bytes:
            raise _damaged(path, "it holds another number of bytes than it says")
        try:
            with packed.open(_SEASON) as source, to.open("wb") as target:
                shutil.copyfileobj(source, target, _CHUNK)
        except _SPOILT as fault:
            if isinstance(fault, OSError) and is_full(fault):
                # It is the other disk that has no room; nothing is wrong with this file.
                raise
            raise _damaged(path, str(fault)) from fault
    _flush(to)
    if _measured(to) != (manifest.bytes, manifest.sha256):
        raise _damaged(path, "its SHA-256 is another than it says")
    return manifest


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        packed = zipfile.ZipFile(path)
    except FileNotFoundError:
        raise NotFound(
            "file-missing", f"There is no file {path}.", field="file", remedy="Check the name and the folder."
        ) from None
    except _SPOILT as fault:
        raise _not_a_backup(path, str(fault)) from fault
    with packed:
        yield packed


def _manifest(path: Path, packed: zipfile.ZipFile) -> Manifest:
    if sorted(packed.namelist()) != sorted((_SEASON, _MANIFEST)):
        raise _not_a_backup(path, "it holds other things than a season")
    try:
        found = json.loads(packed.read(_MANIFEST))
        manifest = Manifest(**found)
    except (*_SPOILT, TypeError) as fault:
        raise _not_a_backup(path, "what it says of itself cannot be read") from fault
    if manifest.form != FORM or manifest.version > newest_version():
        raise Refused(
            "backup-of-newer-program",
            f"{path} was made by a newer program (tables {manifest.version}; this one has {newest_version()}).",
            field="file",
            remedy="Install the newer program and restore with it.",
        )
    return manifest


def _not_a_backup(path: Path, why: str) -> Refused:
    return Refused(
        "not-a-backup",
        f"{path} is no backup of a season: {why}.",
        field="file",
        remedy=f"Name a file that `tracker backup` made; it ends in {SUFFIX}.",
    )


def _damaged(path: Path, why: str) -> Refused:
    return Refused(
        "backup-damaged",
        f"{path} is damaged: {why}.",
        field="file",
        remedy="Take the backup before it, and look at the disk this one lay on.",
    )


def _measured(path: Path) -> tuple[int, str]:
    with path.open("rb") as file:
        return path.stat().st_size, _digest(file)


def _digest(file: IO[bytes]) -> str:
    return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _free_name(folder: Path, stem: str) -> Path:
    wanted, number = folder / f"{stem}{SUFFIX}", 2
    while wanted.exists():
        wanted, number = folder / f"{stem}-{number}{SUFFIX}", number + 1
    return wanted
