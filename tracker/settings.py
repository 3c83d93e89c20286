"""What this installation is told from outside, read once from the environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version

from tracker.errors import Refused


@dataclass(frozen=True)
class Settings:
    """database: an address as SQLAlchemy writes it. base_url: where the QR codes lead. by: who is at the keyboard.

    programme, phone and address stand on tags and reports. secret_file: where the key that signs the forms is kept,
    else beside the database. backup_folder: where backups are put, for `tracker doctor` to look at. proxy: the
    address of the proxy that alone may say who asked.
    mail_server: smtps://name@host:465 or smtp://name@host:587, empty for the folder mail_folder, where each message
    becomes a file. mail_from: whose address the messages bear. mail_password is never shown.
    log_key_file: where the key that signs the log is kept, else beside the database.
    log: how the server tells what it does, text or json.
    """

    database: str = "sqlite:///season.db"
    base_url: str = "https://localhost"
    by: str = ""
    programme: str = "Hay testing programme"
    phone: str = ""
    address: str = ""
    secret_file: str = ""
    backup_folder: str = ""
    proxy: str = "127.0.0.1"
    mail_server: str = ""
    mail_password: str = field(default="", repr=False)
    mail_from: str = ""
    mail_folder: str = "outbox"
    log: str = "text"
    log_key_file: str = ""


VARIABLES = {
    "database": "TRACKER_DATABASE",
    "base_url": "TRACKER_BASE_URL",
    "by": "TRACKER_BY",
    "programme": "TRACKER_PROGRAMME",
    "phone": "TRACKER_PHONE",
    "address": "TRACKER_ADDRESS",
    "secret_file": "TRACKER_SECRET_FILE",
    "backup_folder": "TRACKER_BACKUP_FOLDER",
    "proxy": "TRACKER_PROXY",
    "mail_server": "TRACKER_MAIL_SERVER",
    "mail_password": "TRACKER_MAIL_PASSWORD",
    "mail_from": "TRACKER_MAIL_FROM",
    "mail_folder": "TRACKER_MAIL_FOLDER",
    "log": "TRACKER_LOG",
    "log_key_file": "TRACKER_LOG_KEY_FILE",
}
LONGEST = 500


def read(environment: Mapping[str, str] | None = None) -> Settings:
    """The settings in force. Raises Refused `bad-setting` and names the variable."""
    environment = os.environ if environment is None else environment
    given = {name: environment[variable] for name, variable in VARIABLES.items() if environment.get(variable)}
    for name, value in given.items():
        if not value.isprintable() or len(value) > LONGEST:
            raise _bad(VARIABLES[name], "is not a short line of text")
    settings = Settings(**given)
    if "://" not in settings.database:
        raise _bad(VARIABLES["database"], f"{settings.database!r} is not a database address")
    if not settings.base_url.lower().startswith(("https://", "http://")):
        raise _bad(VARIABLES["base_url"], f"{settings.base_url!r} is not a web address")
    if settings.mail_server and not settings.mail_server.lower().startswith(("smtp://", "smtps://")):
        raise _bad(VARIABLES["mail_server"], "is not like smtps://name@mail.example.org:465")
    if settings.mail_server and "@" not in settings.mail_from:
        raise _bad(VARIABLES["mail_from"], "is needed with a mail server: the address the messages come from")
    if settings.log not in ("text", "json"):
        raise _bad(VARIABLES["log"], f"{settings.log!r} is neither text nor json")
    return settings


def _bad(variable: str, what: str) -> Refused:
    return Refused(
        "bad-setting",
        f"{variable}: {what}.",
        field=variable,
        remedy="Correct the variable, or unset it for the default.",
    )


def program_version() -> str:
    """Which version of this program reckons, as it was installed."""
    try:
        return version("hay-sample-tracking")
    except PackageNotFoundError:
        return "not installed"
