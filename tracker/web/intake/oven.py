"""The oven: loads put in together, taken out together, weighed dry in order, and closed without a gap."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

from flask import Response, flash, redirect, render_template, request, url_for

from tracker.domain.findings import CAUTION, HOLD
from tracker.errors import Refused, TrackerError
from tracker.lookups.bench_sack import BenchSack, bench_sack, found_sack, sacks_of
from tracker.lookups.find import sample_named
from tracker.lookups.oven_bench import (
    BenchLoad,
    Row,
    bench_load,
    how_many_before_oven,
    load_names,
    open_loads,
    sheet_of,
    waiting_for_oven,
)
from tracker.lookups.settings_kept import names_in_use
from tracker.papers.oven_sheet import oven_sheet
from tracker.steps.close_load import close_load, lose_from_load, set_aside
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.weigh_dry import weigh_dry
from tracker.web.intake.door import balance_here, door, scanning, weight_given
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.scanned import code_in
from tracker.web.shared.season import acting, now, reading
from tracker.web.shared.told import tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

# Sacks of a new load that the page offers at once: they all stand in its address.
SHOWN = 100


@door.get("/oven")
@for_roles(*LAB)
def oven() -> str:
    """The loads that are not closed, and the sacks that wait for the oven."""
    with reading() as reading_in:
        loads, waiting = open_loads(reading_in), waiting_for_oven(reading_in, SHOWN)
        counted = how_many_before_oven(reading_in)
    scan_to = scanning(url_for("intake.new_load"))
    return render_template("oven.html", loads=loads, waiting=waiting, counted=counted, scan_to=scan_to)


@door.get("/oven/new")
@for_roles(*LAB)
def new_load() -> Any:
    """A new load: each scan puts one more sack in its list, in the order in which they will stand."""
    codes = list(dict.fromkeys(request.args.getlist("code")))
    if request.args.get("scan", "").strip():
        code = code_in(request.args["scan"])
        if code in codes:
            flash("This sack is in the list already.", "caution")
        return redirect(url_for("intake.new_load", code=list(dict.fromkeys([*codes, code]))), 303)
    with reading() as reading_in:
        sacks = _sacks(reading_in, codes)
        names = load_names(reading_in)
        ovens = names_in_use(reading_in, "oven")
    day = now().astimezone().date()
    free = next(name for n in range(1, 1000) if (name := f"{day}-{n}") not in names)
    here = url_for("intake.new_load", code=codes)
    return render_template(
        "oven_new.html", sacks=sacks, codes=codes, name=free, ovens=ovens, scan_to=scanning(here)
    )


def _sacks(reading_in: Session, codes: Sequence[str]) -> list[tuple[str, BenchSack | None, str]]:
    """Each code, its sack, and why it may not go in."""
    ids: dict[str, int] = {}
    refusals: dict[str, str] = {}
    for code in codes:
        try:
            ids[code] = found_sack(reading_in, code)
        except TrackerError as refused:
            refusals[code] = refused.message
    sacks = sacks_of(reading_in, list(ids.values()))
    return [
        (code, sacks[ids[code]], _why_not(sacks[ids[code]])) if code in ids else (code, None, refusals[code])
        for code in codes
    ]


def _why_not(sack: BenchSack) -> str:
    if sack.hold:
        return f"on hold: {sack.hold}"
    return "" if sack.state in ("weighed", "out of oven", "dried") else f"it waits for {sack.next}"


@door.post("/oven/new")
@for_roles(*LAB)
def load_made() -> Any:
    """Put the sacks in the oven as one load, all of them or none."""
    form = request.form
    name = form.get("name", "").strip()
    if not name or name == "new" or "/" in name or len(name) > 30:
        raise Refused(
            "load-name",
            f"{name!r} is not a name for a load.",
            field="name",
            remedy="Use up to 30 letters, digits and hyphens; not the word new.",
        )
    with acting("load the oven") as (doing, act):
        samples = [sample_named(doing, code) for code in form.getlist("code")]
        for sample, seen in zip(samples, form.getlist("seen"), strict=False):
            not_moved(doing, sample.id, seen)
        load_oven(
            doing,
            name,
            samples,
            act,
            oven=form.get("oven", "").strip(),
            set_celsius=form.get("set_celsius", ""),
        )
    flash(f"In the oven: load {name}, {len(samples)} {'sack' if len(samples) == 1 else 'sacks'}.", "good")
    return redirect(url_for("intake.load", name=name), 303)


@door.get("/oven/<name>")
@for_roles(*LAB)
def load(name: str) -> str:
    """The load's sheet on the screen."""
    with reading() as reading_in:
        found = bench_load(reading_in, name)
    # A stray Enter must not take out what has just gone in.
    due = found.load.due_at is not None and now() >= found.load.due_at
    return render_template("load.html", load=found, due=due)


@door.get("/oven/<name>/sheet.pdf")
@for_roles(*LAB)
def load_sheet(name: str) -> Response:
    """The load's sheet to hang at the oven."""
    with reading() as reading_in:
        found = bench_load(reading_in, name)
    file = BytesIO()
    oven_sheet(file, sheet_of(found))
    return Response(file.getvalue(), mimetype="application/pdf")


@door.post("/oven/<name>/out")
@for_roles(*LAB)
def load_out(name: str) -> Any:
    """Take the whole load out."""
    with acting("empty the oven") as (doing, act):
        _, found = empty_oven(doing, name, act)
    flash(f"Load {name} is out. Weigh each sack dry, in the order it stands.", "good")
    for finding in found:
        if finding.level in (CAUTION, HOLD):
            flash(finding.words, "caution")
    return redirect(url_for("intake.load_dry", name=name), 303)


@door.get("/oven/<name>/dry")
@for_roles(*LAB)
def load_dry(name: str) -> str:
    """The next sack to weigh dry; a scan of another one of this load is taken, with another word."""
    scanned = request.args.get("scan", "").strip()
    with reading() as reading_in:
        found = bench_load(reading_in, name)
        here, everything = balance_here(reading_in)
        stranger = bench_sack(reading_in, code_in(scanned)) if scanned else None
    row, what, word = _chosen(found, stranger)
    return render_template(
        "load_dry.html",
        load=found,
        row=row,
        what=what,
        word=word,
        stranger=stranger if word == "other load" else None,
        balance=here,
        balances=everything,
        scan_to=scanning(url_for("intake.load_dry", name=name)),
    )


def _chosen(found: BenchLoad, scanned: BenchSack | None) -> tuple[Row | None, str, str]:
    """The row in hand, what is weighed of it, and a word for how it came: expected, another, done, other load."""
    to_weigh = found.to_weigh
    if scanned is None:
        return None, "", ""
    for place, (row, what) in enumerate(to_weigh):
        if row.sack.sample_id == scanned.sample_id:
            return row, what, "expected" if place == 0 else "another"
    here = [row for row in found.rows if row.sack.sample_id == scanned.sample_id]
    return (here[0], "", "done") if here else (None, "", "other load")


@door.post("/oven/<name>/dry")
@for_roles(*LAB)
def dry_weighed(name: str) -> Any:
    """Keep one dry weight, and show the next sack."""
    form = request.form
    what = "dry again" if form.get("what") == "dry again" else "dry"
    with acting(f"weigh {what}") as (doing, act):
        sample = sample_named(doing, form.get("code", ""))
        not_moved(doing, sample.id, form.get("seen"))
        balance, read, raw = weight_given(doing)
        event = weigh_dry(doing, name, sample, what, read.grams, act, balance=balance, raw=raw)
    tell(event, "The second dry weight is kept." if what == "dry again" else "The dry weight is kept.")
    return redirect(url_for("intake.load_dry", name=name), 303)


@door.post("/oven/<name>/settle")
@for_roles(*LAB)
def load_settled(name: str) -> Any:
    """Say that a sack of the load is lost, or is set aside, and why."""
    form = request.form
    with acting(f"oven load: {form.get('how', '')}") as (doing, act):
        sample = sample_named(doing, form.get("code", ""))
        not_moved(doing, sample.id, form.get("seen"))
        if form.get("how") == "lost":
            lose_from_load(doing, name, sample, act, circumstances=form.get("reason", ""))
        else:
            set_aside(doing, name, sample, act, reason=form.get("reason", ""))
    flash("Noted. The others of the load go on.", "good")
    return redirect(url_for("intake.load", name=name), 303)


@door.post("/oven/<name>/close")
@for_roles(*LAB)
def load_closed(name: str) -> Any:
    """Close the load; refused while nothing is said of a sack."""
    with acting("close the load") as (doing, act):
        close_load(doing, name, act)
        again = [row.position for row in bench_load(doing, name).rows if row.again]
    flash(f"Load {name} is closed.", "good")
    if again:
        flash(f"Not weighed a second time: place {', '.join(map(str, again))}.", "caution")
    return redirect(url_for("intake.oven"), 303)
