"""A request's body, which waits on the disk until it is whole; if that cannot be, it is said.

A server that hangs up in the middle of an upload leaves a browser with a broken connection, and nobody knows why. So
what cannot be kept is heard to its end and let go, byte for byte, and then answered.
"""

from __future__ import annotations

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error, RequestEntityTooLarge

from tracker.files.disk import disk_full, is_full

RETRY_SECONDS = "300"
# Uploads reach 20 MiB (tracker.app.MOST_BYTES), and a form has a little more around them.
MOST_KEPT = 21 * 1024 * 1024
# A film or a disk image by mistake; what is larger, or large without saying so, is cut off.
MOST_HEARD = 1024 * 1024 * 1024


class NoRoom(Error):
    """What was sent could not be laid down."""

    code = 503
    reason = "Service Unavailable"

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Status, headers and words."""
        status, headers, body = super().to_response(ident)
        return status, [*headers, ("Retry-After", RETRY_SECONDS)], body


class Body(HTTPRequestParser):
    """Takes a body in. What is too large, or comes after the disk was full, is heard and let go.

    left: how much of that is still to come.
    """

    left: int | None = None

    def parse_header(self, header_plus: bytes) -> None:
        """Read the header. Of a body that is too large the application sees the length only, and refuses it."""
        super().parse_header(header_plus)
        if MOST_KEPT < self.content_length < MOST_HEARD:
            self.left = self.content_length

    def received(self, data: bytes) -> int:
        """How many of these bytes were taken."""
        if self.left is not None:
            taken = min(len(data), self.left)
            self.left -= taken
            self.completed = self.left == 0
            return taken
        try:
            taken = super().received(data)
        except OSError as fault:
            if not is_full(fault):
                raise
            self.error = NoRoom(str(disk_full("The server's disk is full.")))
            # Nobody knows how much of a body in pieces is still to come.
            self.left = 0 if self.chunked else self.content_length - self.body_bytes_received
            self.completed = self.left == 0
            return len(data) if self.completed else self.received(data)
        if self.chunked and self.body_bytes_received > MOST_KEPT:
            self.error, self.completed = RequestEntityTooLarge(f"exceeds {MOST_KEPT} bytes"), True
        return int(taken)


class Channel(HTTPChannel):
    """A connection whose bodies are taken in so."""

    parser_class = Body
