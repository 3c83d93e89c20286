"""Every setting is told with its value, where it comes from, and its changes."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from labels.stock import PRESETS
from tests.makers import act, code_of, done
from tests.result_files import NIR, NIR_MAP, add_map
from tracker.domain.practice import RULES
from tracker.errors import NotFound
from tracker.lookups.settings_kept import SHELVES, Setting, setting_named, settings_kept
from tracker.steps.add_balance import add_balance
from tracker.steps.set_equipment import KINDS, set_equipment
from tracker.steps.set_feed import set_feed
from tracker.steps.set_practice import set_practice
from tracker.storage.engine import Database
from tracker.storage.feeding import feeds_in_force


def named(season: Database, kind: str, name: str) -> Setting:
    with season.read() as session:
        return setting_named(session, kind, name)


def test_every_rule_feed_place_and_sheet_is_among_them_before_anything_is_changed(season: Database) -> None:
    with season.read() as session:
        shelves = {shelf.kind: shelf.settings for shelf in settings_kept(session)}
        feeds = {feed.key for feed in feeds_in_force(session)}
    assert list(shelves) == list(SHELVES)
    assert {one.name for one in shelves["rule"]} == set(RULES)
    assert {one.name for one in shelves["feed"]} == feeds
    assert {one.name for one in shelves["sheet"]} == set(PRESETS)
    assert {(one.name, one.value) for one in shelves["place"]} == {
        ("box", "locked"),
        ("shelf", "not locked"),
        ("store", "locked"),
    }
    assert all(not one.changes and one.source for one in shelves["rule"])
    assert set(KINDS) <= set(SHELVES)


def test_a_rule_tells_who_changed_it_and_why_newest_first(season: Database) -> None:
    for value in ("25", "22"):
        done(
            season,
            lambda s, value=value: set_practice(
                s, "cores", value, act(s, "lena", 0), source="our trial", reason=f"to {value}"
            ),
        )
    one = named(season, "rule", "cores")
    assert (one.value, one.source) == ("22", "our trial")
    assert [(change.version, change.value, change.reason, change.by) for change in one.changes] == [
        (2, "22", "to 22 (from our trial)", "Lena Roy"),
        (1, "25", "to 25 (from our trial)", "Lena Roy"),
    ]


def test_feeds_maps_balances_and_equipment_tell_theirs(season: Database) -> None:
    def changed(session: Session) -> None:
        who = act(session, "lena", 0)
        key = feeds_in_force(session)[0].key
        set_feed(session, key, {"price_ton": "300"}, who, reason="the mill's list")
        add_balance(
            session,
            "B1",
            who,
            route="typed",
            profile="any",
            check_weight="200.00",
            limit="0.05",
        )
        set_equipment(session, "mill", "mill 1", who, facts="1 mm screen", reason="new", in_use=False)
        add_map(session, NIR, NIR_MAP)

    done(season, changed)
    with season.read() as session:
        by_kind = {shelf.kind: shelf.settings for shelf in settings_kept(session)}
    (feed,) = [one for one in by_kind["feed"] if one.changes]
    assert (feed.changes[0].value, feed.changes[0].reason) == ("price_ton 300", "the mill's list")
    assert by_kind["balance"][0].value == "typed, any, check weight 200.00 g within 0.05 g"
    assert by_kind["mill"][0].value == "1 mm screen (no more in use)"
    assert (by_kind["map"][0].name, by_kind["map"][0].value) == (NIR, "version 1")
    assert all(one.changes[0].by for kind in ("map", "balance", "mill") for one in by_kind[kind])


def test_a_setting_that_is_none_is_not_found(season: Database) -> None:
    with season.read() as session, pytest.raises(NotFound) as caught:
        setting_named(session, "oven", "nowhere")
    assert code_of(caught) == "unknown-setting"
