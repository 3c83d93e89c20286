"""What single commands do beside the straight way: tags, hand-overs, corrections, parked rows, rules."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from labels.payload import shown
from tests.cli.conftest import Terminal
from tests.cli.reading import text_of
from tests.makers import SEAL, at
from tests.result_files import NIR, row, written

HEADER = "producer,field,cutting,forage,harvested,bale_shape,bale_count,bale_mass_lb\n"
HILL = "Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40,900\n"
MOOR = ("--forage", "mixed grass", "--harvested", "2026-06-01", "--shape", "round", "--bale-lb", 1150)


def done(terminal: Terminal, *words: object, by: str = "tove") -> str:
    answer = terminal.run(*words, "--by", by)
    assert (answer.code, answer.err) == (0, ""), answer.err
    return answer.out


def way(terminal: Terminal, name: str) -> dict[str, Any]:
    return dict(terminal.ask_json("way", name))


def last(terminal: Terminal, name: str) -> dict[str, Any]:
    return dict(way(terminal, name)["events"][-1])


def test_a_file_of_lots_taken_in_twice_registers_them_once(terminal: Terminal) -> None:
    Path("lots.csv").write_text(HEADER + HILL, encoding="utf-8")
    assert done(terminal, "import-lots", "lots.csv") == "1 lot registered, 0 known before, 0 refused.\n"
    assert done(terminal, "import-lots", "lots.csv") == "0 lots registered, 1 known before, 0 refused.\n"
    assert [lot["field"] for lot in terminal.ask_json("lots")] == ["Hill"]
    assert terminal.refusals() == 0


def test_a_bad_line_is_told_by_its_number_and_kept_and_the_others_go_in(terminal: Terminal) -> None:
    Path("lots.csv").write_text(HEADER + HILL.replace("40", "forty") + HILL, encoding="utf-8")
    answer = terminal.run("import-lots", "lots.csv", "--by", "tove")
    assert answer.code == 1
    assert answer.out == (
        "1 lot registered, 0 known before, 1 refused.\n"
        "  line 2: bale_count: 'forty' is not a whole number of at least 1. Count again and write digits only.\n"
    )
    kept = terminal.kept()
    assert (kept["code"], kept["line"], kept["field"]) == ("not-a-count", 2, "bale_count")
    assert kept["given"]["bale_count"] == "forty"


def test_a_lot_too_large_is_refused_with_an_offer_and_registered_in_parts(terminal: Terminal) -> None:
    # By hand: 480 bales of 1150 lb are 276 short tons as received, over 200; two parts of 240 are 138 each.
    register = ("register-lot", "Oda Meadow", "Moor", 1, *MOOR, "--bales", 480)
    refused = terminal.refused(*register)
    assert refused["code"] == "lot-too-large" and "276" in refused["message"]
    assert "240 and 240 bales" in refused["remedy"]
    assert done(terminal, *register, "--in-parts") == "Lot 1 A: 240 bales.\nLot 2 B: 240 bales.\n"
    assert "Moor A" in terminal.ask("lots") and "Moor B" in terminal.ask("lots")


def test_a_torn_tag_is_replaced_and_its_old_code_still_finds_the_bag(staged: Terminal) -> None:
    old, new = staged.names["bagged"], staged.names["fresh"]
    assert done(staged, "retag", "{bagged}", "{fresh}", "--reason", "torn") == (
        f"Tag {shown(new)} is on the bag.\n"
    )
    assert way(staged, new) == way(staged, old)
    assert last(staged, new)["kind"] == "tag replaced"
    assert staged.refused("seal", "{bagged}", "S-9")["code"] == "tag-void"


def test_a_void_tag_binds_no_bag(staged: Terminal) -> None:
    code = staged.names["fresh"]
    assert done(staged, "void-tag", "{fresh}", "--reason", "smeared") == (
        f"Tag {shown(code)} is void. Cut it up.\n"
    )
    assert staged.refused("bind", "{cored}", "{fresh}")["code"] == "tag-void"
    assert staged.refused("void-tag", "{bagged}", "--reason", "x")["code"] == "tag-names-a-bag"


def test_a_tag_printed_again_keeps_its_code(staged: Terminal) -> None:
    code = shown(staged.names["bagged"])
    said = done(staged, "reprint-tag", "{bagged}", "--reason", "smeared", "--out", "again.pdf")
    assert f"1 tag in again.pdf: {code}." in said and code in text_of("again.pdf")


def test_a_bag_has_one_tag_and_a_tag_one_bag(staged: Terminal) -> None:
    refused = staged.refused("bind", "{cored}", "{bagged}")
    assert (refused["code"], refused["field"]) == ("tag-bound", "code")


def test_a_hand_over_nobody_signed_for_is_called_off(staged: Terminal) -> None:
    said = done(staged, "cancel-hand-over", "{signed}", "--reason", "he did not come")
    assert said.startswith(f"{shown(staged.names['signed'])} is sealed, with Tove Lind;")
    assert staged.refused("cancel-hand-over", "{signed}", "--reason", "again")["code"] == "wrong-state"


def test_a_hand_over_is_declined_by_the_one_it_was_meant_for(staged: Terminal) -> None:
    said = done(staged, "refuse-hand-over", "{signed}", "--reason", "the bag is open", by="carl")
    assert "is sealed, with Tove Lind" in said
    assert staged.refused("receive", "{signed}", by="carl")["code"] == "no-open-transfer"


def test_a_wrong_weight_is_corrected_and_the_original_stays_beside_it(staged: Terminal) -> None:
    entry = staged.names["weighing"]
    said = done(staged, "amend", entry, "grams=286.6", "--reason", "misread", by="carl")
    assert said == f"Entry {entry} is corrected; the original stays beside it.\n"
    told = staged.ask("way", "{weighed}")
    assert "286.6" in told and "268.6" in told
    assert staged.refused("amend", entry, "grams", "--reason", "x", by="carl")["code"] == "not-a-change"


def test_a_parked_row_is_listed_with_what_is_wrong_and_taken_in_with_a_corrected_cell(
    staged: Terminal,
) -> None:
    (parked,) = staged.ask_json("parked")
    assert (parked["line"], parked["sample_text"], parked["answer"]) == (6, "????", None)
    assert "????" in staged.ask("parked") and parked["problems"][0]["remedy"] in staged.ask("parked")
    words = ("take-in", parked["id"], "{ground}", "--reason", "the fourth cup")
    assert staged.refused(*words, "--value", "CP % DM", by="ana")["code"] == "not-a-change"
    said = done(staged, *words, "--value", "CP % DM=17.9", by="ana")
    assert said.startswith(f"Row {parked['id']} is analysis ")
    assert "CP 17.9 % dry matter" in staged.ask("analyses", "{ground}")
    assert staged.ask_json("parked") == []
    assert staged.ask_json("parked", "--all")[0]["answer"] == "taken in: the fourth cup"


def test_a_parked_row_is_set_aside_once(staged: Terminal) -> None:
    assert done(staged, "set-aside", 1, "--reason", "an empty cup", by="ana") == "Row 1 is set aside.\n"
    refused = staged.refused("set-aside", 1, "--reason", "again", by="ana")
    assert (refused["code"], refused["field"]) == ("parked-answered", "row")


def test_one_of_two_analyses_is_chosen_and_the_sample_goes_on(staged: Terminal) -> None:
    first, second = (one["id"] for one in staged.ask_json("analyses", "{twice}"))
    refused = staged.refused("release", "{twice}", by="lena")
    assert refused["code"] == "on-hold" and "somebody chooses which stands" in refused["message"]
    done(staged, "choose-analysis", "{twice}", second, "--reason", "the first cup was hot", by="lena")
    assert [one["id"] for one in staged.ask_json("analyses", "{twice}")] == [second, first]


def test_the_programme_makes_a_rule_its_own_and_the_next_plan_follows_it(terminal: Terminal) -> None:
    def rule() -> dict[str, Any]:
        (found,) = [one for one in terminal.ask_json("practice") if one["rule"] == "cores"]
        return dict(found)

    assert (rule()["value"], rule()["own"]) == ("20", False)
    own = ("set-practice", "cores", 24, "--source", "our own trial", "--reason", "closer margin")
    assert done(terminal, *own, by="lena") == "cores is 24 from now on.\n"
    assert (rule()["value"], rule()["own"], rule()["source"]) == ("24", True, "our own trial")
    done(terminal, "register-lot", "Oda Meadow", "Moor", 1, *MOOR, "--bales", 100)
    assert "24 cores from the side" in done(terminal, "plan", 1, "--seed", 3)


def test_a_plan_says_its_margins_with_the_digits_of_the_card(terminal: Terminal) -> None:
    done(terminal, "register-lot", "Oda Meadow", "Moor", 1, *MOOR, "--bales", 100)
    told = done(terminal, "plan", 1, "--seed", 3)
    assert re.search(r"CP ±\d\.\d and NDF ±\d\.\d % of dry matter", told)


@pytest.mark.parametrize("words", [("coores", 24), ("cores", "many")])
def test_a_rule_that_is_none_is_refused(terminal: Terminal, words: tuple[object, ...]) -> None:
    refused = terminal.refused("set-practice", *words, "--source", "s", "--reason", "r", by="lena")
    assert str(words[0]) in refused["message"] or refused["field"] in ("rule", "cores", "value")


def test_a_sample_on_hold_is_not_tested_until_somebody_decides(staged: Terminal) -> None:
    said = done(staged, "hold", "{received}", "--reason", "it smells of diesel", by="carl")
    assert said.endswith("On hold: it smells of diesel\n")
    done(staged, "weigh", "{received}", "tare", "18.6", by="carl")
    refused = staged.refused("weigh", "{received}", "fresh", "268.6", by="carl")
    assert refused["code"] == "on-hold" and "diesel" in refused["message"]
    assert "On hold" not in done(staged, "lift-hold", "{received}", "--reason", "from the truck", by="lena")
    done(staged, "weigh", "{received}", "fresh", "268.6", by="carl")


def test_a_lost_sample_stays_in_the_list_and_nothing_follows(staged: Terminal) -> None:
    said = done(staged, "lost", "{bagged}", "--circumstances", "fell off the trailer")
    assert said == f"{shown(staged.names['bagged'])} is lost.\n"
    assert "fell off the trailer" in staged.ask("way", "{bagged}")
    assert staged.refused("seal", "{bagged}", "S-9")["code"] == "sample-ended"


def test_a_bag_is_put_in_a_locked_box_and_taken_out_again(staged: Terminal) -> None:
    assert "with Drop box" in done(staged, "store", "{bagged}", "box")
    assert "with Carl Otis" in done(staged, "take-out", "{bagged}", by="carl")
    assert staged.refused("take-out", "{bagged}", by="carl")["code"] == "not-stored"
    assert staged.refused("store", "{sealed}", "carl")["code"] == "not-a-place-to-store"
    assert staged.refused("store", "{sealed}", "attic")["code"] == "unknown-party"


def test_a_seal_whose_number_differs_holds_the_sample(staged: Terminal) -> None:
    wrong = SEAL[:-1] + "9"
    seal = ("--seal-state", "number differs", "--seal-read", wrong)
    said = done(staged, "receive", "{signed}", "--condition", "dry", *seal, by="carl")
    assert "On hold: " in said and wrong in staged.ask("way", "{signed}")


def test_a_coring_of_named_bales_is_kept_with_its_departures(staged: Terminal) -> None:
    said = done(staged, "cored", "{planned}", "--bale", "4:8", "--bale", "10:8", "--deviation", "rain")
    assert said.startswith("16 cores recorded.\n") and "rain" in said
    again = ("cored", "{planned}", "--bale", "4:8", "--bale", "4:2")
    assert staged.refused(*again)["code"] == "bale-twice"


def test_a_second_file_with_the_same_rows_changes_nothing(staged: Terminal) -> None:
    Path("one.csv").write_bytes(written([row(staged.names["ground"])]))
    assert done(staged, "import-analyses", NIR, "one.csv", by="ana").startswith("1 row: 1 taken in")
    said = done(staged, "import-analyses", NIR, "one.csv", by="ana")
    assert said.startswith("This file was taken in before; nothing changes. 1 row: 1 taken in, 0 parked.")
    assert len(staged.ask_json("analyses", "{ground}")) == 1


def test_what_waits_is_listed_by_what_it_waits_for_with_how_long(staged: Terminal) -> None:
    staged.clock = at(240 + 30)
    told = staged.ask("waiting")
    assert shown(staged.names["received"]) in told and "30 min" in told
    codes = {one["code"] for one in staged.ask_json("waiting")}
    assert shown(staged.names["received"]) in codes and shown(staged.names["reported"]) not in codes


def test_a_roll_is_given_out_counted_in_and_listed(staged: Terminal) -> None:
    assert "Ulf" in done(staged, "issue-tags", "{fresh run}", "1", "1", "ulf")
    assert "back in the office" in done(staged, "count-in", "{carried}")
    assert "Ulf" in staged.ask("rolls")
    assert staged.refused("count-in", "{carried}")["code"] == "not-issued"
