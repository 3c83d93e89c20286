"""Lists of supplements: the one that comes with the program, and a programme's own."""

from __future__ import annotations

import csv
from decimal import Decimal as D
from pathlib import Path

import pytest

from tracker.domain.feed import TUB, UNDATED
from tracker.errors import Refused
from tracker.files.feeds_file import read_feeds, shipped_feeds
from tracker.files.table_file import read_table

HEADER = "key,name,kind,dm,cp,tdn,fat,sulfur,degradable,most_bw,source,year"
LINE = "pea-screenings,pea screenings,by-product,90,20,78,2.0,0.20,70,0.5,the mill,2026"
SHIPPED = Path(__file__).parents[2] / "fixtures" / "supplements.csv"


def read(*lines: str) -> tuple[object, ...]:
    return read_feeds(read_table("feeds.csv", "\n".join(lines).encode()))


def test_each_row_is_a_feed_or_its_complaint_with_its_line() -> None:
    good, bad, twice = read_feeds(
        read_table("feeds.csv", "\n".join([HEADER, LINE, LINE.replace(",90,", ",9,"), LINE]).encode())
    )
    assert good.feed is not None and good.problem is None and good.feed.cp == 20
    assert (
        bad.feed is None and bad.problem and (bad.problem.code, bad.problem.line) == ("feed-implausible", 3)
    )
    assert twice.problem and (twice.problem.code, twice.problem.line) == ("feed-twice", 4)


@pytest.mark.parametrize(
    ("header", "code"),
    [
        (HEADER.replace(",cp", ""), "columns-missing"),
        (f"{HEADER},colour", "columns-unknown"),
        (f"{HEADER},Most BW", "columns-unknown"),
    ],
)
def test_a_table_that_is_no_list_of_feeds_is_refused(header: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        read(header, ",".join("1" for _ in header.split(",")))
    assert caught.value.code == code


def test_columns_are_told_by_name_however_written() -> None:
    (row,) = read_feeds(read_table("feeds.csv", f"{HEADER.upper().replace('_', ' ')}\n{LINE}".encode()))
    assert row.feed is not None


def test_the_shipped_table_names_a_source_for_every_row_and_says_what_is_from_memory() -> None:
    feeds = {feed.key: feed for feed in shipped_feeds()}
    assert len(feeds) >= 15
    with SHIPPED.open(encoding="utf-8", newline="") as file:
        columns = set(next(csv.reader(file)))
    for feed in feeds.values():
        assert feed.source and (feed.year == UNDATED or 1990 <= int(feed.year) <= 2026)
        assert set(feed.from_memory) <= columns and feed.price_ton is None and not feed.own
        if feed.source == "from memory":
            assert {"dm", "cp", "tdn"} <= set(feed.from_memory), feed.key


# DM, CP, TDN in % as printed: Alabama Extension's by-product quick reference; corn, soybean meal, wheat bran Rayburn,
# West Virginia Univ.
@pytest.mark.parametrize(
    ("key", "dm", "cp", "tdn"),
    [
        ("soybean-hulls", 90, 12, 78),
        ("corn-gluten-feed", 90, 24, 83),
        ("distillers-grains", 90, 28, 95),
        ("wheat-middlings", 90, 18, 83),
        ("cottonseed-meal", 90, 45, 78),
        ("whole-cottonseed", 90, 23, 93),
        ("rice-bran", 90, 14, 71),
        ("citrus-pulp", 90, 7, 82),
        ("corn", 88, 10, 85),
        ("soybean-meal", 89, 50, 84),
        ("wheat-bran", 89, 17, 70),
    ],
)
def test_composition_is_as_printed(key: str, dm: int, cp: int, tdn: int) -> None:
    feed = next(feed for feed in shipped_feeds() if feed.key == key)
    assert (feed.dm, feed.cp, feed.tdn) == (dm, cp, tdn)


def test_the_dangers_of_feeds_are_marked() -> None:
    feeds = {feed.key: feed for feed in shipped_feeds()}
    assert feeds["whole-cottonseed"].marks == ("cottonseed",) and feeds["whole-cottonseed"].most_of_diet == 15
    assert feeds["protein-tub"].kind == TUB and feeds["protein-tub"].marks == ("urea",)
    assert all(feeds[key].starchy and feeds[key].most_bw == D("0.25") for key in ("corn", "barley", "oats"))
    # Crawford, Univ. of Minnesota: sulfur of distillers grains ran from 0.34 to 1.05 %, mean 0.69, in 8 plants.
    assert feeds["distillers-grains"].sulfur == D("0.69")
