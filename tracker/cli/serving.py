"""What `tracker serve` needs beside the application: its key, its addresses, a QR of them, and a quiet end."""

from __future__ import annotations

import io
import logging
import os
import secrets
import signal
import socket
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from flask import Flask

    from tracker.storage.engine import Database

KEY_BYTES, KEY_LEAST = 32, 32
LARGEST_PORT = 65_535
LOOPBACK = ("localhost", "127.0.0.1", "::1")
# How long answers that are on their way may take once the server was told to stop.
LAST_ANSWERS_SECONDS = 10
# Whoever tells something while the server runs.
LOGGERS = ("tracker", "waitress")


def secret_file(season: Database, told: str) -> Path:
    """Where the key is kept: where the settings say, else beside the database. Raises Refused `secret-file`."""
    from tracker.errors import Refused

    if told:
        return Path(told)
    url = season.engine.url
    if url.get_backend_name() == "sqlite" and url.database and not url.database.startswith((":", "file:")):
        return Path(url.database).resolve().parent / "secret.key"
    raise Refused(
        "secret-file",
        "It is not said where the key that signs the forms is kept.",
        field="TRACKER_SECRET_FILE",
        remedy="Set TRACKER_SECRET_FILE to a file that only the server may read.",
    )


def secret_in(path: Path) -> str:
    """The key in the file, which is made with a new one where it is missing. Raises Refused `secret-file`."""
    from tracker.errors import Refused

    try:
        with suppress(FileExistsError):
            made = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(made, "w", encoding="ascii") as file:
                file.write(secrets.token_urlsafe(KEY_BYTES) + "\n")
        found = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise Refused(
            "secret-file",
            f"{path} cannot be used: {getattr(fault, 'strerror', None) or fault}.",
            field="TRACKER_SECRET_FILE",
            remedy="Name a file in a folder that the server may write in, with TRACKER_SECRET_FILE.",
        ) from fault
    if len(found) < KEY_LEAST:
        raise Refused(
            "secret-file",
            f"{path} holds {len(found)} characters, and a key has {KEY_LEAST} or more.",
            field="TRACKER_SECRET_FILE",
            remedy="Remove the file; a new key is made at the next start, and open forms are to be opened again.",
        )
    return found


def lan_addresses() -> list[str]:
    """This computer's addresses on the network, the one that leads outside first."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # Nothing is sent: the system only chooses the way (192.0.2.0/24 is set aside for documents, RFC 5737).
        probe.connect(("192.0.2.1", 9))
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        found += socket.gethostbyname_ex(socket.gethostname())[2]
    return [one for one in dict.fromkeys(found) if not one.startswith(("127.", "0."))]


def hosts(host: str) -> tuple[list[str], list[str]]:
    """By which names this computer itself, and by which addresses others reach a server on this host."""
    if host in LOOPBACK:
        return ["localhost"], []
    return (["localhost"], lan_addresses()) if host in ("0.0.0.0", "::") else ([], [host])


def is_secure(address: str) -> bool:
    """Whether a browser on another device gives this address what it gives only to secure ones."""
    return address.lower().startswith("https://")


def is_loopback(address: str) -> bool:
    """Whether the address leads nowhere but to the computer it is opened on."""
    host = (urlsplit(address).hostname or "").lower()
    return host in LOOPBACK or host.endswith(".localhost") or host.startswith("127.")


def secure_words(address: str) -> list[str]:
    """What a phone or a bench computer can do at this address, and what then does not work."""
    if is_secure(address):
        return [f"{address} is secure: everything works on phones too."]
    if is_loopback(address):
        return [f"{address} is secure on this computer only; no phone and no other computer reaches it."]
    return [
        f"{address} is not secure (http). There the live camera, opening without a network, and reading a balance",
        "by the browser do not work, and passwords cross the network in clear. Take a photo of the tag, use a hand",
        "scanner, or type the code. For all of it, put https before it and set TRACKER_BASE_URL.",
    ]


def qr_lines(text: str) -> list[str]:
    """The text as a QR for the terminal; none where the terminal has no such characters."""
    import qrcode

    code = qrcode.QRCode(border=2)
    code.add_data(text)
    out = io.StringIO()
    code.print_ascii(out=out, invert=True)
    try:
        out.getvalue().encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return []
    return out.getvalue().rstrip("\n").splitlines()


def log_to_stderr(form: str = "text") -> None:
    """One place for what the server tells while it runs, its addresses' secrets left out. form: text or json."""
    from tracker.web.shared.log import JsonFormatter, MaskingFormatter

    # No thread, process or place of the program stands in a line, and to look them up takes a while (logging's own
    # advice, docs.python.org/3/howto/logging.html#optimization).
    logging.logThreads = logging.logProcesses = logging.logMultiprocessing = False
    logging._srcfile = None
    formatter = JsonFormatter if form == "json" else MaskingFormatter
    handler = logging.StreamHandler()
    handler.setFormatter(formatter("%(asctime)s %(levelname)s %(message)s"))
    for name in LOGGERS:
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(logging.INFO)


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens there; port 0 finds a free one. Raises Refused `address-taken`."""
    from tracker.errors import Refused

    try:
        if not 0 <= port <= LARGEST_PORT:
            raise OSError(0, f"there is no port {port}")
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, _, _, _, address = found[0]
        return socket.create_server(address[:2], family=family)
    except (OSError, UnicodeError) as fault:
        raise Refused(
            "address-taken",
            f"{host}:{port} cannot be served: {getattr(fault, 'strerror', None) or fault}.",
            field="port",
            remedy="Another program may be there, or the port is not allowed: choose another with --port.",
        ) from fault


class Server:
    """Waitress around the application, run until it is told to stop. door: a socket that listens."""

    def __init__(
        self,
        app: Flask,
        door: socket.socket,
        threads: int,
        *,
        behind_proxy: bool,
        proxy: str = "127.0.0.1",
    ) -> None:
        from waitress import create_server

        from tracker.cli.request_body import MOST_HEARD, Channel

        # With https a proxy stands before us, as a rule on this computer, and only it may say who asked.
        trust = {
            "trusted_proxy": proxy,
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
            "clear_untrusted_proxy_headers": True,
        }
        self._stopping = False
        self._map: dict[int, Any] = {}
        self._server = create_server(
            app,
            map=self._map,
            sockets=[door],
            threads=threads,
            ident="tracker",
            max_request_body_size=MOST_HEARD,
            **(trust if behind_proxy else {}),
        )
        self._server.channel_class = Channel

    def stop(self, *_: object) -> None:
        """Take no more requests; what was begun is answered."""
        self._stopping = True

    def heed_signals(self) -> None:
        """Let SIGTERM and Ctrl-C stop it."""
        for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), self.stop)

    def run(self) -> None:
        """Serve until stop(), then let the last answers out."""
        while not self._stopping:
            self._turn(0.5)
        # Whoever had knocked before is let in, and heard.
        for _ in range(3):
            self._turn(0.05)
        self._close_doors()
        end = time.monotonic() + LAST_ANSWERS_SECONDS
        while self._busy() and time.monotonic() < end:
            self._turn(0.1)
        self._server.task_dispatcher.shutdown()
        for one in list(self._map.values()):
            one.close()

    def _turn(self, seconds: float) -> None:
        self._server.asyncore.loop(timeout=seconds, map=self._map, count=1)

    def _close_doors(self) -> None:
        from waitress import wasyncore

        for one in list(self._map.values()):
            if getattr(one, "accepting", False):
                # Its own close() would end the channel by which the workers wake this loop.
                wasyncore.dispatcher.close(one)

    def _busy(self) -> bool:
        return any(
            getattr(one, "requests", None) or getattr(one, "total_outbufs_len", 0)
            for one in list(self._map.values())
        )
