"""Messages that leave the programme: as files in a folder, or by a mail server. They hold a link and no results."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, make_msgid
from pathlib import Path
from urllib.parse import unquote, urlsplit

from tracker.errors import Refused

Post = Callable[[EmailMessage], None]
SECONDS = 20
PORTS = {"smtp": 587, "smtps": 465}


@dataclass(frozen=True)
class Letter:
    """One message: whom to, about what, and its lines. stop: the address at which he says no more of these."""

    to: str
    subject: str
    lines: tuple[str, ...]
    stop: str


def composed(letter: Letter, sender: str, programme: str, at: datetime) -> EmailMessage:
    """The message as it is sent: plain text, said to be automatic (RFC 3834), with a way to stop it (RFC 2369)."""
    message = EmailMessage(policy=SMTP)
    user, _, host = sender.rpartition("@")
    message["From"] = Address(" ".join(programme.split()), user, host)
    message["To"] = letter.to
    message["Subject"] = " ".join(letter.subject.split())
    message["Date"] = format_datetime(at)
    message["Message-ID"] = make_msgid(domain=host)
    message["Auto-Submitted"] = "auto-generated"
    message["List-Unsubscribe"] = f"<{letter.stop}>"
    message.set_content(
        "\n".join(letter.lines) + "\n", cte="8bit" if _ascii(letter.lines) else "quoted-printable"
    )
    return message


def _ascii(lines: tuple[str, ...]) -> bool:
    return all(line.isascii() for line in lines)


def posting(server: str, password: str, folder: str) -> Post:
    """By the mail server where there is one, else into the folder. Raises Refused `mail-server`."""
    return by_server(server, password) if server else into_folder(Path(folder))


def into_folder(folder: Path) -> Post:
    """Puts each message into the folder as one .eml file, which any mail program opens and sends.

    The folder is made, readable by its owner alone: the links in the files open results.
    """

    def post(message: EmailMessage) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        name = "".join(letter for letter in str(message["Message-ID"]) if letter.isalnum() or letter == ".")
        path = folder / f"{name}.eml"
        with path.open("xb") as file:
            path.chmod(0o600)
            file.write(message.as_bytes())

    return post


def by_server(address: str, password: str) -> Post:
    """Hands each message to a mail server: smtps:// speaks TLS from the first byte, smtp:// turns to it or refuses.

    Only to this machine itself is anything sent without TLS. Raises Refused `mail-server`.
    """
    parts = urlsplit(address)
    try:
        port = parts.port or PORTS[parts.scheme.lower()]
    except (KeyError, ValueError):
        raise _no_server(address) from None
    host, user = parts.hostname or "", unquote(parts.username or "")
    if not host:
        raise _no_server(address)

    def post(message: EmailMessage) -> None:
        safe = ssl.create_default_context()
        if parts.scheme.lower() == "smtps":
            server: smtplib.SMTP = smtplib.SMTP_SSL(host, port, timeout=SECONDS, context=safe)
        else:
            server = smtplib.SMTP(host, port, timeout=SECONDS)
        with server:
            if parts.scheme.lower() == "smtp" and host not in ("localhost", "127.0.0.1"):
                server.starttls(context=safe)
            if user:
                server.login(user, password)
            server.send_message(message)

    return post


def _no_server(address: str) -> Refused:
    return Refused(
        "mail-server",
        f"{address.rpartition('@')[2]!r} is no mail server's address.",
        field="TRACKER_MAIL_SERVER",
        remedy="Write it like smtps://name@mail.example.org:465, or unset it for files in a folder.",
    )


# What a mail server, a network or a disk may say while a message is handed over.
FAULTS = (smtplib.SMTPException, OSError)
