"""The programme sets values of feeds: what stood before stays, and a composition names its source."""

from __future__ import annotations

from decimal import Decimal as D
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, refused
from tracker.domain.feed import Feed
from tracker.files.feeds_file import shipped_feeds
from tracker.lookups.feeds import feed_changes, feed_in_force, feeds_in_force
from tracker.lookups.kept_refusals import refusals
from tracker.steps.set_feed import FeedAnswer, import_feeds, set_feed
from tracker.storage.engine import Database

NEW = {
    "name": "pea screenings",
    "kind": "by-product",
    "dm": "90",
    "cp": "20",
    "tdn": "78",
    "fat": "2.0",
    "sulfur": "0.20",
    "degradable": "70",
    "most_bw": "0.5",
    "source": "the mill's analysis",
    "year": "2026",
}
LIST = "key," + ",".join(NEW) + "\n"


def setting(key: str = "soybean-hulls", *, reason: str = "this week's price", **changes: str) -> Any:
    def step(session: Session) -> Feed:
        return set_feed(session, key, changes, act(session, "lena", 10), reason=reason)

    return step


def test_a_price_is_set_and_the_composition_stays(season: Database) -> None:
    done(season, setting(price_ton="220"))
    with season.read() as session:
        found = feed_in_force(session, "soybean-hulls")
        (change,) = feed_changes(session, "soybean-hulls")
    shipped = next(feed for feed in shipped_feeds() if feed.key == "soybean-hulls")
    assert found.price_ton == 220 and found.own
    assert (found.cp, found.source, found.from_memory) == (shipped.cp, shipped.source, shipped.from_memory)
    assert (change.version, change.given, change.by) == (1, {"price_ton": "220"}, "Lena Roy")


def test_every_version_stays_and_the_latest_counts(season: Database) -> None:
    for price in ("220", "235", ""):
        done(season, setting(price_ton=price))
    with season.read() as session:
        assert [one.given["price_ton"] for one in feed_changes(session, "soybean-hulls")] == [
            "220",
            "235",
            "",
        ]
        assert feed_in_force(session, "soybean-hulls").price_ton is None


def test_an_analysis_takes_the_place_of_memory(season: Database) -> None:
    found = done(season, setting(cp="12.6", fat="2.4", source="our laboratory", year="2026"))
    assert found.cp == D("12.6") and found.source == "our laboratory"
    assert "fat" not in found.from_memory and "sulfur" in found.from_memory


def test_a_new_feed_needs_all_its_values(season: Database) -> None:
    found = done(season, setting("pea-screenings", reason="sold at the mill", **NEW))
    with season.read() as session:
        assert found in feeds_in_force(session)
        assert len(feeds_in_force(session)) == len(shipped_feeds()) + 1
    fault = refused(season, setting("oat-hulls", name="oat hulls"), by="lena")
    assert fault.code == "feed-incomplete"


@pytest.mark.parametrize(
    ("changes", "reason", "code"),
    [
        ({"price_ton": "220"}, " ", "reason-missing"),
        ({"cp": "13"}, "a tag", "feed-source-missing"),
        ({"cp": "12"}, "a tag", "nothing-changed"),
        ({"price_ton": "cheap"}, "heard so", "not-a-number"),
        ({"colour": "red"}, "seen", "unknown-feed-value"),
        ({"cp": "", "source": "tag", "year": "2026"}, "lost", "feed-incomplete"),
    ],
)
def test_what_cannot_be_set_is_refused_and_kept(
    season: Database, changes: dict[str, str], reason: str, code: str
) -> None:
    assert refused(season, setting(reason=reason, **changes), by="lena").code == code


def taking(content: str) -> Any:
    def step(session: Session) -> tuple[FeedAnswer, ...]:
        return import_feeds(
            session, "feeds.csv", content.encode(), act(session, "lena", 20), reason="the mill's list"
        )

    return step


def test_a_list_is_taken_in_line_by_line_and_twice_changes_nothing(season: Database) -> None:
    good = "pea-screenings," + ",".join(NEW.values())
    bad = good.replace("pea-screenings", "bean-hulls").replace(",90,", ",9,")
    content = LIST + good + "\n" + bad + "\n"
    first = done(season, taking(content))
    assert [(one.line, one.key, one.known) for one in first] == [
        (2, "pea-screenings", False),
        (3, None, False),
    ]
    assert first[1].complaint and first[1].complaint.code == "feed-implausible"
    with season.read() as session:
        assert refusals(session)[0].code == "feed-implausible"
    again = done(season, taking(content))
    assert again[0].known
    with season.read() as session:
        assert len(feed_changes(session, "pea-screenings")) == 1


def test_a_list_without_a_reason_or_with_strange_columns_is_refused_whole(season: Database) -> None:
    assert refused(season, taking("key,colour\nx,red\n"), by="lena").code == "columns-missing"
