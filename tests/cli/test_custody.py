"""Keys, heads, audit and verification from the terminal."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from tests.cli.conftest import Terminal
from tests.makers import at
from tracker.domain.signed_head import heads_in, public_key
from tracker.files.key_file import KeyFile, read_key


def test_a_new_season_gets_a_key_that_its_owner_alone_can_read(terminal: Terminal, tmp_path: Path) -> None:
    path = tmp_path / "season.key"
    told = terminal.ask_json("init")
    assert str(read_key(path).public) == told["log_key"]
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert terminal.ask_json("init")["log_key"] == told["log_key"], "a log keeps its key"


def test_two_seasons_in_one_folder_have_logs_of_their_own(terminal: Terminal, tmp_path: Path) -> None:
    one = terminal.ask_json("init")["log_key"]
    other = terminal.run("init", "--json", database=f"sqlite:///{tmp_path / 'other.db'}").json["log_key"]
    assert public_key(one).name != public_key(other).name


def test_the_key_is_where_the_setting_says(
    terminal: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRACKER_LOG_KEY_FILE", str(tmp_path / "elsewhere.key"))
    assert terminal.ask_json("init")["log_key"] == str(read_key(tmp_path / "elsewhere.key").public)
    assert not (tmp_path / "season.key").exists()


def test_the_private_half_is_in_no_answer_and_not_in_the_database(staged: Terminal, tmp_path: Path) -> None:
    private = read_key(tmp_path / "season.key").private.private_bytes_raw()
    pem = (tmp_path / "season.key").read_text().split("\n")[-3]
    for words in (
        ("custody", "key"),
        ("custody", "head"),
        ("custody", "audit"),
        ("init",),
        ("doctor", "--offline"),
    ):
        assert pem not in staged.run(*words).out
    season = (tmp_path / "season.db").read_bytes()
    assert private not in season and private.hex().encode() not in season and pem.encode() not in season


def test_a_clean_season_is_said_to_be_clean_and_what_was_not_compared_too(staged: Terminal) -> None:
    told = staged.ask("custody", "audit")
    assert "are as they were signed" in told
    assert "Compared with no head from outside" in told
    assert "Compared with 1 head from outside" in staged.ask("custody", "audit", "--heads", "issued.pdf")


def test_a_tampered_season_is_said_and_leaves_with_one(staged: Terminal, tmp_path: Path) -> None:
    import sqlite3

    raw = sqlite3.connect(tmp_path / "season.db", isolation_level=None)
    raw.execute("drop trigger event_no_update")
    raw.execute("update event set role = 'lead' where seq = 3")
    raw.close()
    answer = staged.run("custody", "audit")
    assert answer.code == 1
    assert "NOT AS IT WAS SIGNED" in answer.out and "Event 3 (" in answer.out
    found = staged.run("custody", "audit", "--json")
    assert (found.code, found.json["clean"]) == (1, False)


def test_heads_are_kept_outside_one_behind_the_other_and_hold_later(staged: Terminal, tmp_path: Path) -> None:
    outside = tmp_path / "nightly" / "heads.txt"
    staged.ask("custody", "head", "--out", outside)
    staged.clock = at(3000)
    staged.act(
        "ulf",
        3000,
        "register-lot",
        "Oda Meadow",
        "Next",
        "1",
        "--forage",
        "alfalfa",
        "--harvested",
        "2026-06-01",
        "--shape",
        "round",
        "--bales",
        "40",
        "--bale-lb",
        "900",
    )
    staged.ask("custody", "head", "--out", outside)
    first, second = heads_in(outside.read_text(encoding="utf-8"))
    assert second.size == first.size + 1
    assert "Compared with 2 heads from outside" in staged.ask("custody", "audit", "--heads", outside)


def test_an_older_head_is_proven_to_be_the_beginning_of_todays_log_to_somebody_without_it(
    staged: Terminal, tmp_path: Path
) -> None:
    outside, proof = tmp_path / "heads.txt", tmp_path / "grown.json"
    staged.ask("custody", "head", "--out", outside)
    (old,) = heads_in(outside.read_text(encoding="utf-8"))
    staged.clock = at(3000)
    staged.act("lena", 3000, "custody", "new-key", "--reason", "to have one more entry")
    told = staged.ask_json("custody", "consistency", outside, "--out", proof)
    assert told["size"] == old.size + 1
    assert [one["size"] for one in told["older"]] == [old.size] and told["older"][0]["proof"]
    assert f"begins with the {old.size}" in staged.ask("custody", "verify", proof)
    stranger = staged.run("custody", "verify", proof, "--json", database="sqlite:///nowhere.db")
    assert (stranger.json["proven"], stranger.json["trusted"]) == (True, False)
    assert "Compared with 2 heads from outside" in staged.ask("custody", "audit", "--heads", proof)
    proof.write_bytes(proof.read_bytes().replace(b'"proof":["', b'"proof":["00'))
    spoiled = staged.run("custody", "verify", proof)
    assert spoiled.code == 1 and "NOT PROVEN" in spoiled.out
    assert staged.run("custody", "audit", "--heads", proof, "--json").json["refused"]["code"] == (
        "consistency-not-proven"
    )


def test_a_head_that_is_no_beginning_of_the_log_is_proven_nothing(staged: Terminal, tmp_path: Path) -> None:
    key = read_key(tmp_path / "season.key")
    for size in (3, 9_000):
        (tmp_path / "other.txt").write_text(str(key.signed(size, bytes(32))), encoding="utf-8")
        refused = staged.run("custody", "consistency", tmp_path / "other.txt", "--json")
        assert (refused.code, refused.json["refused"]["code"]) == (1, "consistency-not-proven")


def test_a_proof_signed_by_a_key_that_is_not_trusted_is_said(staged: Terminal, tmp_path: Path) -> None:
    stranger = KeyFile(tmp_path / "stranger.key").make("hay.example")
    staged.ask("custody", "consistency", "issued.pdf", "--out", tmp_path / "grown.json")
    answer = staged.run("custody", "verify", tmp_path / "grown.json", "--key", str(stranger.public))
    assert answer.code == 1 and "another key" in answer.out


def test_a_head_that_went_out_by_mail_is_compared_as_it_came(
    staged: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRACKER_MAIL_FOLDER", str(tmp_path / "outbox"))
    staged.ask("custody", "head", "--mail", "witness@outside.example")
    (message,) = (tmp_path / "outbox").glob("*.eml")
    assert b"To: witness@outside.example" in message.read_bytes()
    assert "Compared with 1 head from outside" in staged.ask("custody", "audit", "--heads", message)


def test_a_mail_server_that_is_not_there_is_said_and_the_head_is_kept(
    staged: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRACKER_MAIL_SERVER", "smtp://localhost:1")
    monkeypatch.setenv("TRACKER_MAIL_FROM", "hay@larkmoor.example")
    before = staged.ask_json("custody", "audit")
    answer = staged.run("custody", "head", "--mail", "witness@outside.example")
    assert answer.code == 1 and answer.err.startswith("Refused (head-not-sent): ")
    after = staged.ask_json("custody", "audit")
    assert (after["unsigned"], after["heads"]) == (0, before["heads"] + (before["unsigned"] > 0))


def test_a_new_key_is_signed_for_by_the_old_one_and_both_are_good(staged: Terminal, tmp_path: Path) -> None:
    (old,) = staged.ask_json("custody", "key")["keys"]
    refused = staged.run("custody", "new-key", "--reason", "a year", "--by", "ana")
    assert refused.code == 1 and (staged.kept()["act"], staged.kept()["code"]) == (
        "custody new-key",
        "not-allowed",
    )
    told = staged.act("lena", 2100, "custody", "new-key", "--reason", "a year is over").splitlines()[0]
    assert staged.ask_json("custody", "key")["keys"] == [old, told]
    assert public_key(told).name.endswith("/2")
    audit = staged.ask_json("custody", "audit")
    assert audit["clean"] and audit["unsigned"] == 0
    # Whoever knows the old key alone can follow to the entry that names the new one, and no further.
    (tmp_path / "old.txt").write_text(old)
    answer = staged.run("custody", "audit", "--keys", "old.txt", "--json")
    assert [fault["what"] for fault in answer.json["faults"]] == ["signature"]
    assert "Proven" in staged.ask("custody", "verify", "issued.pdf")


def test_a_report_is_verified_where_there_is_no_season(
    staged: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (key,) = staged.ask_json("custody", "key")["keys"]
    nowhere = f"sqlite:///{tmp_path / 'none.db'}"
    assert "Compare it with the key" in staged.run("custody", "verify", "issued.pdf", database=nowhere).out
    assert (
        "That key is trusted here"
        in staged.run("custody", "verify", "issued.pdf", "--key", key, database=nowhere).out
    )
    stranger = KeyFile(tmp_path / "stranger.key").make("hay.example").public
    wrong = staged.run("custody", "verify", "issued.pdf", "--key", stranger)
    assert wrong.code == 1 and wrong.out.startswith("NOT PROVEN. It is signed by another key")


def test_a_report_that_was_changed_is_not_proven(staged: Terminal, tmp_path: Path) -> None:
    content = bytearray((tmp_path / "issued.pdf").read_bytes())
    at_figure = content.index(b'"grams":"268.6"')
    content[at_figure + 9] ^= 1
    (tmp_path / "changed.pdf").write_bytes(content)
    answer = staged.run("custody", "verify", "changed.pdf")
    assert answer.code == 1 and answer.out.startswith("NOT PROVEN.")
    assert staged.run("custody", "verify", "changed.pdf", "--json").json["proven"] is False


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("custody", "audit", "--heads", "run.csv"), "no-head-in-file"),
        (("custody", "audit", "--heads", "not-there.txt"), "file-missing"),
        (("custody", "audit", "--keys", "run.csv"), "not-a-public-key"),
        (("custody", "verify", "not-there.pdf"), "file-missing"),
        (("check-bundle", "run.csv"), "not-a-bundle"),
        (("export-lot", "9999", "--out", "x.zip"), "unknown-lot"),
        (("export-lot", "9999", "--kept", "--out", "x.zip"), "unknown-bundle"),
    ],
)
def test_what_cannot_be_checked_is_refused_in_words(
    staged: Terminal, words: tuple[str, ...], code: str
) -> None:
    answer = staged.run(*words)
    assert answer.code == 1
    assert answer.err.startswith(f"Refused ({code}): ")


def test_without_its_key_nothing_is_said_to_be_signed(staged: Terminal, tmp_path: Path) -> None:
    (tmp_path / "season.key").unlink()
    for words in (("custody", "audit"), ("custody", "key"), ("custody", "head")):
        assert staged.run(*words).err.startswith("Refused (log-key-missing): ")


def test_a_damaged_key_keeps_nobody_from_handing_a_bag_over(staged: Terminal, tmp_path: Path) -> None:
    (tmp_path / "season.key").write_text("spilt")
    staged.act("tove", 2100, "hand-over", "{bagged}", "carl")
    assert staged.run("custody", "head").err.startswith("Refused (log-key-unreadable): ")


def test_an_empty_log_has_no_head(terminal: Terminal) -> None:
    terminal.ask("init")
    assert terminal.run("custody", "head").err.startswith("Refused (log-empty): ")


def test_a_first_key_is_not_made_over_another(tmp_path: Path) -> None:
    from tests.makers import code_of
    from tracker.errors import Refused

    file = KeyFile(tmp_path / "a.key")
    file.make("hay.example")
    with pytest.raises(Refused) as caught:
        file.make("hay.example")
    assert code_of(caught) == "log-key-there"


def test_a_season_from_before_the_log_is_written_into_it_by_init(staged: Terminal, tmp_path: Path) -> None:
    import sqlite3

    raw = sqlite3.connect(tmp_path / "season.db", isolation_level=None)
    for table in ("log_entry", "log_node", "log_head"):
        raw.execute(f"drop trigger {table}_no_delete")
    for table in ("entry_salt", "log_entry", "log_node", "log_head"):
        raw.execute(f"delete from {table}")
    raw.close()
    assert staged.run("custody", "audit").code == 1
    assert staged.run("export-lot", "1", "--out", "x.zip").err.startswith("Refused (log-behind): ")
    staged.ask("init")
    staged.ask("custody", "head")
    assert staged.ask_json("custody", "audit")["faults"] == []
