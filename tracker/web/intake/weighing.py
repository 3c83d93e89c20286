"""Weigh: the empty sack, the sack with fresh hay, with dry hay, and with dry hay again; one box at a time."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from flask import flash, jsonify, redirect, render_template, request, session, url_for

from tracker.domain.findings import NOTE
from tracker.domain.units import grams as weight
from tracker.domain.units import number
from tracker.errors import Conflict, TrackerError
from tracker.lookups.balances import Batch, newest_batch, parsed, storable, tare_batch
from tracker.lookups.bench_sack import BenchSack, bench_sack
from tracker.lookups.find import sample_named
from tracker.steps.keep_tare_batch import keep_tare_batch
from tracker.steps.receive import break_seal
from tracker.steps.undo import undo
from tracker.steps.weigh_dry import weigh_dry
from tracker.steps.weigh_in import weigh as weigh_in
from tracker.web.intake.door import back_to, balance_here, desk, door, scanning, weight_given
from tracker.web.shared.access import LAB, STAFF, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.scanned import code_in
from tracker.web.shared.season import acting, reading
from tracker.web.shared.told import tell

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act
    from tracker.storage.coring import Sample
    from tracker.storage.custody import EventRow

_KEPT = {
    "break seal": "The seal is opened.",
    "tare": "The empty sack is weighed.",
    "fresh": "The fresh weight is kept: ready for the oven.",
    "dry": "The dry weight is kept.",
    "dry again": "The second dry weight is kept.",
}


@door.get("/desk/weigh")
@for_roles(*LAB)
def weigh() -> Any:
    """Ready for the next sack; a scan leads to it."""
    if request.args.get("scan", "").strip():
        return redirect(url_for("intake.weigh_one", code=code_in(request.args["scan"])), 303)
    with reading() as reading_in:
        here, everything = balance_here(reading_in)
        batch = _batch_here(reading_in)
    return render_template(
        "weigh.html", balance=here, balances=everything, batch=batch, scan_to=scanning(desk())
    )


@door.get("/desk/weigh/<code>")
@for_roles(*LAB)
def weigh_one(code: str) -> str:
    """What is next for this sack, and one box for it."""
    with reading() as reading_in:
        sack = bench_sack(reading_in, code)
        here, everything = balance_here(reading_in)
        batch = _batch_here(reading_in) if sack.next == "tare" and not request.args.get("own") else None
    return render_template(
        "weigh_one.html",
        sack=sack,
        balance=here,
        balances=everything,
        batch=batch,
        zeroed=bool(session.get("zeroed")),
        scan_to=scanning(desk()),
    )


@door.post("/desk/weigh/<code>")
@for_roles(*LAB)
def weighed(code: str) -> Any:
    """Keep what was read, and go on: after the tare the same sack's fresh weight, after that the next sack."""
    what = request.form.get("what", "")
    with acting(f"weigh {what}") as (doing, act):
        sack = bench_sack(doing, code)
        not_moved(doing, sack.sample_id, request.form.get("seen"))
        _check_next(sack, what)
        event = _kept(doing, sample_named(doing, code), sack, what, act)
    tell(event, _KEPT[what])
    if what in ("break seal", "tare"):
        return redirect(url_for("intake.weigh_one", code=sack.code), 303)
    return redirect(desk(), 303)


def _check_next(sack: BenchSack, what: str) -> None:
    with_batch = what == "fresh" and sack.next == "tare" and request.form.get("batch")
    if what in _KEPT and (sack.next == what or with_batch):
        return
    raise Conflict(
        "not-next",
        f"This sack waits for {sack.next}, not for {what or 'nothing'}.",
        field="what",
        remedy="Go back: the page shows what is next for it.",
    )


def _kept(doing: Session, sample: Sample, sack: BenchSack, what: str, act: Act) -> EventRow:
    form = request.form
    if what == "break seal":
        return break_seal(doing, sample, form.get("seal_read", "").strip(), act)
    balance, read, raw = weight_given(doing)
    zeroed = what != "tare" and bool(form.get("zeroed"))
    if what == "fresh":
        session["zeroed"] = zeroed
    if what in ("dry", "dry again") and sack.load:
        return weigh_dry(
            doing, sack.load, sample, what, read.grams, act, balance=balance, zeroed=zeroed, raw=raw
        )
    if what == "fresh" and sack.tare is None:
        batch = tare_batch(doing, int(number(form["batch"], field="batch")))
        # The tare is an entry of its own, before the weight that rests on it.
        weigh_in(doing, sample, "tare", batch.readings[0], act, balance=balance, batch=batch.readings)
    return weigh_in(doing, sample, what, read.grams, act, balance=balance, zeroed=zeroed, raw=raw)


def _batch_here(reading_in: Session) -> Batch | None:
    newest = newest_batch(reading_in) if session.get("batch") else None
    return newest if newest and newest.id == session["batch"] else None


@door.get("/desk/tare-batch")
@for_roles(*LAB)
def tare_of_batch() -> str:
    """Empty sacks of one batch, weighed one after the other; the page's address holds what was read so far."""
    with reading() as reading_in:
        here, everything = balance_here(reading_in)
        batch = _batch_here(reading_in)
    return render_template(
        "tare_batch.html",
        readings=_readings(request.args.getlist("g")),
        balance=here,
        balances=everything,
        batch=batch,
    )


@door.post("/desk/tare-batch")
@for_roles(*LAB)
def tare_batch_weighed() -> Any:
    """One more empty sack; or keep the mean of those that were weighed; or use no batch any more."""
    form = request.form
    before = [str(one) for one in _readings(form.getlist("g"))]
    if form.get("do") == "each":
        session.pop("batch", None)
        return redirect(desk(), 303)
    if form.get("do") != "keep":
        with reading() as reading_in:
            _, read, _ = weight_given(reading_in)
        return redirect(url_for("intake.tare_of_batch", g=[*before, str(read.grams)]), 303)
    with acting("weigh a batch of sacks") as (doing, act):
        row, found = keep_tare_batch(doing, _readings(before), act, balance=form.get("balance", ""))
    session["batch"] = row.id
    flash(f"The mean of {len(before)} empty sacks is the tare of the sacks that follow.", "good")
    for finding in found:
        if finding.level != NOTE:
            flash(finding.words, "caution")
    return redirect(desk(), 303)


def _readings(texts: list[str]) -> list[Decimal]:
    return [weight(text, field="g") for text in texts]


@door.post("/undo")
@for_roles(*STAFF)
def take_back() -> Any:
    """Take back what this person entered just now."""
    with acting("undo") as (doing, act):
        entry = int(number(request.form.get("entry", ""), field="entry"))
        undone = undo(doing, entry, act)
        kind = undone.data["kind"]
    flash(f"Taken back: {kind}. It counts for nothing.", "caution")
    return back_to(desk())


@door.post("/desk/line")
@for_roles(*LAB)
def line() -> Any:
    """What a balance's line says, and whether it may be kept as it is. Keeps nothing."""
    asked = request.get_json(silent=True)
    given = asked if isinstance(asked, dict) else {}
    balance, raw = str(given.get("balance", "")), str(given.get("raw", ""))
    before = given.get("before") if isinstance(given.get("before"), dict) else {}
    try:
        with reading() as reading_in:
            read = parsed(reading_in, balance, raw)
            seconds = number(str((before or {}).get("seconds", "0")), field="seconds")
            may = storable(reading_in, balance, raw, str((before or {}).get("raw", "")), seconds)
    except TrackerError as refused:
        return jsonify(refused=refused.code, words=f"{refused.message} {refused.remedy}"), 422
    words = (
        "" if may else "Not steady yet." if read.stable is False else "Steady? Wait a second, or press Enter."
    )
    return jsonify(grams=str(read.grams), stable=read.stable, storable=may, words=words)
