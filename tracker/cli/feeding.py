"""Commands about feeding: supplements, groups of animals, and whether a lot's hay carries them."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import (
    acting,
    changes_in,
    command,
    counted,
    integer,
    open_season,
    plain,
    reading,
    say,
    table,
)
from tracker.cli.lots import assumed, content

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.advice import Answer
    from tracker.domain.animals import Animals


def add(commands: Any) -> None:
    """Add the commands of this room."""
    feeds = command(
        commands, "feeds", "list the supplements and where their values come from", _feeds, acts=False
    )
    feeds.add_argument("--feed", metavar="KEY", help="one feed with every value and every change to it")
    own = command(commands, "set-feed", "set values of a feed, or add one", _set_feed)
    own.add_argument("key", help="its short name: soybean-hulls")
    own.add_argument(
        "values", nargs="+", metavar="NAME=VALUE", help="like price_ton=210, or cp=24 source=tag year=2026"
    )
    own.add_argument("--reason", required=True)
    many = command(commands, "import-feeds", "take in a list of feeds as CSV or XLSX", _import_feeds)
    many.add_argument("file")
    many.add_argument("--sheet")
    many.add_argument("--reason", required=True)
    groups = command(commands, "groups", "list the producers' groups of animals", _groups, acts=False)
    groups.add_argument("--producer", metavar="NAME")
    group = command(
        commands, "keep-group", "put down a producer's group of animals, or change it", _keep_group
    )
    group.add_argument("producer")
    group.add_argument("group", help="what he calls it: spring cows")
    group.add_argument(
        "values",
        nargs="*",
        metavar="NAME=VALUE",
        help="like kind=cow head=30 weight_lb=1275 calving=2027-03-01",
    )
    group.add_argument("--gone", action="store_true", help="the group is no longer there")
    group.add_argument("--reason", required=True)
    _add_answer(commands)


def _add_answer(commands: Any) -> None:
    made = command(
        commands, "answer", "say whether a lot's hay carries animals, and what to add", _answer, acts=False
    )
    made.add_argument("lot", type=integer)
    made.add_argument(
        "--group", metavar="NAME", help="a group of the lot's producer; else say the animals below"
    )
    made.add_argument("--on", metavar="DATE", help="the day that the group's stage is taken at; else today")
    made.add_argument("--kind", help="cow (default), first-calf heifer, bull")
    made.add_argument("--weight", metavar="POUNDS", help="full weight")
    made.add_argument(
        "--stage", help="early-milk, mid-milk, late-milk, mid-pregnancy, late-pregnancy, near-calving"
    )
    made.add_argument("--days-since", metavar="DAYS", help="since calving, for those with a calf")
    made.add_argument("--days-to", metavar="DAYS", help="to calving, for those that carry")
    made.add_argument("--head", metavar="COUNT", help="how many eat of it (default 1)")
    made.add_argument("--milk", metavar="POUNDS", help="at the peak of lactation")
    made.add_argument("--condition", metavar="SCORE", help="1 thin to 9 fat")
    made.add_argument("--cold", metavar="F", help="degrees Fahrenheit as felt, with the wind")
    made.add_argument("--coat", help="wet or summer, dry fall, dry winter, dry heavy winter")
    made.add_argument(
        "--bales", metavar="COUNT", help="bales fed in --days; counted bales replace every estimate"
    )
    made.add_argument("--days", default="7", help="days in which they were fed (default %(default)s)")
    made.add_argument("--bale-lb", metavar="POUNDS", help="mass of one; else the lot's")
    made.add_argument("--waste", metavar="PERCENT", help="share not eaten; else the programme's usual")


def _feeds(asked: argparse.Namespace) -> None:
    from tracker.domain.feed import texts_of
    from tracker.lookups.feeds import feed_changes, feed_in_force, feeds_in_force

    with reading(asked) as session:
        if asked.feed:
            feed = feed_in_force(session, asked.feed)
            changes = feed_changes(session, asked.feed)
            lines = [f"{name}: {text}" for name, text in texts_of(feed).items()]
            made = [
                f"{one.at.isoformat(timespec='minutes')} {one.by}: "
                f"{', '.join(f'{name}={text}' for name, text in one.given.items())} ({one.reason})"
                for one in changes
            ]
            say(asked, {"feed": texts_of(feed), "changes": plain(changes)}, *lines, *made)
            return
        found = feeds_in_force(session)
    rows = [
        (
            one.key,
            one.name,
            one.dm,
            one.cp,
            one.tdn,
            one.most_bw,
            one.price_ton,
            f"{one.source}, {one.year}{' (own)' if one.own else ''}",
        )
        for one in found
        if one.offered
    ]
    header = ("feed", "name", "DM %", "CP %", "TDN %", "most % BW", "$/ton as fed", "source")
    note = "CP and TDN in % of dry matter. Replace a row with your tag or analysis: `tracker set-feed`."
    say(asked, [texts_of(one) for one in found], *table(header, rows), note)


def _set_feed(asked: argparse.Namespace) -> None:
    from tracker.domain.feed import texts_of
    from tracker.steps.set_feed import set_feed

    with acting(asked) as (session, act):
        feed = set_feed(session, asked.key, changes_in(asked.values, "values"), act, reason=asked.reason)
    say(asked, texts_of(feed), f"{feed.name} stands so from now on.")


def _import_feeds(asked: argparse.Namespace) -> int:
    from pathlib import Path

    from tracker.steps.set_feed import import_feeds

    path = Path(asked.file)
    with acting(asked) as (session, act):
        data = content(path)
        answers = import_feeds(session, path.name, data, act, reason=asked.reason, sheet=asked.sheet)
    refused = [one for one in answers if one.complaint is not None]
    known = sum(one.known for one in answers)
    taken = [one.key for one in answers if one.key is not None and not one.known]
    notes = assumed(path.name, data, asked.sheet)
    values = {
        "taken": taken,
        "known_before": known,
        "refused_lines": [plain(one.complaint.as_dict()) for one in refused if one.complaint],
        "notes": notes,
    }
    line = f"{counted(len(taken), 'feed')} taken in, {known} known before, {len(refused)} refused."
    say(asked, values, line, *(f"  {one.complaint}" for one in refused), *notes)
    return 1 if refused else 0


def _groups(asked: argparse.Namespace) -> None:
    from tracker.lookups.groups import groups_of

    with reading(asked) as session:
        found = groups_of(session, asked.producer)
    rows = [
        (
            one.producer,
            one.group.name,
            one.group.kind,
            one.group.head,
            one.group.weight_lb,
            one.group.calving,
            one.group.peak_milk_lb,
            one.group.condition,
        )
        for one in found
    ]
    header = ("producer", "group", "kind", "head", "weight lb", "calving", "peak milk lb", "condition")
    say(asked, found, *table(header, rows))


def _keep_group(asked: argparse.Namespace) -> None:
    from tracker.steps.keep_group import keep_group, take_off_group

    with acting(asked) as (session, act):
        if asked.gone:
            group = take_off_group(session, asked.producer, asked.group, act, reason=asked.reason)
        else:
            changes = changes_in(asked.values, "values")
            group = keep_group(session, asked.producer, asked.group, changes, act, reason=asked.reason)
    became = "is taken off" if asked.gone else f"{group.head} head of {group.weight_lb} lb"
    say(asked, group, f"{asked.producer}, {group.name}: {became}.")


def _answer(asked: argparse.Namespace) -> None:
    from tracker.lookups.feeding_answer import answer_for, bales_as_fed, released_body

    with closing(open_season(asked)) as season, season.read() as session:
        animals = _animals(asked, session, season.clock().astimezone().date().isoformat())
        bales = None
        if asked.bales:
            body = released_body(session, asked.lot)
            bales = bales_as_fed(
                body, asked.bales, asked.days, animals.head, bale_lb=asked.bale_lb, waste=asked.waste
            )
        found = answer_for(session, asked.lot, animals, bales=bales)
    say(asked, found.as_dict(), *answer_lines(asked.lot, found))


def _animals(asked: argparse.Namespace, session: Session, today: str) -> Animals:
    from dataclasses import replace

    from tracker.domain.animals import checked, stage_keyed
    from tracker.domain.herd import animals_on
    from tracker.domain.times import day
    from tracker.lookups.groups import group_named
    from tracker.lookups.lots import producer_of

    stage = stage_keyed(asked.stage) if asked.stage else None
    if asked.group:
        group = group_named(session, producer_of(session, asked.lot), asked.group)
        found = animals_on(group, day(asked.on or today, field="on"))
        like = checked(
            kind=found.kind,
            weight_lb=found.weight_lb,
            days_since_calving=0,
            effective_f=asked.cold,
            coat=asked.coat,
        )
        return replace(found, effective_f=like.effective_f, coat=like.coat)
    return checked(
        kind=asked.kind or "cow",
        weight_lb=asked.weight,
        head=asked.head or 1,
        days_since_calving=stage.days_since if stage else asked.days_since,
        days_to_calving=stage.days_to if stage else asked.days_to,
        peak_milk_lb=asked.milk,
        condition=asked.condition,
        effective_f=asked.cold,
        coat=asked.coat,
    )


def answer_lines(lot: int, found: Answer) -> list[str]:
    """The answer for the terminal: verdict first, then what it rests on."""
    from tracker.domain.answer_words import ADVICE
    from tracker.domain.units import to_places

    hay = found.hay
    margin = "" if hay.cp_margin is None else f" ± {to_places(hay.cp_margin, 1)}"
    return [
        f"Lot {lot}{f', {hay.report}' if hay.report else ''}: CP {to_places(hay.cp, 1)}{margin}, "
        f"TDN {to_places(hay.tdn, 1)}{'' if hay.tdn_margin is None else f' ± {to_places(hay.tdn_margin, 1)}'}, "
        f"NDF {to_places(hay.ndf, 1)} % of dry matter; dry matter {to_places(hay.dm, 1)} %.",
        f"For {found.animals.words}.",
        "",
        f"{found.verdict_words} {found.sure}".strip(),
        *(f"Why: {words}" for words in found.reasons),
        found.what_to_add,
        "",
        *_supply_lines(found),
        *_supplement_lines(found),
        "",
        *(f"Caution: {one.words}" for one in found.cautions),
        *(f"Mind: {words}" for words in found.warnings),
        *(f"Basis: {words}" for words in found.basis),
        *ADVICE,
    ]


def _supply_lines(found: Answer) -> list[str]:
    rows = [
        (f"{one.name}, {one.unit}", one_place(one.need), one.supplied.shown(1), one.short.shown(1))
        for one in found.supplies
    ]
    eaten = ", ".join(f"{one.model} {one_place(one.lb)}" for one in found.intakes.models)
    return [
        *table(("a head each day", "needed", "in the hay (range)", "short (range)"), rows),
        f"Hay eaten, lb of dry matter: {eaten}.",
    ]


def one_place(value: Any) -> str:
    """A number with one decimal."""
    from tracker.domain.units import to_places

    return format(to_places(value, 1), "f")


def _supplement_lines(found: Answer) -> list[str]:
    if not found.supplements:
        return []
    rows = [
        (
            one.feed.name,
            one.as_fed.shown(1) if one.as_fed else "–",
            one.driver,
            None if one.as_fed_spared is None else one_place(one.as_fed_spared),
            one_place(one.most_as_fed),
            f"${one.cost.shown(2)}" if one.cost else None,
            "yes"
            if one.safe
            else f"no: {'; '.join(limit.name for limit in one.limits) or 'cannot close it'}",
        )
        for one in found.supplements
    ]
    header = (
        "alone, a head each day",
        "lb as fed (range)",
        "for",
        "if no hay is left",
        "most",
        "cost",
        "safe alone",
    )
    return ["", *table(header, rows)]
