"""A request's body, which waits on the disk until it is whole; where the disk has no room, that is said."""

from __future__ import annotations

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error

from tracker.files.disk import disk_full, is_full

RETRY_SECONDS = "300"


class NoRoom(Error):
    """What was sent could not be laid down."""

    code = 503
    reason = "Service Unavailable"

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Status, headers and words."""
        status, headers, body = super().to_response(ident)
        return status, [*headers, ("Retry-After", RETRY_SECONDS)], body


class Body(HTTPRequestParser):
    """Takes a body in. What comes after the disk was full is heard and let go, so that the answer can be read."""

    left: int | None = None

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
        return int(taken)


class Channel(HTTPChannel):
    """A connection whose bodies are taken in so."""

    parser_class = Body
