"""Taking in a file of results: each row finds its sample by the tag's code, or waits with what is wrong."""

from __future__ import annotations

import hashlib
import random
from decimal import Decimal
from itertools import permutations
from typing import Any

import pytest
from sqlalchemy import select

from tests.makers import (
    act,
    at,
    done,
    everything,
    kinds,
    life,
    make_bag,
    make_dried,
    make_received,
    make_tag,
    refused,
    remarks,
    standing,
)
from tests.result_files import (
    HEADER,
    NIR,
    NIR_MAP,
    WET,
    Bench,
    add_map,
    attached,
    changed_map,
    parked,
    row,
    taken_in,
    unknown_code,
    wet_row,
    wet_written,
    why,
    written,
)
from tracker.lookups.sample_way import way_of
from tracker.steps.bag_cores import replace_tag
from tracker.steps.hand_over import store
from tracker.steps.hold import hold
from tracker.steps.record_results import record_results
from tracker.storage.analysis import Analysis, ParkedRow, ResultFile, ResultValue
from tracker.storage.coring import sample_with_lot
from tracker.storage.people import party


def slipped(code: str) -> str:
    """The code with its third character mistyped, so that its check no longer holds."""
    return code[:2] + ("7" if code[2] != "7" else "4") + code[3:]


def test_a_row_becomes_an_analysis_of_the_sample_that_its_code_names(bench: Bench) -> None:
    sample, code = bench.samples[1], bench.codes[1]
    taken = taken_in(bench, written([row(code)]))
    assert (taken.rows, taken.taken, taken.parked, taken.known) == (1, 1, 0, False)
    assert attached(bench, sample) == [
        {
            "DM": Decimal("93.0"),
            "CP": Decimal("18.6"),
            "ADF": Decimal("31.0"),
            "NDF": Decimal("40.0"),
            "GH": Decimal("1.2"),
        }
    ]
    assert standing(bench.season, sample).state == "scanned"
    assert [standing(bench.season, other).state for other in bench.samples if other.id != sample.id] == [
        "ground"
    ] * 3


def test_the_event_says_which_file_line_instrument_and_when_the_scan_was(bench: Bench) -> None:
    content = written([row(bench.codes[1]), row(bench.codes[0])])
    taken_in(bench, content, minute=1400)
    event = life(bench.season, bench.samples[0])[-1]
    # 06:30 at -05:00 is 1290 minutes after the makers' nine o'clock.
    assert (event.kind, event.by, event.occurred_at) == ("scanned", "ana", at(1290))
    assert event.recorded_at == at(1400)
    assert {
        key: event.data[key] for key in ("source", "instrument", "line", "scanned_at", "file_sha256")
    } == {
        "source": NIR,
        "instrument": "NIR 1",
        "line": "3",
        "scanned_at": "2026-06-21T06:30:00-05:00",
        "file_sha256": hashlib.sha256(content).hexdigest(),
    }
    assert event.data["analysis"] == event.event_id and remarks(event) == []


def test_a_value_keeps_the_digits_unit_basis_method_and_calibration_it_came_with(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[0], CP_pc_DM="18.60", GH="<0.5")]))
    with bench.season.read() as session:
        values = {value.constituent: value for value in session.scalars(select(ResultValue))}
    cp, dm, gh = values["CP"], values["DM"], values["GH"]
    assert (str(cp.value), cp.unit, cp.basis, cp.method, cp.calibration, cp.qualifier) == (
        "18.60",
        "%",
        "dry matter",
        "NIR",
        "hay 2026-1",
        "",
    )
    assert (dm.basis, gh.qualifier, str(gh.value)) == ("as analysed", "<", "0.5")


def test_the_file_is_kept_byte_for_byte_and_found_by_its_sha256(bench: Bench) -> None:
    content = b"\xef\xbb\xbf" + written([row(bench.codes[0]), row(unknown_code(1))]).replace(b"\n", b"\r\n")
    taken = taken_in(bench, content, name="Run 21.csv")
    with bench.season.read() as session:
        (file,) = session.scalars(select(ResultFile))
        assert file.content == content
    assert (file.name, file.by, file.at) == ("Run 21.csv", "ana", at(1400))
    assert taken.sha256 == file.sha256 == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("name", ["run.csv", "copy of run (2).csv"])
def test_the_same_file_again_changes_nothing_whatever_it_is_called(bench: Bench, name: str) -> None:
    content = written([row(bench.codes[0]), row(unknown_code(1)), row(bench.codes[1])])
    first = taken_in(bench, content)
    before = everything(bench.season)
    again = taken_in(bench, content, name=name, minute=1500)
    assert everything(bench.season) == before
    assert again.known and not first.known
    assert (again.file_id, again.rows, again.taken, again.parked) == (first.file_id, 3, 2, 1)


def test_a_blank_more_makes_another_file_and_its_scans_wait_for_a_choice(bench: Bench) -> None:
    content = written([row(bench.codes[0])])
    taken_in(bench, content)
    assert not taken_in(bench, content + b"\n").known
    assert standing(bench.season, bench.samples[0]).on_hold


@pytest.mark.parametrize("order", list(permutations(range(4)))[1::5])
def test_rows_are_joined_by_code_and_never_by_their_order(bench: Bench, order: tuple[int, ...]) -> None:
    proteins = ("15.1", "16.2", "17.3", "18.4")
    rows = [row(code, CP_pc_DM=cp) for code, cp in zip(bench.codes, proteins, strict=True)]
    taken_in(bench, written(rows[place] for place in order))
    assert [str(attached(bench, sample)[0]["CP"]) for sample in bench.samples] == list(proteins)


def test_a_code_is_read_as_it_is_shown_on_the_tag_or_in_its_address(bench: Bench) -> None:
    first, second = bench.codes[:2]
    rows = [row(f" {first[:4]}-{first[4:]}".lower()), row(second.lower())]
    assert taken_in(bench, written(rows)).taken == 2


@pytest.mark.parametrize(
    ("cells", "code", "field", "suggested"),
    [
        ({"CP_pc_DM": "1O.5"}, "not-a-number", "CP % DM", "Did you mean 10.5?"),
        ({"CP_pc_DM": "18,6"}, "not-a-number", "CP % DM", None),
        ({"CP_pc_DM": "0.186"}, "implausible-value", "CP % DM", "did you mean 18.6 %?"),
        ({"NDF_pc_DM": "400"}, "implausible-value", "NDF % DM", "did you mean 40 %?"),
        ({"CP_pc_DM": "-18.6"}, "implausible-value", "CP % DM", "did you mean 18.6 %?"),
        ({"Scanned": "21.6.2026"}, "not-a-time", "Scanned", None),
        (
            dict.fromkeys(("DM_pc", "CP_pc_DM", "ADF_pc_DM", "NDF_pc_DM", "GH"), ""),
            "nothing-measured",
            None,
            "",
        ),
    ],
)
def test_a_cell_that_cannot_be_read_parks_its_row_with_the_likely_repair(
    bench: Bench, cells: dict[str, str], code: str, field: str | None, suggested: str | None
) -> None:
    line = row(bench.codes[1], **cells)
    if cells.get("CP_pc_DM") == "18,6":
        line["CP % DM"] = '"18,6"'
    taken = taken_in(bench, written([row(bench.codes[0]), line]))
    (one,) = parked(bench)
    assert (taken.taken, taken.parked) == (1, 1)
    assert (one.line, one.sample_text, why(one)) == (3, bench.codes[1], [code])
    assert one.cells == tuple(value.strip('"') for value in (line[name] for name in HEADER))
    problem = one.problems[0]
    assert problem["field"] == field and problem["remedy"]
    assert suggested is None or suggested in problem["remedy"]
    assert attached(bench, bench.samples[1]) == []


def test_a_row_without_a_sample_waits(bench: Bench) -> None:
    taken_in(bench, written([row("")]))
    (one,) = parked(bench)
    assert (why(one), one.suggestions) == (["sample-missing"], ())


def test_a_mistyped_code_is_never_repaired_but_the_likely_bag_is_offered(bench: Bench) -> None:
    taken_in(bench, written([row(slipped(bench.codes[2]))]))
    (one,) = parked(bench)
    assert why(one) == ["code-check"]
    assert bench.codes[2] in one.suggestions
    assert attached(bench, bench.samples[2]) == []


def test_what_is_no_code_at_all_gets_no_suggestion(bench: Bench) -> None:
    taken_in(bench, written([row("check sample")]))
    (one,) = parked(bench)
    assert (one.suggestions, one.sample_text) == ((), "check sample")
    assert len(why(one)) == 1


def test_a_code_that_nobody_printed_waits(bench: Bench) -> None:
    taken_in(bench, written([row(unknown_code(1))]))
    (one,) = parked(bench)
    assert why(one) == ["unknown-tag"] and one.problems[0]["remedy"]


def test_a_tag_still_on_the_roll_waits(bench: Bench) -> None:
    loose = done(bench.season, lambda s: make_tag(s))
    taken_in(bench, written([row(loose)]))
    (one,) = parked(bench)
    assert why(one) == ["tag-unbound"]


def test_a_void_tag_waits_and_the_code_that_replaced_it_is_named(bench: Bench) -> None:
    sample, old = bench.samples[0], bench.codes[0]
    fresh = done(bench.season, lambda s: make_tag(s, sample.lot_id))
    done(bench.season, lambda s: replace_tag(s, sample, fresh, act(s, "carl", 1280), reason="torn"))
    taken_in(bench, written([row(old)]))
    (one,) = parked(bench)
    assert why(one) == ["tag-void"]
    assert fresh in one.problems[0]["remedy"]
    assert attached(bench, sample) == []


def test_a_sample_twice_in_one_file_waits_with_the_line_it_stood_in(bench: Bench) -> None:
    rows = [row(bench.codes[0]), row(bench.codes[1]), row(bench.codes[0], CP_pc_DM="12.0")]
    taken = taken_in(bench, written(rows))
    (one,) = parked(bench)
    assert (one.line, why(one), taken.taken) == (4, ["sample-twice-in-file"], 2)
    assert "line 2" in one.problems[0]["message"]
    assert [values["CP"] for values in attached(bench, bench.samples[0])] == [Decimal("18.6")]


def test_a_source_that_repeats_its_scans_may_name_a_sample_twice_and_somebody_chooses(bench: Bench) -> None:
    repeating = {**NIR_MAP, "repeat": "Cup"}
    done(bench.season, lambda s: add_map(s, "with cups", repeating))
    rows = [{**row(bench.codes[0], CP_pc_DM=cp), "Cup": cup} for cup, cp in (("1", "18.6"), ("2", "18.9"))]
    taken = taken_in(bench, written(rows, (*HEADER, "Cup")), source="with cups")
    assert (taken.taken, taken.parked) == (2, 0)
    assert [str(values["CP"]) for values in attached(bench, bench.samples[0])] == ["18.9", "18.6"]
    assert standing(bench.season, bench.samples[0]).on_hold


def test_a_sample_on_hold_waits_with_the_reason_of_its_hold(bench: Bench) -> None:
    sample = bench.samples[0]
    done(bench.season, lambda s: hold(s, sample, act(s, "ana", 1280), reason="label unclear"))
    taken_in(bench, written([row(bench.codes[0])]))
    (one,) = parked(bench)
    assert why(one) == ["on-hold"] and "label unclear" in one.problems[0]["message"]


@pytest.mark.parametrize(("maker", "state"), [(make_bag, "bagged"), (make_received, "received")])
def test_a_sample_that_is_not_ground_cannot_have_been_scanned(bench: Bench, maker: Any, state: str) -> None:
    early = done(bench.season, lambda s: maker(s, field="Late field"))
    code = standing(bench.season, early).code or ""
    taken_in(bench, written([row(code)]))
    (one,) = parked(bench)
    assert why(one) == ["wrong-state"] and state in one.problems[0]["message"]
    assert standing(bench.season, early).state == state


def test_a_scan_timed_before_the_fine_grind_waits(bench: Bench) -> None:
    # 06:05 is minute 1265; the fine grind was at 1270.
    taken_in(bench, written([row(bench.codes[0], Scanned="2026-06-21 06:05:00")]))
    assert why(parked(bench)[0]) == ["wrong-state"]


def test_of_a_bad_file_the_good_rows_go_in(bench: Bench) -> None:
    rows = [
        row(unknown_code(1)),
        row(bench.codes[0]),
        row(bench.codes[1], GH="x"),
        row(bench.codes[2]),
        row(bench.codes[2]),
        row(bench.codes[3]),
    ]
    taken = taken_in(bench, written(rows) + b"only,two\n")
    assert (taken.rows, taken.taken, taken.parked) == (7, 3, 4)
    assert [(one.line, *why(one)) for one in parked(bench)] == [
        (2, "unknown-tag"),
        (4, "not-a-number"),
        (6, "sample-twice-in-file"),
        (8, "row-too-short"),
    ]


def test_a_source_nobody_mapped_is_refused(bench: Bench) -> None:
    step = lambda s: record_results(s, "bench", "run.csv", written([]), act(s, "ana", 1400))  # noqa: E731
    assert refused(bench.season, step).code == "unknown-source"


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ((*HEADER, "Starch"), "file-format-differs"),
        (HEADER[:-1], "file-format-differs"),
    ],
)
def test_a_file_of_another_form_is_refused_whole(bench: Bench, header: tuple[str, ...], code: str) -> None:
    content = written([{**row(bench.codes[0]), "Starch": "1"}], header)
    answer = refused(
        bench.season, lambda s: record_results(s, NIR, "run.csv", content, act(s, "ana", 1400)), by="ana"
    )
    assert (answer.code, answer.line) == (code, 1)


def test_a_new_column_map_reads_the_same_file_again_as_another_one(bench: Bench) -> None:
    content = written([row(bench.codes[0])])
    first = taken_in(bench, content)
    newer = changed_map(NIR_MAP, "CP % DM", calibration="hay 2026-2")
    done(bench.season, lambda s: add_map(s, NIR, newer))
    second = taken_in(bench, content, minute=1500)
    assert not second.known and second.file_id != first.file_id and second.sha256 == first.sha256
    with bench.season.read() as session:
        used = session.scalars(select(ResultValue.calibration).where(ResultValue.constituent == "CP")).all()
    assert list(used) == ["hay 2026-1", "hay 2026-2"]
    before = everything(bench.season)
    assert taken_in(bench, content, minute=1600).known
    assert everything(bench.season) == before


def test_a_second_analysis_puts_the_sample_on_hold_and_overwrites_nothing(bench: Bench) -> None:
    sample, code = bench.samples[0], bench.codes[0]
    taken_in(bench, written([row(code)]))
    with bench.season.read() as session:
        first = session.scalars(select(Analysis)).one()
    earlier = everything(bench.season)["result_value"]
    taken_in(bench, written([row(code, CP_pc_DM="17.9", Scanned="2026-06-21 07:00:00")]))
    assert everything(bench.season)["result_value"][: len(earlier)] == earlier
    assert [str(values["CP"]) for values in attached(bench, sample)] == ["17.9", "18.6"]
    stands = standing(bench.season, sample)
    assert stands.on_hold
    assert stands.holds[0].reason == (
        f"Analysis {first.id} measured CP, ADF, NDF already. Both are kept; somebody chooses which stands."
    )
    assert remarks(life(bench.season, sample)[-1]) == ["analysed-before"]


def test_what_nobody_measured_before_comes_in_without_a_hold(bench: Bench) -> None:
    sample, code = bench.samples[0], bench.codes[0]
    taken_in(bench, written([row(code, CP_pc_DM="", NDF_pc_DM="")]))
    taken_in(bench, wet_written([wet_row(code)]), source=WET, name="wet.csv")
    # The dry matter of the portion is no second answer to the same question.
    assert not standing(bench.season, sample).on_hold
    assert kinds(bench.season, sample)[-2:] == ["scanned", "analysed outside"]
    assert len(attached(bench, sample)) == 2


def test_an_outside_analysis_leaves_the_sample_where_it_is(bench: Bench) -> None:
    early = done(bench.season, lambda s: make_dried(s, field="Late field", load="L-9"))
    code = standing(bench.season, early).code or ""
    assert taken_in(bench, wet_written([wet_row(code)]), source=WET).taken == 1
    assert standing(bench.season, early).state == "dried"


@pytest.mark.parametrize(
    ("cells", "code", "held"),
    [
        ({"GH": "3.0"}, [], False),
        ({"GH": "3.1"}, ["outside-calibration"], True),
        ({"ADF_pc_DM": "41.0"}, ["adf-above-ndf"], True),
        ({"CP_pc_DM": "26.0"}, ["unusual-value"], False),
        ({"DM_pc": "98.0"}, ["dm-implausible"], False),
    ],
)
def test_what_the_values_say_together_is_remarked_and_a_contradiction_stops_the_sample(
    bench: Bench, cells: dict[str, str], code: list[str], held: bool
) -> None:
    # Limits: GH 3.0 of the common practice; ADF is a part of NDF; CP of legume hay 10 to 25 (Shewmaker, Idaho).
    taken_in(bench, written([row(bench.codes[0], **cells)]))
    assert remarks(life(bench.season, bench.samples[0])[-1]) == code
    assert standing(bench.season, bench.samples[0]).on_hold is held
    with bench.season.read() as session:
        kept = session.scalars(select(Analysis)).one().findings
    assert [finding["code"] for finding in kept] == code


def test_values_as_received_are_judged_on_dry_matter(bench: Bench) -> None:
    # CP 252 g/kg of a portion with 90 % DM is 28.0 % of dry matter, above the usual 25 of legume hay; as it
    # stands in the file, 25.2 would be judged 25.2. NDF 54.9 / 0.90 = 61.0, above the usual 60.
    taken_in(bench, wet_written([wet_row(bench.codes[0], CP="252", NDF="54.9")]), source=WET)
    with bench.season.read() as session:
        words = [finding["words"] for finding in session.scalars(select(Analysis)).one().findings]
    assert [said.split(" is ")[0] for said in words] == ["CP 28 %", "NDF 61 %"]


def test_as_received_values_without_a_dry_matter_are_taken_in_and_not_judged(bench: Bench) -> None:
    taken_in(bench, wet_written([wet_row(bench.codes[0], DM="")]), source=WET)
    event = life(bench.season, bench.samples[0])[-1]
    assert remarks(event) == ["not-on-dry-matter"]
    assert event.data["findings"][0]["words"] == "CP, NDF, NO3-N could not be judged: not on dry matter."


def test_as_received_values_mapped_as_dry_matter_are_caught_where_they_contradict_the_rest(
    bench: Bench,
) -> None:
    # The fiber stands on dry matter, the ADF of the same hay was meant as received: 36.0 of 90 % is 40.0 of dry
    # matter. Taken for dry matter, NDF 36.0 would be less than its part ADF 37.0.
    taken_in(bench, written([row(bench.codes[0], NDF_pc_DM="36.0", ADF_pc_DM="37.0")]))
    assert remarks(life(bench.season, bench.samples[0])[-1]) == ["adf-above-ndf"]
    assert standing(bench.season, bench.samples[0]).on_hold


def test_a_scan_heard_of_late_gets_its_place_and_is_said_to_be_late(bench: Bench) -> None:
    sample = bench.samples[0]
    done(bench.season, lambda s: store(s, sample, party(s, "store"), act(s, "carl", 1350)))
    taken_in(bench, written([row(bench.codes[0])]), name="run-21.csv")
    assert kinds(bench.season, sample)[-1] == "scanned"
    with bench.season.read() as session:
        found = way_of(session, sample_with_lot(session, sample.id))
    assert [step.kind for step in found.steps][-2:] == ["scanned", "stored"]
    scan = found.steps[-2]
    assert scan.late and scan.words.endswith("Entered late: Taken in from run-21.csv.")
    assert (scan.at, scan.recorded_at) == (at(1290), at(1400))
    assert standing(bench.season, sample).state == "scanned"


def test_a_scan_of_this_morning_is_not_late(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[0])]))
    assert not life(bench.season, bench.samples[0])[-1].late


def test_a_scan_that_the_instrument_dates_into_the_future_stands_at_the_offices_time(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[0], Scanned="2062-06-21 06:30:00")]), minute=1400)
    event = life(bench.season, bench.samples[0])[-1]
    assert event.clock_doubted and event.occurred_at == at(1400)
    # What the file said is kept beside it.
    assert event.data["scanned_at"] == "2062-06-21T06:30:00-05:00"


def test_every_row_is_told_to_who_waits(bench: Bench) -> None:
    told: list[tuple[int, int]] = []
    rows = [row(unknown_code(number)) for number in range(3)]
    taken_in(bench, written(rows), progress=lambda number, of: told.append((number, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_parked_rows_in_any_number_keep_their_lines(bench: Bench) -> None:
    numbers = list(range(40))
    random.Random(8).shuffle(numbers)
    taken_in(bench, written(row(unknown_code(number)) for number in numbers))
    with bench.season.read() as session:
        lines = session.execute(select(ParkedRow.line, ParkedRow.sample_text).order_by(ParkedRow.line)).all()
    assert [tuple(line) for line in lines] == [
        (place, unknown_code(number)) for place, number in enumerate(numbers, start=2)
    ]
