"""Whoever reads at grade 8 reads the pages, papers and messages: every template and every generated sentence."""

from __future__ import annotations

import itertools
import re
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.makers import at
from tests.readability import automated_index, flesch_kincaid, page_text, prose, sentences, words
from tests.web.producer.lots import NAMES, Stub
from tracker.domain import hay_standing, plain_cautions, plain_names
from tracker.domain.animals import BULL, COW, HEIFER, KINDS, STAGES, animals_at
from tracker.domain.answer import answer
from tracker.domain.cautions import Caution
from tracker.domain.hay import Hay
from tracker.domain.messages import KINDS as MESSAGES
from tracker.domain.messages import Due, lines
from tracker.domain.plain_advice import PlainAdvice, plain
from tracker.domain.turnaround import Expected
from tracker.files.feeds_file import shipped_feeds
from tracker.web.producer import pages

GRADE, LONGEST = 8.0, 20
# The formulas say nothing of a handful of words.
FEW = 20
TEMPLATES = Path(pages.__file__).parent / "templates"
CHOICES = [
    "",
    "?kind=cow&stage=mid-pregnancy&weight=1200&condition=4",
    "?kind=first-calf+heifer&stage=early-milk&weight=1000&milk=18",
    "?kind=bull&weight=2000&condition=5",
]


def hold(texts: list[str], where: str) -> None:
    """The prose is within the grade by both formulas, and no sentence is longer than 20 words."""
    said = [one for text in texts for one in prose(text)]
    long = [one for text in texts for one in sentences(text) if len(words(one)) > LONGEST]
    assert long == [], where
    assert said, where
    grades = flesch_kincaid(said), automated_index(said)
    assert max(grades) <= GRADE, (where, grades)


@pytest.mark.parametrize("query", CHOICES)
@pytest.mark.parametrize("name", NAMES)
def test_the_page_reads_easily(name: str, query: str, stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    hold([page_text(anyone.get(f"/T/{stubs[name].token}{query}", buffered=True).text)], name)


@pytest.mark.parametrize("rest", ["/links", "/messages", "/animals"])
def test_the_other_pages_read_easily(rest: str, stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    hold([page_text(anyone.get(f"/T/{stubs['good'].token}{rest}", buffered=True).text)], rest)


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda path: path.stem)
def test_every_template_reads_easily_in_all_its_branches(path: Path) -> None:
    text = path.read_text("utf-8")
    # What is put in is said by the sentences below; here it stands as one short word.
    text = re.sub(r"\{%.*?%\}|\{#.*?#\}", "", text, flags=re.DOTALL)
    text = page_text(re.sub(r"\{\{.*?\}\}", "hay", text, flags=re.DOTALL))
    if len(words(" ".join(prose(text)))) >= FEW:
        hold([text], path.name)


def hays() -> list[Hay]:
    """Hays from straw to young leaf."""
    return [
        Hay(dm=Decimal(87), cp=Decimal(cp), tdn=Decimal(tdn), ndf=Decimal(ndf), cp_margin=Decimal("0.6"))
        for cp, tdn, ndf in ((4, 42, 78), (6, 50, 72), (8, 54, 66), (10, 57, 61), (13, 60, 54), (20, 66, 38))
    ]


CAUTIONS: list[tuple[Caution, ...]] = [
    (),
    (Caution("nitrate-do-not-feed", "nitrate", "Nitrate.", "x"),),
    (Caution("nitrate-half", "nitrate", "Nitrate.", "x"),),
    (Caution("mould-seen", "mould", "Mould.", "x"),),
    (Caution("hot-hay", "hot hay", "Hot.", "x"),),
]


def advices() -> list[PlainAdvice]:
    feeds = shipped_feeds()
    found = []
    for hay, kind in itertools.product(hays(), KINDS):
        for stage in STAGES if kind != BULL else STAGES[:1]:
            weight = {COW: 1200, HEIFER: 1000, BULL: 1900}[kind]
            animals = animals_at(kind, stage.key, Decimal(weight))
            found.append(plain(answer(animals, hay, feeds).as_dict()))
    for cautions, hay in itertools.product(CAUTIONS[1:], hays()[2:4]):
        found.append(
            plain(answer(animals_at(COW, "mid-pregnancy", Decimal(1200)), hay, feeds, cautions).as_dict())
        )
    return found


def test_every_sentence_of_an_answer_reads_easily() -> None:
    found = advices()
    assert {one.verdict for one in found} == {"enough", "enough-if-eaten", "add", "not-alone", "not-this"}
    said: dict[str, None] = {}
    for one in found:
        parts: tuple[Any, ...] = (one.sentence, *one.add, *one.sure, *one.mind, *one.beside, one.eaten)
        said |= dict.fromkeys([*parts, *(bar.words for bar in one.bars)])
    hold(list(said), "answers")
    numbers = [text for text in said if re.search(r"\d", text)]
    assert len(numbers) > 20
    unit = re.compile(r"lb|\$|days|%|week|plants|times")
    assert [text for text in numbers if not unit.search(text)] == [], "a number without its unit"


def test_what_is_minded_in_a_feed_reads_easily() -> None:
    feeds = advices()[0].feeds
    hold([words_ for feed in feeds for words_ in feed.cautions], "feeds")


def test_cautions_names_and_standings_read_easily() -> None:
    hold(list(plain_cautions._BY_CODE.values()) + list(plain_cautions._BY_TOPIC.values()), "cautions")
    hold([tells for _, tells in plain_names.MEANINGS.values()], "names")
    standings = [
        *hay_standing._COMING.values(),
        *(part for pair in hay_standing._NEVER.values() for part in pair),
    ]
    standings += [hay_standing._HELD.words, hay_standing._HELD.to_do, hay_standing._TURNED_AWAY_TO_DO]
    hold(standings, "standings")
    soon = Expected(date(2026, 7, 1), date(2026, 7, 6), 40, "desk", False)
    late = Expected(date(2026, 7, 1), date(2026, 7, 1), 40, "desk", True)
    hold([" ".join(hay_standing.due_words(due)) for due in (None, soon, late)], "due")


@pytest.mark.parametrize("kind", MESSAGES)
def test_messages_read_easily(kind: str) -> None:
    due = Due(1, 1, 1, kind, "x", 1, "a@example.org", "Long field", "The sample is lost.", "Call us.")
    told = [
        one
        for one in lines(
            due, "https://hay.example/T/X", at(0).date(), "Larkmoor Hay Testing Programme", "555-0142"
        )
        if not one.startswith("http")
    ]
    hold(told, kind)
