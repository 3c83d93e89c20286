"""One entry for each thing a program can do: its address, who may, what is sent, what is done, what comes back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from marshmallow import Schema

from tracker.lookups.page import USUAL, Key, Page, whole_list
from tracker.web.api.fields import Strict, moment, text
from tracker.web.shared.access import STAFF

JSON, PDF, ZIP = "application/json", "application/pdf", "application/zip"


@dataclass(frozen=True)
class Entry:
    """do is called with the session, for an act with the Act, and by name with what address and request hold.

    answer: the schema of what do gives; where it is paged, of one of the items: do is then asked for the lines after
    a key, so many of them, and gives a Page; head: the schema of what it says above them. media: else a file's type,
    or several with commas between. secret: what is in the first answer alone, not kept. tries: keeps nothing. sent:
    do makes the answer itself, in pieces, and gets no session. takes: the kinds of file that are sent in place of
    JSON. before: what takes long is made of what was sent before the act begins, while nobody has to wait for it; do
    gets what it gives in its stead.
    """

    name: str
    method: str
    path: str
    words: str
    scope: str
    do: Callable[..., Any]
    answer: type[Schema] | None
    roles: Sequence[str] = STAFF
    given: type[Schema] | None = None
    asked: type[Schema] | None = None
    paged: bool = False
    head: type[Schema] | None = None
    status: int = 200
    media: str = JSON
    secret: tuple[str, ...] = ()
    tries: bool = False
    sent: bool = False
    takes: tuple[str, ...] = ()
    before: Callable[..., dict[str, Any]] | None = None

    @property
    def acts(self) -> bool:
        return self.method == "POST"


class Doing(Strict):
    """What every act may say: when it happened (else now), why it is entered late, and a note."""

    at = moment("when it happened, RFC 3339 with seconds and offset; else now")
    late_reason = text("why it is entered out of order", needed=False)
    note = text("anything to remember", needed=False, most=1000)


class Nothing(Doing):
    """An act that needs nothing else said."""


ENTRIES: list[Entry] = []


def listing(name: str, path: str, words: str, do: Callable[..., Any], answer: Any, **more: Any) -> None:
    """Enter a question that is answered in pages."""
    question(name, path, words, do, answer, paged=True, **more)


def short_list(
    name: str,
    path: str,
    words: str,
    do: Callable[..., Any],
    answer: Any,
    key: Callable[[Any], Key],
    **more: Any,
) -> None:
    """Enter a list that is short by its nature and read whole; key: what an item is known by and put in order by."""

    def page(session: Any, after: Key = (), limit: int = USUAL, **asked: Any) -> Page[Any]:
        return whole_list(do(session, **asked), key, after, limit)

    listing(name, path, words, page, answer, **more)


def question(name: str, path: str, words: str, do: Callable[..., Any], answer: Any, **more: Any) -> None:
    """Enter a question; anybody with the scope `read` may ask, unless `roles` says whom it is for."""
    ENTRIES.append(Entry(name, "GET", path, words, more.pop("scope", "read"), do, answer, **more))


def file(name: str, path: str, words: str, do: Callable[..., Any], media: str, **more: Any) -> None:
    """Enter what is taken away as a file, sent while it is read."""
    question(name, path, words, do, None, media=media, sent=True, **more)


def act(
    name: str, path: str, words: str, scope: str, do: Callable[..., Any], answer: Any, **more: Any
) -> None:
    """Enter an act."""
    given = more.pop("given", Nothing)
    ENTRIES.append(Entry(name, "POST", path, words, scope, do, answer, given=given, **more))
