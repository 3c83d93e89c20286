"""Print tags: each run is kept, each code is new, and the stubs' tokens are known only to the paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import LabelError, payload
from tracker.domain.custody import Act
from tracker.domain.tag import ISSUED, PRINTED
from tracker.errors import Refused
from tracker.steps.append_event import following, on_tag
from tracker.storage.custody import reprints_of
from tracker.storage.lots import lot_numbered
from tracker.storage.search_words import keep_tag_words
from tracker.storage.tags import PrintRun, Tag, tag_coded


@dataclass(frozen=True)
class PrintedTag:
    """What goes on the paper. token is not kept anywhere else; again: the how manieth print of the tag it is."""

    tag: Tag
    token: str
    again: int = 1

    @property
    def number(self) -> str:
        """What the tag is called for counting: run and place, and R2 where it is printed for the second time."""
        mark = f" R{self.again}" if self.again > 1 else ""
        return f"{self.tag.run_id}-{self.tag.number:03d}{mark}"


def print_tags(
    session: Session,
    lots: Sequence[int | None],
    act: Act,
    *,
    base_url: str,
    layout: Mapping[str, Any],
    chooser: payload.Chooser | None = None,
    codes: Sequence[str] = (),
) -> tuple[PrintRun, list[PrintedTag]]:
    """Make one tag for each entry of `lots`: a lot's number, or None for a roll whose lots nobody knows yet.

    layout: the stock and the cells, as kept with the run. codes: given codes instead of drawn ones, for paper
    that exists already, one for each tag. Raises Refused `base-url`, `nothing-to-print`, `codes-miscounted`,
    `code-used` and what labels.payload.read_code raises, NotFound `unknown-lot`.
    """
    if not lots:
        raise Refused(
            "nothing-to-print", "No tags are asked for.", field="count", remedy="Ask for 1 or more."
        )
    _check_base(base_url)
    for lot in {lot for lot in lots if lot is not None}:
        lot_numbered(session, lot)
    run = _run(len(lots), base_url, layout, act)
    session.add(run)
    session.flush()
    given = _given_codes(session, codes, len(lots)) or _new_codes(session, len(lots), chooser)
    printed = [
        _tag(run, number, code, lot, chooser)
        for number, (code, lot) in enumerate(zip(given, lots, strict=True), start=1)
    ]
    session.add_all([one.tag for one in printed])
    session.flush()
    keep_tag_words(session, [one.tag for one in printed])
    for one in printed:
        on_tag(session, "tag printed", one.tag, {"code": one.tag.code, "run": run.id}, act)
    return run, printed


def _run(count: int, base_url: str, layout: Mapping[str, Any], act: Act) -> PrintRun:
    return PrintRun(
        what="tags",
        count=count,
        layout=dict(layout),
        base_url=base_url,
        reason=act.note,
        printed_by=act.by.key,
        printed_at=act.now,
    )


def _tag(
    run: PrintRun, number: int, code: str, lot: int | None, chooser: payload.Chooser | None
) -> PrintedTag:
    token = payload.make_token(chooser)
    hashed = payload.token_hash(token)
    row = Tag(code=code, token_hash=hashed, run_id=run.id, number=number, lot_id=lot, state="printed")
    return PrintedTag(row, token)


def _new_codes(session: Session, count: int, chooser: payload.Chooser | None) -> list[str]:
    codes: dict[str, None] = {}
    while len(codes) < count:
        code = payload.make_code(chooser)
        if session.scalar(select(Tag.id).where(Tag.code == code)) is None:
            codes[code] = None
    return list(codes)


def _given_codes(session: Session, texts: Sequence[str], count: int) -> list[str]:
    """The codes as they are kept, however they were written; none when none are given."""
    if texts and len(texts) != count:
        raise Refused(
            "codes-miscounted",
            f"{count} tags are asked for, and {len(texts)} codes are given.",
            field="codes",
            remedy="Give one code for each tag, or none and they are drawn.",
        )
    try:
        codes = [payload.read_code(text) for text in texts]
    except LabelError as error:
        raise Refused(error.code, error.message, field="codes", remedy=error.remedy) from None
    _refuse_used(session, codes)
    return codes


def _refuse_used(session: Session, codes: Sequence[str]) -> None:
    used = session.scalar(select(Tag.code).where(Tag.code.in_(codes)))
    if used is not None or len(set(codes)) < len(codes):
        twice = used or next(code for code in codes if list(codes).count(code) > 1)
        raise Refused(
            "code-used",
            f"Code {payload.shown(twice)} is used already.",
            field="codes",
            remedy="A code names one bag for ever. Take another.",
        )


def _check_base(base_url: str) -> None:
    try:
        payload.prefix(base_url)
    except LabelError as error:
        raise Refused(error.code, error.message, field="base_url", remedy=error.remedy) from None


def reprint_tag(
    session: Session, text: str, act: Act, *, reason: str, base_url: str, layout: Mapping[str, Any]
) -> tuple[PrintRun, PrintedTag]:
    """Print a tag again: the code stays, the stub gets a new token and the old stub opens nothing any more.

    The paper is marked R2, R3, ..., so that two pieces with one code can be told apart.

    Raises Refused `reason-missing`, `tag-void`, `base-url` and what tag_coded raises.
    """
    tag = tag_coded(session, text)
    require_reason(reason)
    _check_base(base_url)
    run = _run(1, base_url, layout, act)
    session.add(run)
    session.flush()
    on_tag(session, "tag reprinted", tag, {"code": tag.code, "run": run.id, "reason": reason}, act)
    token = payload.make_token()
    tag.token_hash = payload.token_hash(token)
    session.flush()
    return run, PrintedTag(tag, token, 1 + reprints_of(session, [tag.id])[tag.id])


def void_tag(session: Session, text: str, act: Act, *, reason: str) -> Tag:
    """Make a tag void: misprinted, torn, lost. One that names a bag is replaced instead (see bag_cores).

    Raises Refused `reason-missing`, `tag-void`, `tag-names-a-bag` and what tag_coded raises.
    """
    tag = tag_coded(session, text)
    require_reason(reason)
    if tag.sample_id is not None and tag.state == "bound":
        raise Refused(
            "tag-names-a-bag",
            f"Tag {payload.shown(tag.code)} names a bag, which would be left without a name.",
            field="code",
            remedy="Replace it: `tracker retag` binds a fresh tag and makes this one void.",
        )
    on_tag(session, "tag voided", tag, {"code": tag.code, "reason": reason}, act)
    return tag


def void_run(session: Session, run: int, act: Act, *, reason: str, first: int = 1) -> list[Tag]:
    """Make void what a print run spoilt, from number `first` on, in one act; tags on bags stay as they are.

    Raises Refused `reason-missing`, `nothing-to-void`.
    """
    require_reason(reason)
    wanted = select(Tag).where(Tag.run_id == run, Tag.number >= first).order_by(Tag.number)
    spoilt = [tag for tag in session.scalars(wanted) if tag.state in (PRINTED, ISSUED)]
    if not spoilt:
        raise Refused(
            "nothing-to-void",
            f"Run {run} has no free tag from number {first} on.",
            field="run",
            remedy="`tracker rolls` shows what became of them.",
        )
    for tag in spoilt:
        on_tag(session, "tag voided", tag, {"code": tag.code, "reason": reason}, following(act, tag.number))
    return spoilt


def require_reason(reason: str) -> None:
    """Raises Refused `reason-missing` for an empty one."""
    if not reason.strip():
        raise Refused(
            "reason-missing", "There is no reason.", field="reason", remedy="Write why, in a few words."
        )
