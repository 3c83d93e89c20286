"""The page at the stub: which hay, whether it carries his animals, what to add, whom to call; then the rest."""

from __future__ import annotations

from typing import Any

from flask import redirect, render_template, request, url_for
from markupsafe import Markup

from tracker.lookups.find import sample_ever_named
from tracker.lookups.groups import groups_of
from tracker.lookups.hay_advice import advice_on
from tracker.lookups.hay_page import HayPage, hay_page
from tracker.lookups.readers import STUB, Reader, openings, shared_links
from tracker.papers import supply
from tracker.papers.way import svg
from tracker.web.producer.animals import NAMES, Choice, chosen, next_taps
from tracker.web.producer.door import door, let_in
from tracker.web.shared.access import EVERYONE, STAFF, for_roles, signed_in
from tracker.web.shared.season import now, reading


@door.get("/t/<token:stub>")
@door.get("/T/<token:stub>")
@for_roles(*EVERYONE)
@let_in("page")
def page(reader: Reader, stub: str) -> Any:
    """The hay of this token. Staff see its way: what the producer sees they see by his bag's code."""
    if signed_in() is not None and reader.kind == STUB:
        return redirect(url_for("scan.way", text=reader.code), 303)
    lot = chosen_lot(reader)
    if lot is None:
        return _which(reader, stub)
    with reading() as session:
        mine = reader.kind == STUB
        return _drawn(
            session,
            lot,
            stub=stub,
            reader=reader,
            opened=openings(session, reader.token_hash) if mine else None,
            links=shared_links(session, reader.producer, today(), lot=lot)
            if mine and reader.producer
            else (),
        )


@door.get("/as-producer/<code>")
@for_roles(*STAFF)
def as_producer(code: str) -> Any:
    """The same page for staff, by the bag's code: what the producer has before him while he calls."""
    with reading() as session:
        return _drawn(session, sample_ever_named(session, code).lot_id, code=code)


def _drawn(session: Any, lot: int, **more: Any) -> str:
    shown = hay_page(session, lot, now())
    choice = chosen(request.args, session, shown.producer, today())
    advice, why_none = advice_on(session, shown.report, choice.animals)
    way = shown.way
    pictures = [Markup(svg(way.stations, vertical)) for vertical in (False, True)] if way else []
    return render_template(
        "hay.html",
        hay=shown,
        choice=choice,
        advice=advice,
        why_none=why_none,
        pictures=pictures,
        supply=Markup(supply.svg(advice.bars)) if advice else "",
        query=address_of(shown, choice),
        **more,
    )


def address_of(shown: HayPage, choice: Choice) -> dict[str, Any]:
    """What every link of the page carries on: the lot, and the animals once somebody has chosen them."""
    return {"lot": shown.lot, **(choice.query if choice.told else {})}


@door.get("/T/<token:stub>/animals")
@for_roles(*EVERYONE)
@let_in("animals")
def animals(reader: Reader, stub: str) -> str:
    """Three taps: kind and stage, weight, milk or condition."""
    args = {name: request.args[name] for name in (*NAMES, "lot") if request.args.get(name)}
    with reading() as session:
        lot = chosen_lot(reader)
        owner = hay_page(session, lot, now()).producer if lot is not None else ""
        groups = [one.group.name for one in groups_of(session, owner)] if owner else []
    back = {"lot": args["lot"]} if "lot" in args else {}
    return render_template("animals.html", taps=next_taps(args, groups), stub=stub, back=back)


def chosen_lot(reader: Reader) -> int | None:
    """The lot that the page is about; None where the token opens several and none is named."""
    if len(reader.lots) == 1:
        return reader.lots[0]
    named = request.args.get("lot", "")
    return next((lot for lot in reader.lots if str(lot) == named), None)


def _which(reader: Reader, stub: str) -> str:
    """A token of several lots, or of a tag that is on no bag yet."""
    with reading() as session:
        lots = [hay_page(session, lot, now()) for lot in reader.lots]
    return render_template("which.html", lots=lots, stub=stub)


def today() -> Any:
    """The office's civil date."""
    return now().astimezone().date()
