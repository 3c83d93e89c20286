"""An end of messages, said at the page that each message names. Opening it changes nothing; the button does."""

from __future__ import annotations

from typing import Any

from flask import redirect, render_template, url_for

from tracker.errors import NotFound
from tracker.lookups.messages import gets_messages
from tracker.lookups.readers import ADVISER, Reader
from tracker.steps.choose_messages import stop_messages
from tracker.steps.share_results import PRODUCER
from tracker.web.producer.door import door, let_in
from tracker.web.shared.access import EVERYONE, for_roles
from tracker.web.shared.season import now, reading, season


@door.get("/T/<token:stub>/messages")
@for_roles(*EVERYONE)
@let_in("links")
def messages(reader: Reader, stub: str) -> str:
    """Whether messages are sent, and the button that stops them."""
    producer = _producer(reader)
    with reading() as session:
        wanted = gets_messages(session, producer)
    return render_template("messages.html", stub=stub, wanted=wanted)


@door.post("/T/<token:stub>/messages")
@for_roles(*EVERYONE)
@let_in("links")
def messages_stopped(reader: Reader, stub: str) -> Any:
    """No more messages to this producer."""
    producer = _producer(reader)
    with season().act("stop messages", PRODUCER, {"producer": producer}) as session:
        stop_messages(session, producer, PRODUCER, now(), how="by the button on the page")
    return redirect(url_for("producer.messages", stub=stub), 303)


def _producer(reader: Reader) -> int:
    if reader.kind == ADVISER or reader.producer is None:
        raise NotFound(
            "not-by-this-link",
            "Messages are the producer's own affair.",
            field="link",
            remedy="He stops them by his stub, or by the link in a message.",
        )
    return reader.producer
