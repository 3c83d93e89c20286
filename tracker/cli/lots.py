"""Commands at the stack: lots, coring plans and cards, and what was cored."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, integer, reading, say, table, writing

if TYPE_CHECKING:
    from decimal import Decimal
    from pathlib import Path


def add(commands: Any) -> None:
    """Add the commands of this room."""
    lot = command(commands, "register-lot", "register a lot: one field, one cutting", _register_lot)
    lot.add_argument("producer")
    lot.add_argument("field")
    lot.add_argument("cutting", help="1 for the first cutting of the season")
    lot.add_argument("--forage", required=True, help="alfalfa, orchardgrass, tall fescue, ...")
    lot.add_argument("--harvested", required=True, metavar="DATE", help="like 2026-06-01")
    lot.add_argument("--shape", required=True, help="round, large square or small square")
    lot.add_argument("--bales", required=True, metavar="COUNT")
    mass = lot.add_mutually_exclusive_group()
    mass.add_argument("--bale-lb", metavar="POUNDS", help="mean mass of one bale as received")
    mass.add_argument("--bale-kg", metavar="KILOGRAMS", help="mean mass of one bale as received")
    lot.add_argument("--storage", default="", help="barn, covered on ground, outside raised, wrapped, ...")
    lot.add_argument("--in-parts", action="store_true", help="register a lot that is too large as several")
    command(commands, "lots", "list the lots", _lots, acts=False)
    find = command(
        commands, "search", "find lots, producers and tags by what is remembered", _search, acts=False
    )
    find.add_argument("words", nargs="+", help="a name, a year, second, a forage, part of a code")
    plan = command(commands, "plan", "make a lot's coring plan, or its next version", _plan)
    plan.add_argument("lot", type=integer)
    plan.add_argument("--probe", default="", metavar="NAME")
    plan.add_argument(
        "--inside-mm", default="15.9", help="inside diameter of the probe's tip (default %(default)s)"
    )
    plan.add_argument("--length-mm", default="610", help="length of the probe (default %(default)s)")
    plan.add_argument("--depth-mm", help="how deep to core; else 457 mm or as far as the probe goes")
    plan.add_argument("--cores", help="else as many as the programme wants")
    plan.add_argument("--reason", default="", help="why fewer cores than the programme wants")
    plan.add_argument("--seed", type=integer, help="for the random start; else drawn, and kept")
    card = command(commands, "coring-card", "write the card that goes to the stack", _coring_card, acts=False)
    card.add_argument("sample", help="`lot 12`")
    card.add_argument("--out", required=True, metavar="PDF")
    card.add_argument("--paper", default="phone", choices=("phone", "a5", "half-letter"))
    cored = command(commands, "cored", "record what was really cored", _cored)
    cored.add_argument("sample", help="`lot 12`")
    cored.add_argument("--cores", help="cores taken, if not as planned")
    cored.add_argument(
        "--bale", action="append", metavar="BALE:CORES", help="cores of one bale; once for each"
    )
    cored.add_argument("--entry", help="side or end, if not as planned")
    cored.add_argument("--started", metavar="TIME")
    cored.add_argument("--deviation", action="append", default=[], metavar="WORDS")
    cored.add_argument("--composite-g", metavar="GRAMS", help="mass of the bag, if it was weighed")


def _register_lot(asked: argparse.Namespace) -> None:
    from tracker.domain.lot import KILOGRAMS, POUNDS
    from tracker.steps.register_lot import NewLot, register_lot
    from tracker.steps.register_lots import register_in_parts

    given = NewLot(
        producer=asked.producer,
        field=asked.field,
        cutting=asked.cutting,
        forage=asked.forage,
        harvested=asked.harvested,
        bale_shape=asked.shape,
        bale_count=asked.bales,
        bale_mass=asked.bale_lb or asked.bale_kg,
        bale_mass_unit=KILOGRAMS if asked.bale_kg else POUNDS,
        storage=asked.storage,
    )
    with acting(asked) as (session, act):
        rows = (
            register_in_parts(session, given, act) if asked.in_parts else (register_lot(session, given, act),)
        )
    values = [{"lot": row.id, "part": row.part, "bale_count": row.bale_count} for row in rows]
    say(
        asked,
        values,
        *(f"Lot {row.id}{' ' + row.part if row.part else ''}: {row.bale_count} bales." for row in rows),
    )


def assumed(name: str, data: bytes, sheet: str | None) -> list[str]:
    """What was assumed when the table was read, in words: nothing is guessed silently."""
    from tracker.files.fields_file import is_map
    from tracker.files.table_file import read_table

    if is_map(data):
        return []
    return list(read_table(name, data, sheet=sheet).notes)


def content(path: Path, field: str = "file") -> bytes:
    """The file's bytes. Raises NotFound `file-missing`."""
    from tracker.errors import NotFound

    try:
        return path.read_bytes()
    except OSError as error:
        raise NotFound(
            "file-missing",
            f"{path} cannot be read: {error.strerror or error}.",
            field=field,
            remedy="Check the name and the folder.",
        ) from None


def _search(asked: argparse.Namespace) -> None:
    from tracker.lookups.search import search

    with reading(asked) as session:
        found = search(session, " ".join(asked.words))
    lots = [
        (one.lot, one.code, one.producer, one.field, one.season, one.cutting, one.forage, one.state)
        for one in found.lots
    ]
    tags = [(one.code, one.state, one.lot, one.producer, one.field) for one in found.tags]
    people = [(one.producer, one.place, one.phone, one.fields) for one in found.producers]
    lines = [
        *(table(("tag", "state", "lot", "producer", "field"), tags) if tags else ()),
        *(
            table(("lot", "tag", "producer", "field", "season", "cutting", "forage", "state"), lots)
            if lots
            else ()
        ),
        *(table(("producer", "place", "telephone", "fields"), people) if people else ()),
        *(("There is more than is shown: add a word.",) if found.more else ()),
    ]
    say(asked, found, *(lines or ("Nothing fits. Try the beginning of one name, or fewer words.",)))


def _lots(asked: argparse.Namespace) -> None:
    from tracker.lookups.lots import lots

    with reading(asked) as session:
        found = lots(session)
    rows = [
        (
            one.lot,
            one.code,
            one.producer,
            f"{one.field}{' ' + one.part if one.part else ''}",
            one.cutting,
            one.forage,
            f"{one.bale_count} {one.bale_shape}",
            one.state,
        )
        for one in found
    ]
    say(asked, found, *table(("lot", "tag", "producer", "field", "cut", "forage", "bales", "state"), rows))


def _plan(asked: argparse.Namespace) -> None:
    from tracker.domain.coring import CoringPlan
    from tracker.lookups.planned import expected_margins
    from tracker.steps.plan_coring import plan_coring

    with acting(asked) as (session, act):
        row = plan_coring(
            session,
            asked.lot,
            act,
            probe=asked.probe,
            inside_mm=asked.inside_mm,
            length_mm=asked.length_mm,
            depth_mm=asked.depth_mm,
            cores=asked.cores,
            reason=asked.reason,
            seed=asked.seed,
        )
        margins = expected_margins(session, CoringPlan.from_dict(row.body))
    say(asked, row.body, *_plan_lines(asked.lot, row.body, margins))


def _plan_lines(lot: int, body: dict[str, Any], margins: tuple[Decimal, Decimal]) -> list[str]:
    from tracker.domain.units import to_places

    # As the card says them; --json has those that the plan was made by, with every digit.
    cp, ndf = (to_places(one, 1) for one in margins)
    bales = ", ".join(
        pick["bale"] if pick["cores"] == "1" else f"{pick['bale']} ({pick['cores']})"
        for pick in body["picks"]
    )
    lines = [
        f"Plan version {body['version']} of lot {lot}, seed {body['seed']}.",
        f"{body['cores']} cores from the {body['entry']}, {body['depth_mm']} mm deep, {body['probe']['name']}.",
        f"Bales in walking order (cores if not 1): {bales}.",
        f"Composite about {body['mass_g']} g fresh ({body['mass_least_g']} to {body['mass_most_g']} g).",
        f"Margin of the lot mean, 95 %: CP ±{cp} and NDF ±{ndf} % of dry matter.",
        body["when"],
    ]
    return [*lines, f"Caution: {body['mass_advice']}"] if body["mass_advice"] else lines


def _coring_card(asked: argparse.Namespace) -> None:
    from tracker.lookups.find import sample_named
    from tracker.lookups.planned import planned
    from tracker.papers.coring_card import card_of, coring_card

    with reading(asked) as session:
        found = planned(session, sample_named(session, asked.sample))
    card = card_of(found)
    with writing(asked.out) as path:
        coring_card(path, card, asked.paper)
    say(asked, {"file": asked.out}, f"The card is in {asked.out}.")


def _cored(asked: argparse.Namespace) -> None:
    from tracker.domain.times import moment
    from tracker.lookups.find import sample_named
    from tracker.steps.core_lot import core_lot

    with acting(asked) as (session, act):
        event = core_lot(
            session,
            sample_named(session, asked.sample),
            act,
            cores_taken=asked.cores,
            bales=_bales(asked.bale) if asked.bale else None,
            entry=asked.entry,
            started_at=moment(asked.started, field="started") if asked.started else None,
            deviations=asked.deviation,
            composite_g=asked.composite_g,
        )
    departures = event.data["deviations"]
    say(
        asked,
        event.data,
        f"{event.data['cores_taken']} cores recorded.",
        *(f"  {words}" for words in departures),
    )


def _bales(written: list[str]) -> dict[int, int]:
    from tracker.domain.units import whole
    from tracker.errors import Refused

    found: dict[int, int] = {}
    for text in written:
        bale, _, cores = text.partition(":")
        number = whole(bale, field="bale", least=1)
        if number in found:
            raise Refused(
                "bale-twice",
                f"Bale {number} is given twice.",
                field="bale",
                remedy="Give each bale once: 7:2.",
            )
        found[number] = whole(cores or "1", field="bale")
    return found
