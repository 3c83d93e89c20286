"""Links for advisers that the producer makes by his stub, each with a name and a last day, and takes back singly."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import redirect, render_template, request, url_for

from tracker.domain.sharing import MOST_DAYS
from tracker.domain.times import day
from tracker.domain.units import whole
from tracker.errors import NotFound
from tracker.lookups.readers import STUB, Reader, openings, shared_links
from tracker.steps.share_results import PRODUCER, share_by_stub, take_back_by_stub
from tracker.web.producer.door import door, let_in
from tracker.web.producer.hay import today
from tracker.web.shared.access import EVERYONE, for_roles
from tracker.web.shared.season import now, reading, season, settings

USUAL_DAYS = 180


@door.get("/T/<token:stub>/links")
@for_roles(*EVERYONE)
@let_in("links")
def links(reader: Reader, stub: str) -> str:
    """Who else may see this hay, and how often each looked."""
    return _page(_lot(reader), reader, stub)


@door.post("/T/<token:stub>/links")
@for_roles(*EVERYONE)
@let_in("links")
def link_made(reader: Reader, stub: str) -> str:
    """Make a link. Its address is shown on the answer to this, and never again."""
    lot, form = _lot(reader), request.form
    given = {"lot": lot, "name": form.get("name", ""), "until": form.get("until", "")}
    with season().act("share results", PRODUCER, given) as session:
        until = day(form.get("until", ""), field="until")
        row, token = share_by_stub(session, lot, name=form.get("name", ""), until=until, now=now())
    address = f"{settings().base_url.rstrip('/')}/T/{token}"
    return _page(lot, reader, stub, made=row, shown_once=address)


@door.post("/T/<token:stub>/links/taken-back")
@for_roles(*EVERYONE)
@let_in("links")
def link_taken_back(reader: Reader, stub: str) -> Any:
    """End one link; the others stay."""
    lot, number = _lot(reader), request.form.get("link", "")
    with season().act("take back link", PRODUCER, {"lot": lot, "link": number}) as session:
        take_back_by_stub(session, whole(number, field="link", least=1), lot, now())
    return redirect(url_for("producer.links", stub=stub), 303)


def _page(lot: int, reader: Reader, stub: str, **made: Any) -> str:
    with reading() as session:
        shared = shared_links(session, reader.producer or 0, today(), lot=lot)
        opened = openings(session, reader.token_hash)
    usual, last = (today() + timedelta(days=days) for days in (USUAL_DAYS, MOST_DAYS))
    return render_template(
        "links.html",
        stub=stub,
        lot=lot,
        links=shared,
        opened=opened,
        usual=usual,
        last=last,
        today=today(),
        **made,
    )


def _lot(reader: Reader) -> int:
    """The lot of the stub in hand; an adviser's link makes no further ones, and looks like nothing here."""
    if reader.kind != STUB or not reader.lots or reader.producer is None:
        raise NotFound(
            "not-by-this-link",
            "Only the stub of the tag makes links for others.",
            field="link",
            remedy="Open this page by the stub.",
        )
    return reader.lots[0]
