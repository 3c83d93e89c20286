"""What the office knows of feeding: prices of supplements, the producers' animals, and the answers that follow."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from functools import partial

from sqlalchemy.orm import Session

from tracker.demo.field import LEAD
from tracker.demo.season import SETTINGS, Moment, Progress, Season
from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.errors import NotFound
from tracker.lookups.feeding_answer import answers_for_groups
from tracker.lookups.season_plan import season_of
from tracker.papers.season_plan import season_paper
from tracker.steps.keep_group import FIELDS, keep_group
from tracker.steps.set_feed import set_feed

PRICED = "2026-09-14T09:00:00-05:00"
# The hay is fed in winter: the animals as they stand on this day.
FED = date(2026, 12, 15)


def moments(season: Season) -> Iterator[Moment]:
    """Everything of this part of the season, in no order."""
    for row in season.rows("feed_prices.csv"):
        yield Moment(moment(PRICED), LEAD, "set feed", partial(_price, row))
    for row in season.rows("groups.csv"):
        yield Moment(moment(f"{row['from']}T11:00:00-05:00"), LEAD, "keep group", partial(_group, row))


def _price(row: dict[str, str], session: Session, act: Act) -> None:
    price = {"price_ton": row["price_ton"]}
    set_feed(session, row["feed"], price, act, reason="This week's price at the mill in Larkmoor.")


def _group(row: dict[str, str], session: Session, act: Act) -> None:
    values = {name: row[name] for name in FIELDS if row[name]}
    keep_group(session, row["producer"], row["group"], values, act, reason="Told at the autumn visit.")


def write_answers(season: Season, progress: Progress) -> None:
    """Write what each released lot means for its producer's groups in winter, one JSON file a lot."""
    folder = season.folder / "answers"
    folder.mkdir(exist_ok=True)
    with season.database.read() as session:
        for done, number in enumerate(season.lots.values(), start=1):
            try:
                found = answers_for_groups(session, number, FED)
            except NotFound:
                # Nothing is released of it yet.
                found = ()
            if found:
                body = {group.name: answer.as_dict() for group, answer in found}
                text = json.dumps(body, ensure_ascii=False, indent=1)
                (folder / f"lot-{number:02d}.json").write_text(text, encoding="utf-8")
            progress("Answers", done, len(season.lots))


# The producer with most groups buys what the others offer: twelve lots, four groups, six months.
BUYER, WINTER, MONTHS = "Brigid Hallorann", date(2026, 11, 1), 6


def write_season(season: Season, progress: Progress) -> None:
    """Plan one producer's winter, with the hay that others offer, and write it as a paper."""
    offers = {season.lots[row["lot"]]: Decimal(row["price_ton"]) for row in season.rows("hay_offers.csv")}
    with season.database.read() as session:
        asked = season_of(session, BUYER, WINTER, MONTHS, offers)
    plan = asked.plan(progress=lambda done, total: progress("Season plan", done, total))
    made = FED.replace(month=10)
    paper = season_paper(asked, plan, programme=SETTINGS.programme, made=made)
    (season.folder / "season-plan.pdf").write_bytes(paper)
