"""The field's commands at the office: a phone's file, the list of phones, a contested tag, the sheet of paper."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.cli.conftest import Terminal
from tests.makers import at, done, make_tag
from tests.phones import LOT, Phone
from tracker.storage.engine import Database


def file(name: str, body: dict[str, Any]) -> str:
    Path(name).write_text(json.dumps(body), encoding="utf-8")
    return name


def code_in(terminal: Terminal) -> str:
    season = Database(terminal.database)
    code = str(done(season, lambda session: make_tag(session)))
    season.close()
    return code


def test_a_phones_file_is_taken_in_once_however_often_it_is_loaded(terminal: Terminal) -> None:
    phone, code = Phone(), code_in(terminal)
    entries = phone.bagged(code)
    terminal.clock = at(300)
    said = terminal.run("load-phone", file("unsent.json", phone.body(200, *entries)), "--by", "carl")
    assert (said.code, said.out) == (
        0,
        "Tove's phone: 4 taken in, 0 were here already, 0 wait for another entry, 0 refused.\n",
    )
    again = terminal.run("load-phone", "unsent.json", "--by", "carl")
    assert "0 taken in, 4 were here already" in again.out
    (lot,) = terminal.ask_json("lots")
    assert (lot["state"], lot["code"]) == ("bagged", f"{code[:4]}-{code[4:]}")


def test_a_refused_entry_of_a_file_is_named_and_the_others_are_taken(terminal: Terminal) -> None:
    phone = Phone()
    entries = [phone.entry("register lot", 10 + n, {**LOT, "field": f"F{n}"}) for n in range(120)]
    entries[70]["payload"]["forage"] = "seaweed"
    terminal.clock = at(300)
    said = terminal.run("load-phone", file("unsent.json", phone.body(200, *entries)), "--by", "carl")
    assert said.code == 1
    assert "119 taken in" in said.out and "  71, register lot: refused. 'seaweed'" in said.out
    assert terminal.kept()["code"] == "unknown-forage-kind"


def test_what_is_no_phones_file_is_refused_and_kept(terminal: Terminal) -> None:
    Path("lots.csv").write_text("producer,field\n", encoding="utf-8")
    for name, code in (("lots.csv", "not-field-entries"), ("gone.json", "file-missing")):
        answer = terminal.run("load-phone", name, "--by", "carl")
        assert (answer.code, answer.out) == (1, "") and f"({code})" in answer.err
        assert terminal.kept()["code"] == code


def test_the_phones_are_listed_with_their_gaps_and_clocks(terminal: Terminal) -> None:
    phone = Phone()
    one, _, three = (phone.entry("register lot", n, {**LOT, "field": f"F{n}"}) for n in (10, 11, 12))
    terminal.clock = at(300)
    terminal.run("load-phone", file("unsent.json", phone.body(200, one, three)), "--by", "carl")
    (found,) = terminal.ask_json("phones")["phones"]
    assert (found["gaps"], found["entries"], found["clock"]) == ([[2, 2]], 2, "not compared yet")
    assert phone.device[:8] in terminal.ask("phones")


def test_a_contested_tag_is_decided_at_the_desk(terminal: Terminal) -> None:
    code = code_in(terminal)
    for number, (who, field) in enumerate((("tove", "Long field"), ("ulf", "Hill"))):
        phone = Phone(who)
        body = phone.body(200, *phone.bagged(code, 10 + number, field=field))
        terminal.clock = at(300 + number)
        terminal.run("load-phone", file("unsent.json", body), "--by", who)
    shown = f"{code[:4]}-{code[4:]}"
    assert f"Tag {shown} is on 2 bags: lot 1, lot 2." in terminal.ask("phones")
    fresh = code_in(terminal)
    terminal.clock = at(310)
    wrong = terminal.run("settle-tag", code, "lot 9", "--fresh", fresh, "--reason", "x", "--by", "carl")
    assert (wrong.code, "not-a-claim" in wrong.err) == (1, True)
    said = terminal.run(
        "settle-tag", code, "lot 2", "--fresh", fresh, "--reason", "asked both", "--by", "carl"
    )
    assert said.out == f"Lot 2 keeps tag {shown}; lot 1 carries {fresh[:4]}-{fresh[4:]}.\n"
    assert "Decided: the bag keeps tag" in terminal.ask("way", code)


def test_a_late_entry_is_told_in_both_orders(terminal: Terminal) -> None:
    phone, code = Phone(), code_in(terminal)
    first, second = phone.bagged(code), phone.entry("store", 100, {"codes": [code], "place": "box"})
    note = phone.entry("note", 60, {"about": code, "words": "twine broke"})
    terminal.clock = at(300)
    terminal.run("load-phone", file("one.json", phone.body(200, *first, second)), "--by", "tove")
    assert "As the office heard of it" not in terminal.ask("way", code)
    terminal.run("load-phone", file("two.json", phone.body(210, note)), "--by", "tove")
    told = terminal.ask("way", code)
    assert told.index("twine broke") < told.index("Put in Drop box")
    assert "As the office heard of it:" in told


def test_the_sheet_for_the_field_has_a_form_number_of_its_own_each_time(staged: Terminal) -> None:
    forms = [
        staged.run("field-sheet", "--to", "tove", "--out", "f.pdf", "--by", "carl", "--json").json["form"]
        for _ in range(2)
    ]
    assert len(set(forms)) == 2 and all(form.startswith("F-") for form in forms)
    assert Path("f.pdf").read_bytes().startswith(b"%PDF")
    assert staged.run("field-sheet", "--to", "ulf", "--out", "g.pdf", "--by", "carl").code == 1
    assert not Path("g.pdf").exists()


def test_a_tag_printed_again_is_counted_and_marked(staged: Terminal) -> None:
    code = staged.names["fresh"]
    run = int(staged.names["fresh run"])
    for _ in range(2):
        assert (
            staged.run("reprint-tag", code, "--reason", "smeared", "--out", "t.pdf", "--by", "carl").code == 0
        )
    (roll,) = [one for one in staged.ask_json("rolls")["rolls"] if one["run"] == run]
    assert (roll["printed"], roll["reprinted"], roll["in_office"]) == (1, 2, 1)
    import pypdfium2

    page = pypdfium2.PdfDocument("t.pdf")[0].get_textpage().get_text_range()
    assert f"No. {run}-001 R3" in page


def test_the_doctor_says_what_the_phones_owe(terminal: Terminal) -> None:
    phone = Phone()
    one, _, three = (phone.entry("register lot", n, {**LOT, "field": f"F{n}"}) for n in (10, 11, 12))
    terminal.clock = at(300)
    lines = {line["what"]: line for line in terminal.run("doctor", "--offline", "--json").json}
    assert "phones" not in lines
    terminal.run("load-phone", file("unsent.json", phone.body(200, one, three)), "--by", "carl")
    lines = {line["what"]: line for line in terminal.run("doctor", "--offline", "--json").json}
    assert (lines["phones"]["verdict"], lines["phones"]["remedy"]) == ("look", "tracker phones")
    assert "1 with entries that never came" in lines["phones"]["words"]
