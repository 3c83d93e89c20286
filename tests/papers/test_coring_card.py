"""The coring card, read back from its PDF."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from tracker.domain.coring import plan
from tracker.domain.lot import LotFacts
from tracker.domain.probe import checked_probe
from tracker.errors import Refused
from tracker.lookups.planned import Planned
from tracker.papers.coring_card import BOX_MM, PAPERS, SAFETY, Card, card_of, coring_card
from tracker.papers.pen import EDGE_MM, MM

LOTS = [("small square", 118), ("large square", 60), ("round", 6), ("round", 1)]


def make_card(shape: str = "small square", bales: int = 118, **changes: object) -> Card:
    lot = LotFacts("North 40", 2, "alfalfa-grass", date(2026, 6, 14), shape, bales, storage="barn")
    made = plan(lot, checked_probe("5/8 inch", "15.9", "610"), seed=4711)
    found = Planned(14, "Ada Brandt", "barn, east bay", lot, made, made.cp_margin, made.ndf_margin)
    return replace(card_of(found), **changes)  # type: ignore[arg-type]


def printed(card: Card, paper: str = "a5", progress: Callable[[int, int], None] | None = None) -> bytes:
    file = io.BytesIO()
    coring_card(file, card, paper, progress)
    return file.getvalue()


def texts(pdf: bytes) -> list[str]:
    """The words of each page, line breaks as spaces."""
    document = pypdfium2.PdfDocument(pdf)
    pages = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    document.close()
    return pages


def marks(pdf: bytes) -> list[list[tuple[int, tuple[float, ...]]]]:
    """Kind and bounds (left, bottom, right, top, in mm) of each object, page by page."""
    document = pypdfium2.PdfDocument(pdf)
    found = [
        [(thing.type, tuple(at / MM for at in thing.get_bounds())) for thing in page.get_objects()]
        for page in document
    ]
    document.close()
    return found


def tick_boxes(pdf: bytes) -> list[tuple[float, ...]]:
    """Bounds of squares as large as a tick box (the stroke adds to either side)."""
    paths = [box for page in marks(pdf) for kind, box in page if kind == pdfium.FPDF_PAGEOBJ_PATH]
    return [
        box for box in paths if abs(box[2] - box[0] - BOX_MM) < 0.5 and abs(box[3] - box[1] - BOX_MM) < 0.5
    ]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("shape", "bales"), LOTS)
def test_there_is_one_tick_box_for_each_core(shape: str, bales: int, paper: str) -> None:
    assert len(tick_boxes(printed(make_card(shape, bales), paper))) == 20


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("shape", "bales"), LOTS)
def test_nothing_runs_off_the_paper(shape: str, bales: int, paper: str) -> None:
    width, height = PAPERS[paper]
    for page in marks(printed(make_card(shape, bales), paper)):
        for _, (left, bottom, right, top) in page:
            assert left >= EDGE_MM - 3 and right <= width - EDGE_MM + 1
            assert bottom >= 3 and top <= height - EDGE_MM + 1


@pytest.mark.parametrize("paper", PAPERS)
def test_no_two_texts_lie_on_each_other(paper: str) -> None:
    for shape, bales in LOTS:
        for page in marks(printed(make_card(shape, bales), paper)):
            words = [box for kind, box in page if kind == pdfium.FPDF_PAGEOBJ_TEXT]
            for number, one in enumerate(words):
                for other in words[number + 1 :]:
                    across = min(one[2], other[2]) - max(one[0], other[0])
                    down = min(one[3], other[3]) - max(one[1], other[1])
                    assert across < 0.2 or down < 0.4, (one, other)


@pytest.mark.parametrize("paper", PAPERS)
def test_bales_stand_in_walking_order(paper: str) -> None:
    card = make_card()
    words = " ".join(texts(printed(card, paper)))
    listed = words.split("one tick per core")[1].split("What to expect")[0].split()
    # A page's foot may come between.
    assert [int(word) for word in listed if word.isdigit()] == [bale for bale, _ in card.picks]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_card_says_what_the_person_at_the_stack_needs(paper: str) -> None:
    card = make_card()
    words = " ".join(texts(printed(card, paper)))
    for wanted in (
        "lot 14",
        "Ada Brandt",
        "North 40, cutting 2",
        "118 small square",
        "plan 1, seed 4711",
        "20 cores, from the end",
        "457 mm deep",
        "Never divide it",
        card.mass,
        card.margins[0],
        "Tag on the bag",
        "Done otherwise than planned",
        "Cores taken",
        "Sampler",
        "Date and time",
        "Signature",
        *SAFETY,
    ):
        assert wanted in words, wanted


def test_plus_minus_and_degrees_come_out_as_such() -> None:
    words = " ".join(texts(printed(make_card())))
    assert "±" in words and "66 °C" in words


def test_a_round_bale_is_drawn_with_its_curved_side() -> None:
    assert "curved side" in " ".join(texts(printed(make_card("round", 6))))
    words = " ".join(texts(printed(make_card("large square", 60))))
    assert "curved side" not in words and "end, centre, between the strings" in words


def test_a_warning_about_mass_and_a_reason_for_fewer_cores_are_printed() -> None:
    card = make_card(mass_advice="About 83 g is expected.", fewer_cores_reason="far side out of reach")
    words = " ".join(texts(printed(card)))
    assert "About 83 g is expected." in words
    assert "Fewer cores because: far side out of reach" in words


@pytest.mark.parametrize("paper", ["a5", "half-letter"])
@pytest.mark.parametrize(("shape", "bales"), LOTS)
def test_twenty_cores_fit_on_one_small_sheet(shape: str, bales: int, paper: str) -> None:
    assert len(texts(printed(make_card(shape, bales), paper))) == 1


def test_a_long_walk_goes_over_pages_that_are_counted() -> None:
    seen: list[tuple[int, int]] = []
    card = make_card(bale_count=6000, picks=tuple((60 * step, 1) for step in range(1, 101)))
    pdf = printed(card, "phone", lambda done, total: seen.append((done, total)))
    pages = texts(pdf)
    assert len(pages) == 3 and len(tick_boxes(pdf)) == 100
    assert all(f"page {number} of 3" in words for number, words in enumerate(pages, start=1))
    assert all("lot 14, plan 1" in words for words in pages)
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_signature_and_deviations_stay_on_one_page() -> None:
    for cores in range(1, 40):
        card = make_card(picks=tuple((step, 1) for step in range(1, cores + 1)))
        last = texts(printed(card, "phone"))[-1]
        assert "Done otherwise" in last and "Signature" in last


def test_a_long_name_is_broken_and_a_strange_letter_replaced() -> None:
    card = make_card(producer="Bartholomäus" * 12, where="Łukasz Šimek 畑")
    pdf = printed(card, "phone")
    words = texts(pdf)[0]
    assert words.replace(" ", "").count("Bartholomäus") == 12
    assert "?ukasz Šimek ?" in words
    width = PAPERS["phone"][0]
    assert all(box[2] <= width - EDGE_MM + 1 for page in marks(pdf) for _, box in page)


def test_the_same_card_gives_the_same_bytes(tmp_path: Path) -> None:
    file = tmp_path / "card.pdf"
    assert coring_card(file, make_card()) == 1
    assert file.read_bytes() == printed(make_card())


def test_the_page_has_the_size_of_its_paper() -> None:
    for paper, (width, height) in PAPERS.items():
        document = pypdfium2.PdfDocument(printed(make_card(), paper))
        assert document[0].get_size() == pytest.approx((width * MM, height * MM), abs=0.01)
        document.close()


def test_an_unknown_paper_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    file = tmp_path / "card.pdf"
    with pytest.raises(Refused) as caught:
        coring_card(file, make_card(), "napkin")
    assert caught.value.code == "unknown-paper"
    assert not file.exists()


def test_margins_are_rounded_as_a_laboratory_writes_them() -> None:
    # CP ±0.52 and NDF ±1.7 by the programme's own SDs (see tests/domain/test_precision.py).
    assert make_card().margins[0] == "CP ±0.5, NDF ±1.7 % of dry matter"
