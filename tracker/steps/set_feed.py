"""The programme sets values of a feed, from its tag, an analysis or a price list; or takes in a list of feeds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.feed import SPANS, Feed, checked_feed, texts_of
from tracker.errors import Refused, TrackerError
from tracker.files.feeds_file import read_feeds
from tracker.files.table_file import read_table
from tracker.steps.print_tags import require_reason
from tracker.storage.feeding import FeedVersion, feed_versions, feeds_in_force
from tracker.storage.kept import keep_refusal

# What may change without a new source: a price is not composition.
NOT_COMPOSITION = {"price_ton", "most_bw", "most_of_diet", "substitution"}


def set_feed(session: Session, key: str, changes: Mapping[str, str], act: Act, *, reason: str) -> Feed:
    """Set some values of a feed, or all of a new one; an empty value takes it away. What stood before stays kept.

    Raises Refused `reason-missing`, `nothing-changed`, `feed-source-missing` where composition changes without its
    source and year, and as domain.feed.checked_feed.
    """
    require_reason(reason)
    known = {feed.key: feed for feed in feeds_in_force(session)}.get(key)
    before = texts_of(known) if known else {"key": key}
    texts = _changed(before, changes)
    if texts == before:
        raise Refused(
            "nothing-changed", f"{key} has these values already.", field="key", remedy="Nothing needs doing."
        )
    composition = {name for name in changes if name in SPANS and name not in NOT_COMPOSITION}
    if known and composition and not {"source", "year"} <= set(changes):
        raise Refused(
            "feed-source-missing",
            f"{', '.join(sorted(composition))} of {key} would change without saying where from.",
            field="source",
            remedy="Give source=... and year=... of the tag or analysis too.",
        )
    return _keep(session, texts, changes, act, reason)


def _changed(before: Mapping[str, str], changes: Mapping[str, str]) -> dict[str, str]:
    texts = {**before, **{name: text.strip() for name, text in changes.items()}}
    # A value that somebody has looked up is from memory no longer.
    remembered = [name for name in texts.get("from_memory", "").split(";") if name and name not in changes]
    texts["from_memory"] = ";".join(remembered)
    return {name: text for name, text in texts.items() if text}


def _keep(
    session: Session, texts: Mapping[str, str], given: Mapping[str, str], act: Act, reason: str
) -> Feed:
    feed = checked_feed(texts, own=True)
    row = FeedVersion(
        key=feed.key,
        version=len(feed_versions(session, feed.key)) + 1,
        values=texts_of(feed),
        given=dict(given),
        reason=reason,
        by=act.by.key,
        at=act.now,
    )
    session.add(row)
    session.flush()
    return feed


@dataclass(frozen=True)
class FeedAnswer:
    """What became of one line: the feed, or the complaint. known: it stood so before."""

    line: int
    key: str | None
    complaint: TrackerError | None
    known: bool = False


def import_feeds(
    session: Session, name: str, content: bytes, act: Act, *, reason: str, sheet: str | None = None
) -> tuple[FeedAnswer, ...]:
    """Take in each row of a list of feeds; a row refused does not touch the others, and is kept as it was given.

    Raises Refused `reason-missing`, and what read_table and read_feeds raise for a file that is no list of feeds.
    """
    require_reason(reason)
    table = read_table(name, content, sheet=sheet)
    known = {feed.key: texts_of(feed) for feed in feeds_in_force(session)}
    answers = []
    for row in read_feeds(table):
        if row.feed is None:
            assert row.problem is not None
            given = dict(zip(table.header, row.cells, strict=False))
            keep_refusal(session, act.now, f"import feeds from {name}", act.by.key, given, row.problem)
            answers.append(FeedAnswer(row.line, None, row.problem))
            continue
        texts = texts_of(row.feed)
        same = known.get(row.feed.key) == texts
        if not same:
            _keep(session, texts, texts, act, reason)
        answers.append(FeedAnswer(row.line, row.feed.key, None, known=same))
    return tuple(answers)
