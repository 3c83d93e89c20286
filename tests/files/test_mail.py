"""Messages that leave: what stands in them, the folder they become files in, a server that takes or refuses them."""

from __future__ import annotations

import socketserver
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest

from tests.makers import at
from tracker.errors import Refused
from tracker.files.mail import FAULTS, Letter, by_server, composed, into_folder

LETTER = Letter(
    to="oda@example.org",
    subject="Your hay test is ready",
    lines=("Your hay test is ready.", "https://hay.example/T/7K3M9QTXB2C4D5F6G8H9JAKNPR"),
    stop="https://hay.example/T/7K3M9QTXB2C4D5F6G8H9JAKNPR/messages",
)


def mail(letter: Letter = LETTER) -> EmailMessage:
    return composed(letter, "hay@example.org", "Larkmoor Hay Testing Programme", at(0))


def test_a_message_says_from_whom_that_it_is_automatic_and_how_to_stop_it() -> None:
    found = message_from_bytes(mail().as_bytes(), policy=default)
    assert (found["From"], found["To"]) == (
        "Larkmoor Hay Testing Programme <hay@example.org>",
        "oda@example.org",
    )
    assert found["Subject"] == "Your hay test is ready"
    # RFC 3834, 5.1, and RFC 2369, 3.2.
    assert found["Auto-Submitted"] == "auto-generated"
    assert found["List-Unsubscribe"] == f"<{LETTER.stop}>"
    assert found["Date"].datetime == at(0) and found["Message-ID"].endswith("@example.org>")
    assert found.get_content_type() == "text/plain"
    assert LETTER.lines[1] in found.get_content()


def test_no_line_end_in_a_name_makes_a_header_of_its_own() -> None:
    forged = composed(LETTER, "hay@example.org", "Larkmoor\r\nBcc: all@example.org", at(0))
    found = message_from_bytes(forged.as_bytes(), policy=default)
    assert found["Bcc"] is None
    with pytest.raises(ValueError, match="linefeed"):
        mail(Letter("a@example.org\r\nBcc: b@example.org", "x", ("y",), "z"))


def test_letters_that_are_not_ascii_arrive_as_they_were() -> None:
    found = message_from_bytes(
        mail(Letter("a@example.org", "Zoë", ("Zoë's hay",), "x")).as_bytes(), policy=default
    )
    assert found["Subject"] == "Zoë" and found.get_content().strip() == "Zoë's hay"


def test_in_a_folder_each_message_is_a_file_that_its_owner_alone_reads(tmp_path: Path) -> None:
    folder = tmp_path / "outbox"
    post = into_folder(folder)
    post(mail())
    post(mail())
    files = list(folder.iterdir())
    assert len(files) == 2 and all(path.suffix == ".eml" for path in files)
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o600}
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert LETTER.lines[1].encode() in files[0].read_bytes().replace(b"=\r\n", b"").replace(b"=\n", b"")


class Postbox(socketserver.StreamRequestHandler):
    """A mail server of a few commands (RFC 5321), enough to be spoken to; it refuses whom the test says."""

    taken: list[bytes]
    refusing: str

    def handle(self) -> None:
        self.wfile.write(b"220 here\r\n")
        while line := self.rfile.readline():
            word = line[:4].upper().strip()
            if word == b"DATA":
                self.wfile.write(b"354 go on\r\n")
                content = b""
                while (part := self.rfile.readline()) != b".\r\n":
                    content += part
                self.taken.append(content)
                self.wfile.write(b"250 taken\r\n")
            elif word == b"RCPT" and self.refusing and self.refusing.encode() in line:
                self.wfile.write(b"550 nobody of that name\r\n")
            elif word == b"QUIT":
                self.wfile.write(b"221 bye\r\n")
                return
            else:
                self.wfile.write(b"250 well\r\n")


@contextmanager
def postbox(refusing: str = "") -> Iterator[tuple[str, list[bytes]]]:
    """Its address on loopback, and what it has taken."""
    taken: list[bytes] = []
    handler = type("Mine", (Postbox,), {"taken": taken, "refusing": refusing})
    with socketserver.TCPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"smtp://127.0.0.1:{server.server_address[1]}", taken
        server.shutdown()
        thread.join(timeout=5)


def test_a_server_takes_the_message() -> None:
    with postbox() as (address, taken):
        by_server(address, "")(mail())
    assert len(taken) == 1 and b"Your hay test is ready" in taken[0]


def test_what_a_server_or_the_network_refuses_is_told() -> None:
    with (
        postbox(refusing="oda@example.org") as (address, taken),
        pytest.raises(FAULTS, match="nobody of that name"),
    ):
        by_server(address, "")(mail())
    assert taken == []
    with pytest.raises(FAULTS):
        by_server("smtp://127.0.0.1:1", "")(mail())


@pytest.mark.parametrize("address", ["http://mail.example.org", "smtp://", "smtp://host:notaport"])
def test_what_is_no_mail_server_is_refused(address: str) -> None:
    with pytest.raises(Refused) as caught:
        by_server(address, "a secret")
    assert caught.value.code == "mail-server" and "a secret" not in str(caught.value)
