"""Instrument runs and the limits of their check samples."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.domain.check_samples import BLIND, SAMPLE
from tracker.files.out import MEDIA_TYPE, write_csv
from tracker.lookups.page import Page
from tracker.lookups.runs import PROFILES, Run, run_named, run_table, runs_page
from tracker.steps.freeze_limits import freeze_limits
from tracker.steps.make_run import make_run
from tracker.web.api.entry import Doing, act, listing, question
from tracker.web.api.fields import Digits, Moment, Strict, one_of, several, text, whole
from tracker.web.shared.access import BENCH, person

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class NewRun(Doing):
    """A run of the instrument."""

    source = text("the instrument, as files are taken in under it", most=60)
    check_name = text("what stands on the check sample's cup", most=40)
    codes = several(
        text("a tag's code", most=20), "the samples in the order they are to be scanned", most=500
    )
    every = whole("a check sample after so many; 20 unless said", needed=False, least=1, most=1000)


class Cup(Schema):
    """One cup: its place from 1, what is scanned, and whether it is a sample or the check sample."""

    position = fields.Integer(required=True)
    code = fields.String(required=True)
    kind = fields.String(required=True)


class RunTold(Schema):
    """A run list. seed, and which cups are blind duplicates, are told to the lead alone."""

    name = fields.String(required=True)
    source = fields.String(required=True)
    check_name = fields.String(required=True)
    seed = fields.Integer(required=True, allow_none=True)
    by = fields.String(required=True)
    at = Moment(required=True)
    rows = fields.List(fields.Nested(Cup), required=True)


class Form(Strict):
    """The form of the list."""

    profile = one_of(f"how it is written; {PROFILES[0]} unless said", PROFILES, needed=False)


class Limits(Doing):
    """Whose limits are frozen, and why."""

    source = text("the instrument or laboratory", most=60)
    check_name = text("the check sample", most=40)
    constituent = text("the constituent's short name", most=20)
    reason = text("why")
    left_out = several(
        whole("a reading's number", least=1), "readings that are not used", needed=False, most=500
    )


class Frozen(Schema):
    """The limits in force from now on; mean and sigma in the constituent's unit, from n readings."""

    check_name = fields.String(required=True)
    constituent = fields.String(required=True)
    version = fields.Integer(required=True)
    mean = Digits(required=True)
    sigma = Digits(required=True)
    n = fields.Integer(required=True)


def _told(run: Run) -> dict[str, Any]:
    """The run as this program's person may see it."""
    lead = person().role == "lead"
    rows = run.rows if lead else tuple(_unseen(row) for row in run.rows)
    return {**vars(run), "rows": rows, "seed": run.seed if lead else None}


def _unseen(row: Any) -> Any:
    return replace(row, kind=SAMPLE) if row.kind == BLIND else row


def _runs(session: Session, **page: Any) -> Page[Any]:
    found = runs_page(session, **page)
    return Page(tuple(_told(one) for one in found.items), found.next)


def _make(session: Session, act: Act, source: str, check_name: str, codes: list[str], **given: Any) -> Any:
    row = make_run(session, source, check_name, codes, act, **given)
    return _told(run_named(session, row.name))


def _list(session: Session, name: str, profile: str = PROFILES[0]) -> bytes:
    return write_csv(run_table(session, run_named(session, name), profile))


def _freeze(session: Session, act: Act, source: str, check_name: str, constituent: str, **given: Any) -> Any:
    given["left_out"] = set(given.get("left_out", ()))
    return freeze_limits(session, source, check_name, constituent, act, **given)


listing("runs", "/runs", "The runs of the instruments, the oldest first.", _runs, RunTold, roles=BENCH)
act(
    "make-run",
    "/runs",
    "Make the list of a run, with check samples and blind duplicates.",
    "lab",
    _make,
    RunTold,
    given=NewRun,
    roles=BENCH,
    status=201,
)
question(
    "run",
    "/runs/<name>",
    "One run, cup by cup.",
    lambda session, name: _told(run_named(session, name)),
    RunTold,
    roles=BENCH,
)
question(
    "run-list",
    "/runs/<name>/list",
    "The run as the instrument or the bench wants it, CSV. It never says which cup is a blind duplicate.",
    _list,
    None,
    asked=Form,
    media=MEDIA_TYPE,
    roles=BENCH,
)
act(
    "freeze-limits",
    "/check-limits",
    "Freeze the limits of a check sample from its readings, or their next version.",
    "lab",
    _freeze,
    Frozen,
    given=Limits,
    roles=BENCH,
    status=201,
)
