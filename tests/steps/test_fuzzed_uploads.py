"""Files with which something has gone wrong: each is taken in, parked or refused, and nothing breaks."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from sqlalchemy.orm import Session

from tests.makers import act
from tests.result_files import HEADER, NIR, WET, Bench, row, wet_row, wet_written, written
from tracker.errors import TrackerError
from tracker.lookups.log_check import check_log
from tracker.steps.keep_photo import keep_photo
from tracker.steps.record_results import record_results
from tracker.steps.register_lots import register_lots
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database

FUZZ = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
LOTS = (
    b"producer,field,cutting,forage,harvested,bale_shape,bale_count,bale_mass_lb\n"
    b"Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40,900\n"
    b"Oda Meadow,Brook,2,grass,2026-06-02,small square,118,61\n"
)
PLACES = st.integers(0, 2**20)
NASTY = (
    b"\x00",
    b"\xff\xfe",
    b'"',
    b"\r",
    b"\n\n",
    b",",
    b";",
    b"=1+1",
    b"<!DOCTYPE x [<!ENTITY y 'z'>]>",
    b"NaN",
    b"1e400",
    b"-0",
    "\u202e".encode(),
    "\u0661\u0662".encode(),
    b"PK\x03\x04",
    b"9" * 400,
)


@st.composite
def spoilt(draw: st.DrawFn, whole: bytes) -> bytes:
    """The file with up to six things gone wrong: bytes changed, lost, doubled, put in, or the end cut off."""
    content = bytearray(whole)
    for _ in range(draw(st.integers(1, 6))):
        at = draw(PLACES) % (len(content) + 1)
        to = min(len(content), at + draw(st.integers(1, 30)))
        kind = draw(st.sampled_from(("change", "lose", "double", "put", "cut")))
        if kind == "change" and at < len(content):
            content[at] = draw(st.integers(0, 255))
        elif kind == "lose":
            del content[at:to]
        elif kind == "double":
            content[at:at] = content[at:to]
        elif kind == "put":
            content[at:at] = draw(st.sampled_from(NASTY))
        elif kind == "cut" and draw(st.booleans()):
            del content[at:]
    return bytes(content)


def taken_or_refused(season: Database, do: Callable[[Session], Any]) -> None:
    """Done or refused with words, and the log is whole either way; then all of it is forgotten."""
    with season.read() as session, session.begin_nested() as trying:
        try:
            do(session)
            session.flush()
        except TrackerError as refused:
            assert refused.code and refused.message and refused.remedy
        else:
            assert check_log(session).faults == ()
        trying.rollback()


def workbook(rows: list[tuple[str, ...]]) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    for cells in rows:
        book.active.append(cells)
    book.save(out)
    return out.getvalue()


@FUZZ
@given(data=st.data())
@pytest.mark.parametrize("name", ["run.csv", "run.xlsx", "run.txt"])
def test_a_spoilt_file_of_results_is_taken_in_parked_or_refused(
    bench: Bench, name: str, data: st.DataObject
) -> None:
    rows = [row(code) for code in bench.codes]
    whole = written(rows)
    if name.endswith("xlsx"):
        whole = workbook([HEADER, *(tuple(one[header] for header in HEADER) for one in rows)])
    content = data.draw(spoilt(whole))
    taken_or_refused(bench.season, lambda s: record_results(s, NIR, name, content, act(s, "ana", 1400)))


@FUZZ
@given(data=st.data())
def test_a_spoilt_file_of_a_laboratory_is_taken_in_parked_or_refused(
    bench: Bench, data: st.DataObject
) -> None:
    content = data.draw(spoilt(wet_written([wet_row(code) for code in bench.codes])))
    taken_or_refused(bench.season, lambda s: record_results(s, WET, "wet.csv", content, act(s, "ana", 1400)))


@FUZZ
@given(data=st.data())
def test_a_spoilt_list_of_lots_is_registered_line_by_line_or_refused(
    season: Database, data: st.DataObject
) -> None:
    content = data.draw(spoilt(LOTS))
    taken_or_refused(season, lambda s: register_lots(s, "lots.csv", content, act(s, "tove", 10)))


@FUZZ
@given(content=st.binary(max_size=4000), name=st.sampled_from(("a.csv", "a.xlsx", "a", "a.xls", ".csv")))
def test_any_bytes_under_any_name_are_no_fault(season: Database, content: bytes, name: str) -> None:
    taken_or_refused(season, lambda s: register_lots(s, name, content, act(s, "tove", 10)))


def picture(kind: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (12, 9), (120, 90, 40)).save(out, kind)
    return out.getvalue()


@FUZZ
@given(data=st.data())
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "GIF"])
def test_a_spoilt_picture_is_kept_byte_for_byte_or_refused(
    bench: Bench, kind: str, data: st.DataObject
) -> None:
    content = data.draw(spoilt(picture(kind)))

    def keep(session: Session) -> None:
        kept = keep_photo(session, session.get_one(EventRow, 1), content)
        assert kept.content == content and kept.kind in ("image/jpeg", "image/png")

    taken_or_refused(bench.season, keep)


def test_the_whole_files_are_taken_so_that_the_spoilt_ones_prove_something(bench: Bench) -> None:
    with bench.season.act("try", "ana", {}) as session:
        taken = record_results(
            session, NIR, "run.csv", written([row(code) for code in bench.codes]), act(session, "ana", 1400)
        )
    assert taken.taken == len(bench.codes) and taken.parked == 0
