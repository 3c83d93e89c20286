"""`tracker serve` as it is run: what it says, that it answers, its key, and that it ends in peace."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from waitress.adjustments import Adjustments
from waitress.buffers import TempfileBasedBuffer

from tests.disks import small_disk
from tracker.cli import main
from tracker.cli.request_body import MOST_KEPT, Body
from tracker.cli.serving import (
    hosts,
    is_loopback,
    lan_addresses,
    listening,
    qr_lines,
    secret_file,
    secret_in,
    secure_words,
)
from tracker.errors import Refused
from tracker.settings import VARIABLES
from tracker.storage.engine import Database

ROOT = Path(__file__).parents[2]
Serve = Callable[..., "Served"]


class Served:
    """A server that runs. address: the first that it names; told: what it said until then."""

    def __init__(self, folder: Path, words: tuple[str, ...], told: dict[str, str]) -> None:
        clean = {name: value for name, value in os.environ.items() if name not in VARIABLES.values()}
        self.log = folder / "stderr"
        with self.log.open("w", encoding="utf-8") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tracker", "serve", "--host", "127.0.0.1", "--port", "0", *words],
                cwd=folder,
                env={**clean, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", **told},
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                encoding="utf-8",
            )
        assert self.process.stdout is not None
        self.out = self.process.stdout
        self.told = self.out.readline()
        self.address = self.told.removeprefix("Served at ").strip()

    def end(self, how: signal.Signals = signal.SIGTERM) -> tuple[int, str, str]:
        """Its exit code, all it said, and its log."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        code = self.process.wait(timeout=15)
        if not self.out.closed:
            self.told += self.out.read()
            self.out.close()
        return code, self.told, self.log.read_text(encoding="utf-8")


@pytest.fixture
def serve(season_template: Path, tmp_path: Path) -> Iterator[Serve]:
    """Start it on a copy of the season."""
    (tmp_path / "season.db").write_bytes(season_template.read_bytes())
    started: list[Served] = []

    def start(*words: str, **told: str) -> Served:
        started.append(Served(tmp_path, words, told))
        return started[-1]

    yield start
    for one in started:
        one.end()


@pytest.mark.skipif(os.name != "posix", reason="signals are others there")
def test_it_answers_until_it_is_told_to_stop_and_ends_in_peace(serve: Serve, tmp_path: Path) -> None:
    served = serve()
    with urllib.request.urlopen(f"{served.address}/sign-in", timeout=10) as answer:
        page = answer.read().decode()
        assert answer.status == 200 and "Sign in" in page and answer.headers["Server"] == "tracker"
        assert "tracker=" not in (answer.headers["Set-Cookie"] or "")
        assert "Secure" not in answer.headers["Set-Cookie"]
    with urllib.request.urlopen(f"{served.address}/static/house.css", timeout=10) as answer:
        assert answer.status == 200
    with pytest.raises(urllib.error.HTTPError) as missing:
        urllib.request.urlopen(f"{served.address}/T/{'7' * 25}A?name=hunter", timeout=10)
    missing.value.close()
    code, out, err = served.end(signal.SIGTERM)
    assert code == 0, err
    assert re.fullmatch(r"http://localhost:\d+", served.address)
    assert "TRACKER_BASE_URL is not set" in out and f"{served.address} is secure on this computer only" in out
    assert "█" in out and "Stop with Ctrl-C." in out
    assert out.rstrip().endswith("Stopped. Whatever was confirmed is recorded.")
    assert "GET /sign-in 200" in err and "GET /T/…" in err
    assert "77777" not in err and "hunter" not in err and "Traceback" not in err
    key = tmp_path / "secret.key"
    assert key.stat().st_mode & 0o777 == 0o600 and len(key.read_text().strip()) == 43
    with sqlite3.connect(tmp_path / "season.db") as season:
        dump = "\n".join(season.iterdump())
    season.close()
    assert key.read_text().strip() not in dump


@pytest.mark.skipif(os.name != "posix", reason="signals are others there")
def test_an_answer_on_its_way_is_let_out_before_it_ends(serve: Serve) -> None:
    served = serve()
    host, port = served.address.removeprefix("http://").split(":")
    with socket.create_connection(("127.0.0.1", int(port)), timeout=10) as line:
        body = b"name=carl&password=wrong"
        head = (
            f"POST /sign-in HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        )
        line.sendall(head.encode() + b"Content-Length: %d\r\n\r\n" % len(body) + body)
        # Long enough for the server to have taken it, not for the answer to be read.
        time.sleep(0.3)
        served.process.send_signal(signal.SIGTERM)
        assert line.recv(12).startswith(b"HTTP/1.1 4")
    assert served.end()[0] == 0


def test_by_https_the_sign_in_is_bound_to_it(serve: Serve) -> None:
    served = serve(TRACKER_BASE_URL="https://hay.example")
    with urllib.request.urlopen(f"{served.address}/sign-in", timeout=10) as answer:
        assert "__Host-form=" in answer.headers["Set-Cookie"] and "Secure" in answer.headers["Set-Cookie"]
    _, out, _ = served.end()
    assert "https://hay.example is secure" in out and "Sign in at the https address only" in out


@pytest.mark.skipif(os.name != "posix", reason="signals are others there")
def test_with_http_it_is_not_although_the_tags_say_https(serve: Serve) -> None:
    served = serve("--http", "--json", TRACKER_BASE_URL="https://hay.example")
    served.told += "".join(served.out.readline() for _ in range(7))
    told: dict[str, Any] = json.loads(served.told)
    assert told == {**told, "secure": False, "base_url": "https://hay.example"}
    with urllib.request.urlopen(f"{told['addresses'][0]}/sign-in", timeout=10) as answer:
        assert "Secure" not in answer.headers["Set-Cookie"]
    code, out, _ = served.end(signal.SIGINT)
    assert code == 0 and json.loads(out) == told


def test_a_port_that_is_taken_is_refused_in_words(
    season_template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TRACKER_SECRET_FILE", str(tmp_path / "key"))
    copy = tmp_path / "season.db"
    copy.write_bytes(season_template.read_bytes())
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        words = ["serve", "--host", "127.0.0.1", "--port", str(port), "--database", f"sqlite:///{copy}"]
        assert main(words) == 1
    told = capsys.readouterr().err
    assert told.startswith("Refused (address-taken)") and "--port" in told


@pytest.mark.parametrize(("host", "port"), [("127.0.0.1", "70000"), ("", "-1")])
def test_an_address_that_cannot_be_is_refused_in_words(host: str, port: str) -> None:
    with pytest.raises(Refused) as caught:
        listening(host, int(port))
    assert caught.value.code == "address-taken" and "--port" in caught.value.remedy


def test_the_key_stays_the_same_from_one_start_to_the_next(tmp_path: Path) -> None:
    path = tmp_path / "secret.key"
    assert secret_in(path) == secret_in(path) != secret_in(tmp_path / "other.key")


@pytest.mark.parametrize("content", [b"", b"short", b"\xff" * 50])
def test_a_file_that_is_no_key_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "secret.key"
    path.write_bytes(content)
    with pytest.raises(Refused) as caught:
        secret_in(path)
    assert caught.value.code == "secret-file" and path.read_bytes() == content


def test_a_key_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        secret_in(tmp_path / "nowhere" / "secret.key")
    assert caught.value.field == "TRACKER_SECRET_FILE"


def test_a_season_in_memory_has_no_place_for_a_key() -> None:
    season = Database("sqlite://")
    with pytest.raises(Refused) as caught:
        secret_file(season, "")
    assert caught.value.code == "secret-file"
    assert secret_file(season, "/run/key") == Path("/run/key")
    season.close()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("https://hay.example", "everything works on phones too"),
        ("http://localhost:8000", "on this computer only"),
        ("http://127.0.0.1:8000", "on this computer only"),
        ("http://office.localhost", "on this computer only"),
        ("http://192.0.2.7:8000", "is not secure (http)"),
        ("http://localhost.example", "is not secure (http)"),
    ],
)
def test_what_a_browser_takes_for_secure(address: str, words: str) -> None:
    # Secure contexts: https, and http of this very machine (MDN, Secure contexts).
    assert words in " ".join(secure_words(address))
    assert is_loopback(address) == ("on this computer only" in words)


def test_without_https_it_is_said_what_does_not_work() -> None:
    told = " ".join(secure_words("http://192.0.2.7:8000"))
    assert all(
        word in told for word in ("live camera", "without a network", "balance", "hand scanner", "in clear")
    )


def test_the_addresses_others_use_are_never_this_machines_own() -> None:
    assert not any(one.startswith("127.") for one in lan_addresses())
    assert hosts("127.0.0.1") == (["localhost"], [])
    assert hosts("192.0.2.7") == ([], ["192.0.2.7"])
    assert hosts("0.0.0.0")[0] == ["localhost"]


def test_the_qr_in_the_terminal_is_one_that_phones_read() -> None:
    zxingcpp = pytest.importorskip("zxingcpp")
    numpy = pytest.importorskip("numpy")
    lines = qr_lines("http://192.0.2.7:8000")
    # Inverted, as on a dark terminal: a full block is two light modules, one above the other.
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0), "\xa0": (0, 0)}
    wide = max(map(len, lines))
    rows = [[halves[character][half] for character in line.ljust(wide)] for line in lines for half in (0, 1)]
    picture = numpy.kron(numpy.array(rows, dtype=numpy.uint8), numpy.ones((8, 8), dtype=numpy.uint8))
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == ["http://192.0.2.7:8000"]


def test_a_terminal_without_such_characters_gets_no_qr(monkeypatch: pytest.MonkeyPatch) -> None:
    class Plain:
        encoding = "ascii"

    monkeypatch.setattr(sys, "stdout", Plain())
    assert qr_lines("http://192.0.2.7:8000") == []


def asked_raw(address: str, body: bytes) -> bytes:
    """The whole answer to a form that is sent, byte for byte."""
    port = int(address.rsplit(":", 1)[1])
    head = f"POST /sign-in HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: {len(body)}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(head.encode() + body)
        found = b""
        while part := line.recv(65536):
            found += part
        return found


def test_a_large_upload_to_a_server_without_room_is_answered_in_words(serve: Serve, tmp_path: Path) -> None:
    with small_disk(tmp_path / "small", 1) as disk:
        served = serve(TMPDIR=str(disk))
        answer = asked_raw(served.address, b"x" * 3_000_000)
        assert answer.startswith(b"HTTP/1.1 503 ") and b"Retry-After: " in answer
        assert b"disk is full" in answer and b"Make room" in answer
        # What is small, or comes when there is room again, is taken as ever.
        assert b" 503 " not in asked_raw(served.address, b"x" * 1000).split(b"\r\n")[0]
        served.end()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here that is always full")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_what_comes_after_the_disk_was_full_is_heard_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    full = partial(Path("/dev/full").open, "w+b")
    monkeypatch.setattr(TempfileBasedBuffer, "newfile", lambda _: full())
    body = Body(Adjustments(inbuf_overflow=1000))
    assert body.received(b"POST / HTTP/1.1\r\nContent-Length: 50000\r\n\r\n")
    taken = [body.received(b"x" * 15_000) for _ in range(4)]
    assert taken == [15_000, 15_000, 15_000, 5_000] and body.completed
    assert body.error.code == 503 and "disk is full" in body.error.body
    body.close()


MB = 1024 * 1024


def test_a_file_that_is_too_large_is_sent_to_its_end_and_refused_on_a_page(serve: Serve) -> None:
    served = serve()
    answer = asked_raw(served.address, b"x" * (30 * MB))
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert b"The file is too large." in answer and b"The most is 20 MB. Divide the file" in answer
    # Below the limit it is read, and refused for what it is.
    assert asked_raw(served.address, b"x" * MB).startswith(b"HTTP/1.1 400 ")


def test_a_body_that_does_not_say_how_large_it_is_is_not_heard_to_its_end() -> None:
    request = Body(Adjustments())
    request.received(b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n")
    heard = 0
    while not request.completed and heard < 30 * MB:
        heard += request.received(b"100000\r\n" + b"x" * MB + b"\r\n")
    assert request.error.code == 413 and heard < MOST_KEPT + 2 * MB
    request.close()


def test_of_a_body_that_is_too_large_nothing_is_kept() -> None:
    request = Body(Adjustments())
    request.received(b"POST / HTTP/1.1\r\nContent-Length: %d\r\n\r\n" % (MOST_KEPT + 3))
    assert request.received(b"x" * MOST_KEPT) == MOST_KEPT and not request.completed
    assert request.received(b"yyyGET /") == 3, "the next request of the line is not eaten"
    assert request.completed and request.error is None
    assert (request.get_body_stream().read(), request.headers["CONTENT_LENGTH"]) == (b"", str(MOST_KEPT + 3))
    request.close()
