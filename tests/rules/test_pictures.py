"""The pictures in the documents are of today's pages: each page says what it said when its picture was made."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

from tracker.demo.season import Season
from tracker.lookups.find import sample_named
from tracker.lookups.sample_way import way_of

PICTURES = Path(__file__).parents[2] / "docs" / "pictures"
AGAIN = "make the pictures again: .venv/bin/python docs/pictures/make.py, and look at them"


@pytest.fixture(scope="module")
def make() -> ModuleType:
    spec = spec_from_file_location("docs_pictures_make", PICTURES / "make.py")
    assert spec is not None and spec.loader is not None
    module = module_from_spec(spec)
    # A dataclass looks for its module.
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def season(make: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    played = make.played(tmp_path_factory.mktemp("pictures") / "demo")
    yield played
    played.database.close()


def test_the_pictures_are_of_todays_pages(make: ModuleType, season: Season) -> None:
    today = make.hashes(season)
    pictured = json.loads((PICTURES / "pages.json").read_text(encoding="utf-8"))
    changed = [name for name in today if today[name] != pictured.get(name)]
    assert changed == [], AGAIN
    assert set(pictured) == set(today), AGAIN


def test_the_worked_day_tells_what_the_record_says(season: Season) -> None:
    page = (PICTURES.parent / "a-day.md").read_text(encoding="utf-8")
    told = [line.split("|")[4].strip() for line in page.splitlines() if re.match(r"\| \d", line)]
    with season.database.read() as session:
        way = way_of(session, sample_named(session, "lot 12"))
    said = [" ".join(event.words.split()) for event in way.steps]
    assert len(told) > 12
    assert [words for words in told if not any(words in one for one in said)] == []


def test_every_picture_is_there_small_and_shown_in_a_document(make: ModuleType) -> None:
    pages = "\n".join(path.read_text(encoding="utf-8") for path in PICTURES.parent.glob("*.md"))
    files = {path.stem: path.stat().st_size for path in PICTURES.glob("*.png")}
    assert set(files) == {shot.name for shot in make.SHOTS}, AGAIN
    assert {name for name, size in files.items() if size >= make.LARGEST} == set()
    assert {name for name in files if f"(pictures/{name}.png)" not in pages} == set(), (
        "no document shows them"
    )


def test_other_words_on_a_page_are_seen_and_other_figures_are_not(make: ModuleType) -> None:
    page = "<h1>Lot 12</h1><p>K2M9-QXQ7</p><label>Weight, g</label><button>Keep 3 weights</button>"
    assert make.words_of(page) == ["h1: Lot #", "label: Weight, g", "button: Keep # weights"]
    same = page.replace("12", "13").replace("K2M9", "7777").replace("3 w", "40 w")
    assert make.hash_of(same, "/x") == make.hash_of(page, "/x")
    for other in (page.replace("Weight", "Mass"), page.replace("<h1>Lot 12</h1>", "")):
        assert make.hash_of(other, "/x") != make.hash_of(page, "/x")
