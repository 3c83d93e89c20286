"""What people and devices really send: spoilt files, slips in weights, clocks that are wrong, names that are not."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from labels.payload import shown
from tests.cli.conftest import Terminal
from tests.makers import at
from tests.result_files import HEADER, NIR, NIR_MAP, row, written

LOTS = "producer,field,cutting,forage,harvested,bale_shape,bale_count,bale_mass_lb"
HILL = "Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40,900"
REGISTER = {
    "cutting": "1",
    "--forage": "alfalfa",
    "--harvested": "2026-06-01",
    "--shape": "round",
    "--bales": "40",
    "--bale-lb": "900",
}


def taken(terminal: Terminal, data: bytes, name: str = "in.csv") -> tuple[int, str]:
    """A file of lots taken in: the exit code and what was said."""
    Path(name).write_bytes(data)
    answer = terminal.run("import-lots", name, "--by", "tove")
    assert answer.err == ""
    return answer.code, answer.out


def fields(terminal: Terminal) -> list[str]:
    return [lot["field"] for lot in terminal.ask_json("lots")]


def test_a_file_with_a_byte_order_mark_is_read(terminal: Terminal) -> None:
    assert taken(terminal, f"{LOTS}\n{HILL}\n".encode("utf-8-sig"))[0] == 0
    assert fields(terminal) == ["Hill"]


def test_a_file_with_semicolons_is_read(terminal: Terminal) -> None:
    assert taken(terminal, f"{LOTS}\n{HILL}\n".replace(",", ";").encode())[0] == 0
    assert fields(terminal) == ["Hill"]


def test_a_latin_1_file_is_read_and_it_is_said_that_this_was_assumed(terminal: Terminal) -> None:
    data = f"{LOTS}\n{HILL}\n".replace("Hill", "Höhe").encode("latin-1")
    code, said = taken(terminal, data)
    assert code == 0 and "read as Windows-1252 (Latin-1). Look at the accents." in said
    assert fields(terminal) == ["Höhe"]


def test_a_file_cut_off_in_its_last_line_gives_the_whole_lines_and_names_the_last(terminal: Terminal) -> None:
    code, said = taken(terminal, f"{LOTS}\n{HILL}\nOda Meadow,Moor,1,alfa".encode())
    assert code == 1 and "line 3: " in said and "Was the file cut off here?" in said
    assert "The last line has no line end" in said
    assert fields(terminal) == ["Hill"]
    assert terminal.kept()["line"] == 3


def test_a_formula_in_a_cell_is_never_calculated(terminal: Terminal) -> None:
    spoilt = HILL.replace("Hill", '"=HYPERLINK(""http://x"",""Hill"")"')
    code, said = taken(terminal, f"{LOTS}\n{spoilt}\n".encode())
    assert code == 1 and "line 2: " in said and "Paste the value in place of the formula." in said
    assert fields(terminal) == [] and terminal.kept()["code"] == "formula-cell"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "file-empty"),
        (f"{LOTS}\n".encode(), "no-rows"),
        (b"%PDF-1.7\n", "not-a-table"),
        (b"producer,field\nOda,Hill\n", "columns-missing"),
        (f"{LOTS},{LOTS}\n{HILL},{HILL}\n".encode(), "header-twice"),
    ],
)
def test_a_file_that_is_no_list_of_lots_is_refused_whole(terminal: Terminal, data: bytes, code: str) -> None:
    Path("in.csv").write_bytes(data)
    assert terminal.refused("import-lots", "in.csv")["code"] == code


def test_a_file_that_is_not_there_is_refused_by_name(terminal: Terminal) -> None:
    refused = terminal.refused("import-lots", "nowhere.csv")
    assert (refused["code"], refused["field"]) == ("file-missing", "file")
    assert refused["message"] == "nowhere.csv cannot be read: No such file or directory."
    refused = terminal.refused("add-source", "wet", "nowhere.json")
    assert (refused["code"], refused["field"]) == ("file-missing", "map")
    assert terminal.refused("import-lots", ".")["message"] == ". cannot be read: Is a directory."


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("[1, 2]", "no maps with names"),
        ('{"a":', "no maps with names"),
        ("{}", "no maps with names"),
        (json.dumps({"wet lab": NIR_MAP}), "It has: wet lab."),
    ],
)
def test_a_file_without_the_column_map_asked_for_is_refused(
    terminal: Terminal, text: str, remedy: str
) -> None:
    Path("maps.json").write_text(text, encoding="utf-8")
    refused = terminal.refused("add-source", "wet", "maps.json", "--name", "nir")
    assert (refused["code"], refused["field"]) == ("no-such-map", "name")
    assert remedy in refused["remedy"]


@pytest.mark.parametrize("text", ["", "[1, 2]", '{"a":', "\x00"])
def test_a_column_map_that_is_none_is_refused(terminal: Terminal, text: str) -> None:
    Path("map.json").write_text(text, encoding="utf-8")
    assert terminal.refused("add-source", "wet", "map.json")["code"] == "column-map-invalid"


def test_results_in_other_units_than_the_map_says_are_refused_whole(staged: Terminal) -> None:
    other = tuple(name.replace("CP % DM", "CP g/kg DM") for name in HEADER)
    line = row(staged.names["ground"])
    line["CP g/kg DM"] = line.pop("CP % DM")
    Path("in.csv").write_bytes(written([line], other))
    refused = staged.refused("import-analyses", NIR, "in.csv", by="ana")
    assert refused["code"] == "file-format-differs" and "CP g/kg DM" in refused["message"]


def test_a_value_in_the_wrong_unit_is_parked_with_the_likely_slip(staged: Terminal) -> None:
    Path("in.csv").write_bytes(written([row(staged.names["ground"], CP_pc_DM="186")]))
    answer = staged.run("import-analyses", NIR, "in.csv", "--by", "ana")
    assert (answer.code, answer.err) == (1, "")
    assert "1 row: 0 taken in, 1 parked." in answer.out and "`tracker parked` shows" in answer.out
    parked = staged.ask_json("parked")[-1]
    assert parked["problems"][0]["code"] == "implausible-value"
    assert parked["problems"][0]["remedy"] in staged.ask("parked")


@pytest.mark.parametrize("rest", ["plain", "repeat"])
def test_a_sample_twice_in_a_file_is_taken_in_once(staged: Terminal, rest: str) -> None:
    code = staged.names["ground"]
    again = code if rest == "plain" else shown(code).lower()
    Path("in.csv").write_bytes(written([row(code), row(again, CP_pc_DM="18.9")]))
    answer = staged.run("import-analyses", NIR, "in.csv", "--by", "ana", "--json")
    assert (answer.json["taken"], answer.json["parked"]) == (1, 1)
    assert staged.ask_json("parked")[-1]["problems"][0]["code"] == "sample-twice-in-file"


@pytest.mark.parametrize(
    ("grams", "code", "remedy"),
    [
        ("-268.6", "not-a-weight", "Was the tare left on"),
        ("0", "not-a-weight", "Was the tare left on"),
        ("0.00", "not-a-weight", "Was the tare left on"),
        ("NaN", "not-a-number", "Write plain digits"),
        ("inf", "not-a-number", "Write plain digits"),
        ("1e3", "not-a-number", "Write plain digits"),
        ("268,6", "not-a-number", "Write a point for the decimals: 268.6."),
        ("1,268.6", "not-a-number", "two ways"),
        ("", "not-a-number", "Write plain digits"),
        ("268.6 g", "not-a-number", "Write plain digits"),
        ("٢٦٨", "not-a-number", "Write plain digits"),
        ("100000", "not-a-weight", "Was a code typed into the weight?"),
    ],
)
def test_a_slip_in_a_weight_is_refused_by_field(staged: Terminal, grams: str, code: str, remedy: str) -> None:
    refused = staged.refused("weigh", "{received}", "tare", grams, by="carl")
    assert (refused["code"], refused["field"]) == (code, "grams")
    assert remedy in refused["remedy"]
    assert refused["given"]["grams"] == grams


def test_a_weighing_that_is_none_is_refused_with_those_there_are(staged: Terminal) -> None:
    refused = staged.refused("weigh", "{received}", "wet", "18.6", by="carl")
    assert (refused["code"], refused["field"]) == ("unknown-weighing", "what")
    assert "tare, fresh, dry" in refused["remedy"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"cutting": "0"}, "not-a-count"),
        ({"cutting": "1st"}, "not-a-count"),
        ({"--forage": " "}, "unknown-forage-kind"),
        ({"--harvested": "1.6.2026"}, "not-a-date"),
        ({"--harvested": "2026-02-30"}, "not-a-date"),
        ({"--shape": "heap"}, "unknown-bale-shape"),
        ({"--bales": "0"}, "not-a-count"),
        ({"--bales": "1e2"}, "not-a-count"),
        ({"--bale-lb": "nan"}, "not-a-number"),
        ({"--bale-lb": "60000"}, "implausible-bale-mass"),
    ],
)
def test_a_slip_in_a_lot_is_refused_and_names_what_was_given(
    terminal: Terminal, changes: dict[str, str], code: str
) -> None:
    given = {**REGISTER, **changes}
    options = [f"{name}={value}" for name, value in given.items() if name != "cutting"]
    refused = terminal.refused("register-lot", "Oda Meadow", "Hill", given["cutting"], *options)
    assert refused["field"], refused
    assert refused["code"] == code, refused
    assert fields(terminal) == []


@pytest.mark.parametrize("time", ["2026-06-20", "2026-06-20T09:00", "2026-06-20T09:00:00", "now", "1e9"])
def test_a_time_without_seconds_or_offset_is_refused(staged: Terminal, time: str) -> None:
    refused = staged.refused("seal", "{bagged}", "S-9", "--at", time)
    assert (refused["code"], refused["field"]) == ("not-a-time", "at")


def test_a_clock_days_ahead_gives_way_to_the_office_and_the_entry_says_so(staged: Terminal) -> None:
    staged.clock = at(2000)
    ahead = at(2000 + 3 * 24 * 60).isoformat()
    answer = staged.run("seal", "{bagged}", "S-9", "--by", "tove", "--at", ahead)
    assert answer.code == 0
    step = staged.ask_json("way", "{bagged}")["events"][-1]
    assert (step["kind"], datetime.fromisoformat(step["at"])) == ("sealed", at(2000))
    assert datetime.fromisoformat(step["recorded_at"]) == at(2000)
    assert "The device's clock ran ahead; the office's time stands here." in step["words"]
    assert "The device's clock ran ahead" in staged.ask("way", "{bagged}")


def test_a_clock_days_behind_is_late_and_out_of_order_until_a_reason_is_given(staged: Terminal) -> None:
    staged.clock = at(5 * 24 * 60)
    behind = ("seal", "{bagged}", "S-9", "--at", at(-2 * 24 * 60).isoformat())
    refused = staged.refused(*behind)
    assert (refused["code"], refused["field"]) == ("out-of-order", "at")
    assert "late entry with the reason" in refused["remedy"]
    # Before the bag there was nothing to seal, whatever the reason.
    assert staged.refused(*behind, "--late-reason", "clock was wrong")["code"] == "wrong-state"
    answer = staged.run("seal", "{bagged}", "S-9", "--by", "tove", "--at", at(66).isoformat())
    assert answer.code == 0
    step = staged.ask_json("way", "{bagged}")["events"][-1]
    assert (step["kind"], step["late"]) == ("sealed", True)
    assert "The office heard of it on 25 Jun 2026, 09:00 (UTC-05:00)." in staged.ask("way", "{bagged}")


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "99999999999999999999", "--by", "tove"),
        ("plan", "one", "--by", "tove"),
        ("lots", "--sideways"),
        ("sample",),
        (),
        ("report",),
        ("coring-card", "lot 1", "--out", "c.pdf", "--paper", "a0"),
        ("register-lot", "Oda Meadow", "Hill", "1", "--by", "tove"),
    ],
)
def test_a_line_that_cannot_be_read_leaves_with_2_and_shows_the_usage(
    terminal: Terminal, words: tuple[str, ...]
) -> None:
    answer = terminal.run(*words)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("usage: tracker") and "error: " in answer.err
    assert terminal.refusals() == 0


def test_a_person_nobody_knows_is_refused_and_the_attempt_is_kept(terminal: Terminal) -> None:
    refused = terminal.refused("plan", 1, by="nobody")
    assert (refused["code"], refused["field"]) == ("unknown-party", "by")
    assert "'nobody'" in refused["message"] and "`tracker people`" in refused["remedy"]


def test_the_person_at_the_keyboard_may_come_from_the_environment(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRACKER_BY", "tove")
    assert terminal.run("plan", 1).err.startswith("Refused (unknown-lot): ")
    assert terminal.kept()["by"] == "tove"


@pytest.mark.parametrize("name", ["lot", "lot 99", "lot x", "12", "AAAA-AAAA", "????", ""])
def test_a_sample_that_nobody_knows_is_refused(terminal: Terminal, name: str) -> None:
    refused = terminal.refused("hold", name, "--reason", "x")
    assert refused["field"] and refused["given"]["sample"] == name


def test_a_receiver_nobody_knows_is_refused_before_the_act_and_kept(staged: Terminal) -> None:
    refused = staged.refused("hand-over", "{bagged}", "karl")
    assert (refused["code"], refused["field"]) == ("unknown-party", "to")
    assert refused["given"]["to"] == "karl" and refused["given"]["sample"] == staged.names["bagged"]


def test_a_question_that_is_refused_leaves_nothing_behind(terminal: Terminal) -> None:
    answer = terminal.run("way", "lot 7")
    assert answer.code == 1 and answer.err.startswith("Refused (unknown-lot): ")
    assert terminal.refusals() == 0
