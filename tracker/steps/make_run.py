"""Make the list of an instrument run: check samples in their places, and blind duplicates by a stored seed."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import LabelError, payload
from tracker.domain.check_samples import run_list
from tracker.domain.custody import KINDS, Act
from tracker.domain.units import whole
from tracker.errors import NotFound, Refused
from tracker.steps.append_event import standing_of
from tracker.steps.sample_for import sample_for
from tracker.storage.analysis import Source
from tracker.storage.runs import RunList, check_names

LONGEST_NAME = 40
MOST_SEED = 2**31


def make_run(
    session: Session,
    source: str,
    check_name: str,
    codes: Sequence[str],
    act: Act,
    *,
    every: str | int = 20,
    seed: int | None = None,
) -> RunList:
    """Keep the run's order under a name made of its day and a number; codes in the order they are to be scanned.

    seed: drawn where none is given, and kept. Raises NotFound `unknown-source`, Refused `check-name-missing`,
    `check-name-reads-as-code`, `not-for-the-scan`, and what sample_for and domain.check_samples.run_list raise.
    """
    known = session.scalar(select(Source).where(Source.name == source))
    if known is None:
        raise NotFound(
            "unknown-source",
            f"There is no source called {source!r}.",
            field="source",
            remedy="Add it with its column map: `tracker add-source`.",
        )
    check = _check_name(session, known, check_name)
    named = [_ready(session, code) for code in codes]
    drawn = secrets.randbelow(MOST_SEED) if seed is None else seed
    rows = run_list(named, check, blind_duplicate_seed=drawn, every=whole(every, field="every"))
    run = RunList(
        name=_name(session, act),
        source_id=known.id,
        check_name=check,
        seed=drawn,
        rows=[{"position": row.position, "code": row.code, "kind": row.kind} for row in rows],
        by=act.by.key,
        at=act.now,
    )
    session.add(run)
    session.flush()
    return run


def _check_name(session: Session, source: Source, text: str) -> str:
    """The check sample's name, as it was first written for this source."""
    name = " ".join(text.split())
    if not name or len(name) > LONGEST_NAME:
        raise Refused(
            "check-name-missing",
            "The check sample has no name, or a very long one.",
            field="check_name",
            remedy=f"Write what stands on its cup, up to {LONGEST_NAME} letters.",
        )
    try:
        payload.read_code(name)
    except LabelError:
        earlier = {one.casefold(): one for one in check_names(session, source.id)}
        return earlier.get(name.casefold(), name)
    raise Refused(
        "check-name-reads-as-code",
        f"{name} can be read as a tag's code.",
        field="check_name",
        remedy="Give the check sample a name that no tag can have, such as CHECK 1.",
    )


def _ready(session: Session, text: str) -> str:
    """The code of a sample that may be scanned."""
    standing = standing_of(session, sample_for(session, text))
    code = str(standing.code)
    if standing.state not in KINDS["scanned"].frm or standing.on_hold:
        what = "on hold" if standing.on_hold else standing.state
        raise Refused(
            "not-for-the-scan",
            f"{payload.shown(code)} is {what}.",
            field="codes",
            remedy="Only samples that are ground and not on hold go into a run.",
        )
    return code


def _name(session: Session, act: Act) -> str:
    """2026-06-21-1: the day where the run was made, and which of that day's runs."""
    day = act.occurred_at.date().isoformat()
    made = session.scalars(select(RunList.id).where(RunList.name.startswith(f"{day}-"))).all()
    return f"{day}-{len(made) + 1}"
