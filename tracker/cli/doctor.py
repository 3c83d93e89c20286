"""What `tracker doctor` looks at before a season goes on the network: one line each, and what to do about it."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import ssl
import stat
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from urllib.parse import urlsplit

from tracker.cli.backups import NOT_WHOLE
from tracker.cli.doctor_log import log_head, log_key
from tracker.cli.serving import is_loopback, is_secure

if TYPE_CHECKING:
    from tracker.settings import Settings
    from tracker.storage.engine import Database

# All of these are judgement: time enough to do something about it.
CERTIFICATE_LOOK, CERTIFICATE_BAD = 21, 5
DISK_LOOK, DISK_BAD = 2_000_000_000, 200_000_000
BACKUP_LOOK, BACKUP_BAD = timedelta(hours=26), timedelta(days=8)
CLOCK_LOOK = timedelta(minutes=2)
ASK_SECONDS = 5.0
NOT_TOLD = "https://localhost"


@dataclass(frozen=True)
class Line:
    """One thing looked at. verdict: OK, look or bad; remedy is empty where nothing is to be done."""

    what: str
    verdict: Literal["OK", "look", "bad"]
    words: str
    remedy: str = ""


@dataclass(frozen=True)
class Asked:
    """What the office's own address answered. days: left of its certificate; fault: why it did not answer."""

    date: datetime | None = None
    days: int | None = None
    fault: str = ""
    untrusted: bool = False


def look(season: Database, settings: Settings, *, offline: bool) -> Iterator[Line]:
    """Every line, in the order in which a person mends things."""
    now = season.clock()
    yield database_line(season)
    yield address_line(settings.base_url)
    yield secure_line(settings.base_url)
    asked = Asked() if offline or settings.base_url == NOT_TOLD else ask(settings.base_url, now)
    if is_secure(settings.base_url):
        yield certificate_line(asked, asked_at_all=not offline and settings.base_url != NOT_TOLD)
    yield clock_line(now, last_entry(season), asked.date)
    yield disk_line(folder_of(season))
    yield backup_line(settings.backup_folder, now)
    yield from secret_lines(season, settings.secret_file)
    yield Line("log key", *log_key(season))
    yield Line("log head", *log_head(season, now))
    yield lead_line(season)
    yield from phone_lines(season)


def database_line(season: Database) -> Line:
    """Whether the season is there and of this program's version."""
    from tracker.cli.doing import database_faults
    from tracker.errors import TrackerError
    from tracker.storage.engine import newest_version

    try:
        with database_faults(season.url):
            season.check_version()
    except TrackerError as fault:
        return Line("database", "bad", fault.message, fault.remedy)
    return Line("database", "OK", f"{season.engine.url.render_as_string()} is at version {newest_version()}.")


def address_line(base_url: str) -> Line:
    """Whether the address on the tags leads anywhere."""
    if base_url == NOT_TOLD or is_loopback(base_url):
        return Line(
            "address",
            "look",
            f"Tags and links lead to {base_url}, which only this computer understands.",
            "Set TRACKER_BASE_URL to the address by which phones reach this office, before tags are printed.",
        )
    return Line("address", "OK", f"Tags and links lead to {base_url}.")


def secure_line(base_url: str) -> Line:
    """Whether phones get a live camera and pages without a network at this address."""
    if is_loopback(base_url):
        return Line(
            "secure",
            "look",
            "No phone reaches this address, so it is secure for nobody else.",
            "Set TRACKER_BASE_URL to an https address.",
        )
    if is_secure(base_url):
        return Line("secure", "OK", "The address is https: camera and offline pages work on phones.")
    return Line(
        "secure",
        "look",
        "The address is http: no live camera, no pages without a network, and passwords cross the network in clear.",
        "Put https before it. Until then take a photo of the tag, use a hand scanner, or type the code.",
    )


def ask(base_url: str, now: datetime) -> Asked:
    """What stands at the address: its Date header and, by https, the days left of its certificate."""
    parts = urlsplit(base_url)
    host, secure = parts.hostname or "", parts.scheme.lower() == "https"
    try:
        connection = (
            http.client.HTTPSConnection(host, parts.port, timeout=ASK_SECONDS)
            if secure
            else http.client.HTTPConnection(host, parts.port, timeout=ASK_SECONDS)
        )
        try:
            connection.connect()
            days = _days_left(connection.sock, now) if secure else None
            connection.request("HEAD", f"{parts.path.rstrip('/')}/sign-in")
            said = connection.getresponse().getheader("Date")
        finally:
            connection.close()
    except ssl.SSLCertVerificationError as fault:
        return Asked(fault=fault.verify_message or str(fault), untrusted=True)
    except (OSError, http.client.HTTPException, ValueError) as fault:
        return Asked(fault=str(getattr(fault, "strerror", None) or fault or type(fault).__name__))
    return Asked(_date(said), days)


def _days_left(sock: socket.socket, now: datetime) -> int | None:
    certificate = sock.getpeercert() if isinstance(sock, ssl.SSLSocket) else None
    if not certificate:
        return None
    ends = datetime.fromtimestamp(ssl.cert_time_to_seconds(str(certificate["notAfter"])), UTC)
    return (ends - now).days


def _date(said: str | None) -> datetime | None:
    with suppress(ValueError, TypeError):
        return parsedate_to_datetime(said).astimezone(UTC) if said else None
    return None


def certificate_line(asked: Asked, *, asked_at_all: bool = True) -> Line:
    """Whether the certificate is trusted, and for how long."""
    renew = "Renew it; and let it be renewed by itself, for certificates live shorter every year."
    if not asked_at_all:
        return Line(
            "certificate", "look", "Nobody was asked about it.", "Run it again where the address answers."
        )
    if asked.untrusted:
        return Line("certificate", "bad", f"It is not trusted: {asked.fault}.", renew)
    if asked.fault or asked.days is None:
        return Line(
            "certificate",
            "look",
            f"The address does not answer: {asked.fault or 'it showed no certificate'}.",
            "Is the server running, and does the name lead here?",
        )
    words = f"The certificate is good for {asked.days} more days."
    if asked.days < CERTIFICATE_BAD:
        return Line("certificate", "bad", words, renew)
    return (
        Line("certificate", "look", words, renew)
        if asked.days < CERTIFICATE_LOOK
        else Line("certificate", "OK", words)
    )


def last_entry(season: Database) -> datetime | None:
    """When the last entry was recorded; None where there is none, or no season."""
    from sqlalchemy.exc import DBAPIError

    from tracker.lookups.last_recorded import last_recorded

    try:
        with season.read() as session:
            return last_recorded(session)
    except DBAPIError:
        return None


def clock_line(now: datetime, last: datetime | None, served: datetime | None) -> Line:
    """Whether this computer's clock can be true: not behind what it recorded itself, nor away from the server's."""
    from tracker.domain.times import CLOCK_SKEW

    remedy = "Set the clock, and let it be set by the network."
    if last is not None and last > now + CLOCK_SKEW:
        return Line(
            "clock",
            "bad",
            f"The last entry was recorded at {last:%Y-%m-%d %H:%M} UTC, and the clock says {now:%Y-%m-%d %H:%M}.",
            remedy,
        )
    apart = abs(served - now) if served else timedelta(0)
    if apart > CLOCK_LOOK:
        minutes = int(apart.total_seconds() // 60)
        words = f"The clock and that of the server's address are {minutes} minutes apart."
        return Line("clock", "bad" if apart > CLOCK_SKEW else "look", words, remedy)
    return Line("clock", "OK", f"The clock says {now:%Y-%m-%d %H:%M} UTC, and nothing contradicts it.")


def folder_of(season: Database) -> Path:
    """The folder whose disk fills up: the database's, else the one this runs in."""
    url = season.engine.url
    in_file = (
        url.get_backend_name() == "sqlite" and url.database and not url.database.startswith((":", "file:"))
    )
    return Path(str(url.database)).resolve().parent if in_file else Path.cwd()


def disk_line(folder: Path) -> Line:
    """Whether there is room for the season to grow."""
    try:
        free = shutil.disk_usage(folder).free
    except OSError as fault:
        return Line("disk", "bad", f"{folder}: {fault.strerror}.", "Check the address of the database.")
    words = f"{free / 1e9:.1f} GB are free where the season lies."
    verdict: Literal["OK", "look", "bad"] = "bad" if free < DISK_BAD else "look" if free < DISK_LOOK else "OK"
    return Line(
        "disk", verdict, words, "" if verdict == "OK" else "Make room; nothing is recorded on a full disk."
    )


def backup_line(folder: str, now: datetime) -> Line:
    """How old the newest backup is."""
    remedy = "Let `tracker backup` run every night, to another disk (docs/backup.md)."
    if not folder:
        return Line(
            "backup", "look", "It is not said where backups are.", f"{remedy} Set TRACKER_BACKUP_FOLDER."
        )
    try:
        ages = [
            path.stat().st_mtime
            for path in Path(folder).iterdir()
            if path.is_file() and path.stat().st_size and NOT_WHOLE not in path.name
        ]
    except OSError as fault:
        return Line("backup", "bad", f"{folder}: {fault.strerror}.", "Correct TRACKER_BACKUP_FOLDER.")
    if not ages:
        return Line("backup", "bad", f"There is no backup in {folder}.", remedy)
    age = now - datetime.fromtimestamp(max(ages), UTC)
    hours = max(0, int(age.total_seconds() // 3600))
    words = (
        f"The newest backup is {hours} hours old."
        if hours < 72
        else f"The newest backup is {hours // 24} days old."
    )
    if age > BACKUP_BAD:
        return Line("backup", "bad", words, remedy)
    return Line("backup", "look", words, remedy) if age > BACKUP_LOOK else Line("backup", "OK", words)


def secret_lines(season: Database, told: str) -> Iterator[Line]:
    """Whether others on this computer can read the key that signs the forms; nothing where there is none yet."""
    from tracker.cli.serving import secret_file
    from tracker.errors import TrackerError

    try:
        path = secret_file(season, told)
    except TrackerError as fault:
        yield Line("key", "look", fault.message, fault.remedy)
        return
    if not path.exists():
        return
    if os.name == "posix" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        yield Line("key", "bad", f"Others on this computer can read {path}.", f"chmod 600 {path}")
    else:
        yield Line("key", "OK", f"The key that signs the forms is in {path}, readable by its owner alone.")


def lead_line(season: Database) -> Line:
    """Whether anybody can let others in."""
    from sqlalchemy.exc import DBAPIError

    from tracker.lookups.access import accounts

    try:
        with season.read() as session:
            leads = [one for one in accounts(session) if one.role == "lead" and one.active]
    except DBAPIError:
        leads = []
    if not leads:
        return Line(
            "lead", "look", "No lead has an account, so nobody can sign in.", "tracker add-lead KEY NAME"
        )
    if all(one.invited for one in leads):
        return Line(
            "lead", "look", "No lead has used the invitation yet.", f"tracker reset-link {leads[0].key}"
        )
    return Line("lead", "OK", "A lead can sign in.")


def phone_lines(season: Database) -> Iterator[Line]:
    """What the phones owe the office and the office owes them; nothing where no phone was ever heard of."""
    from sqlalchemy.exc import DBAPIError

    from tracker.lookups.contested_tags import contested_tags
    from tracker.lookups.phones import phones, refused_entries, waiting_for_others

    try:
        with season.read() as session:
            found, contested = phones(session), len(contested_tags(session))
            waiting = len(waiting_for_others(session))
            refused = len([one for one in refused_entries(session) if not one.fixed])
    except DBAPIError:
        return
    if not found:
        return
    owed = [
        (sum(bool(one.gaps) for one in found), "with entries that never came"),
        (sum(one.clock_badly_wrong for one in found), "whose clock is a day off or more"),
    ]
    words = [f"{count} {what}" for count, what in owed if count]
    for count, what in ((contested, "tags on two bags"), (waiting, "entries wait"), (refused, "are refused")):
        words += [f"{count} {what}"] if count else []
    if words:
        yield Line("phones", "look", f"Of {len(found)} phones: {', '.join(words)}.", "tracker phones")
    else:
        yield Line("phones", "OK", f"{len(found)} phones, and nothing is owed.")
