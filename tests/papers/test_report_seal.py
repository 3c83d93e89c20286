"""A report's record proves itself to a program that knows nothing of ours, and no byte of it can change."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from tests.makers import act, done
from tests.papers.reading import texts
from tests.result_files import Bench, released, row, taken_in, written
from tracker import custody_check
from tracker.custody_check import NotProven, check, record_in, root_over, text_of
from tracker.domain.canonical import canonical
from tracker.domain.log_entry import as_shown
from tracker.domain.tree import is_included, leaf_hash
from tracker.files.key_file import KeyFile
from tracker.lookups.issued_reports import Issued, issued_report
from tracker.papers.lot_report import lot_report
from tracker.steps.hold import hold, lift_hold

VERIFIER = Path(custody_check.__file__)


@dataclass
class Signed:
    """A bench whose log is signed, with one report of its first sample."""

    bench: Bench
    key_file: KeyFile

    @property
    def key(self) -> str:
        key = self.key_file.key()
        assert key is not None
        return str(key.public)

    def issued(self) -> Issued:
        with self.bench.season.read() as session:
            return issued_report(session, self.bench.samples[0].id)

    def record(self) -> bytes:
        proof = self.issued().proof
        assert proof is not None
        return proof.content


@pytest.fixture
def signed(bench: Bench, tmp_path: Path) -> Iterator[Signed]:
    key_file = KeyFile(tmp_path / "log.key")
    key_file.make("hay.example")
    bench.season.key_file = key_file
    taken_in(bench, written([row(bench.codes[0])]))
    done(
        bench.season,
        lambda s: hold(s, bench.samples[0], act(s, "ana", 1410), reason="Ren\u00e9 asked \u2014 why?"),
    )
    done(bench.season, lambda s: lift_hold(s, bench.samples[0], act(s, "lena", 1420), reason="He was told."))
    released(bench, bench.samples[0])
    yield Signed(bench, key_file)


def as_pdf(issued: Issued, path: Path) -> Path:
    lot_report(path, issued.body, issued.proof)
    return path


def respelled(record: bytes, change: Any) -> bytes:
    """The record with something changed in it, written in its one form again."""
    found = json.loads(record)
    change(found)
    return text_of(found) + b"\n"


def test_the_record_is_proven_and_says_what_the_report_says(signed: Signed) -> None:
    found = check(signed.record(), signed.key)
    assert found["report"] == signed.issued().number
    assert found["key"] == signed.key
    # The lot's entry and the sample's whole life: plan, cores, bag, seal, two hands, weights, oven, mill, scan, a
    # hold and its end, the report.
    assert found["entries"] == 18
    assert found["results"][0] == "CP 18.6 %"


def test_the_program_alone_proves_a_printed_report(signed: Signed, tmp_path: Path) -> None:
    # Run as a stranger would: another folder, none of our packages on the path, and the file copied there.
    pdf = as_pdf(signed.issued(), tmp_path / "report.pdf")
    alone = tmp_path / "alone"
    alone.mkdir()
    program = alone / "custody_check.py"
    program.write_bytes(VERIFIER.read_bytes())
    answer = subprocess.run(
        [sys.executable, "-I", str(program), str(pdf), "--key", signed.key],
        cwd=alone,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (answer.returncode, answer.stderr) == (0, "")
    assert f"Proven: report {signed.issued().number}" in answer.stdout
    assert "This is the key you gave." in answer.stdout


def test_the_program_needs_cryptography_and_nothing_else() -> None:
    # Everything it imports beside the standard library.
    import ast

    imported = set()
    for node in ast.walk(ast.parse(VERIFIER.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {one.name.split(".")[0] for one in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add((node.module or "").split(".")[0])
    assert imported - set(sys.stdlib_module_names) == {"cryptography"}
    assert len(VERIFIER.read_text(encoding="utf-8").splitlines()) < 260


def test_no_single_byte_of_the_record_can_change(signed: Signed) -> None:
    # A letter becomes the same letter in the other case, which a reader of hexadecimal or base64 may forgive, and
    # everything else gets another last bit. Of the report's own words, which one hash covers, every eleventh byte.
    record = signed.record()
    assert check(record)["report"]
    words = text_of(json.loads(record)["report"])
    begin = record.index(words)
    end = begin + len(words)
    assert begin < 2 * len(words) and end < len(record)
    for at in (*range(begin), *range(begin, end, 11), *range(end, len(record))):
        wrong = bytearray(record)
        wrong[at] ^= 0x20 if chr(wrong[at]).isalpha() else 0x01
        with pytest.raises(NotProven):
            check(bytes(wrong))


def test_no_single_byte_of_the_record_in_the_pdf_can_change(signed: Signed, tmp_path: Path) -> None:
    content = as_pdf(signed.issued(), tmp_path / "report.pdf").read_bytes()
    record = signed.record()
    start = content.index(record)
    assert record_in(content) == record
    for at in range(start, start + len(record), 97):
        wrong = bytearray(content)
        wrong[at] ^= 0x01
        with pytest.raises(NotProven):
            check(bytes(wrong))


def test_no_byte_can_be_left_out_or_put_in(signed: Signed) -> None:
    record = signed.record()
    for at in range(0, len(record), 151):
        for wrong in (record[:at] + record[at + 1 :], record[:at] + b" " + record[at:]):
            with pytest.raises(NotProven):
                check(wrong)
    for wrong in (b"", record[:-1], record + b"\n", record[:-1] + b"\r\n", b"\xef\xbb\xbf" + record):
        with pytest.raises(NotProven):
            check(wrong)


def test_an_entry_left_out_or_moved_shows(signed: Signed) -> None:
    for at in range(18):
        with pytest.raises(NotProven):
            check(respelled(signed.record(), lambda record, at=at: record["events"].pop(at)))

    def swapped(record: Any) -> None:
        record["events"][5], record["events"][6] = record["events"][6], record["events"][5]

    with pytest.raises(NotProven):
        check(respelled(signed.record(), swapped))


def test_the_record_of_another_log_shows_by_its_key(signed: Signed, tmp_path: Path) -> None:
    stranger = KeyFile(tmp_path / "other.key").make("hay.example")
    with pytest.raises(NotProven, match="another key"):
        check(signed.record(), str(stranger.public))

    # And a stranger who signs the same head himself cannot pass for us.
    def forged(record: Any) -> None:
        size, root = record["head"].split("\n")[1:3]
        import base64

        record["head"] = str(stranger.signed(int(size), base64.b64decode(root)))
        record["key"] = str(stranger.public)

    with pytest.raises(NotProven, match="another key"):
        check(respelled(signed.record(), forged), signed.key)


def test_words_that_were_taken_out_leave_the_rest_proven(signed: Signed) -> None:
    # The salt of Rene's hold is taken away, as an erasure does it.
    with signed.bench.season.act("erase", "lena", {}) as session:
        session.execute(
            text("delete from entry_salt where seq in (select seq from event where kind = 'held')")
        )
    found = check(signed.record(), signed.key)
    assert found["entries"] == 18
    assert "Ren\u00e9" not in json.dumps(
        [one["words"] for one in json.loads(signed.record())["events"]], ensure_ascii=False
    )
    for empty in ("", 0, False, [], {}):
        with pytest.raises(NotProven):
            check(respelled(signed.record(), lambda record, empty=empty: _without_words(record, empty)))


def _without_words(record: Any, empty: Any) -> None:
    next(one for one in record["events"] if one["words"] is None)["words"] = empty


def test_no_name_and_no_words_stand_in_the_entries_themselves(signed: Signed) -> None:
    record = json.loads(signed.record())
    entries = json.dumps([one["entry"] for one in record["events"]], ensure_ascii=False)
    for name in ("tove", "carl", "ana", "lena", "Tove", "Oda", "Ren\u00e9", "office", "S-004417", "B1"):
        assert f'"{name}"' not in entries and f"{name} " not in entries
    # What was measured stands there for everybody.
    for figure in ('"268.6"', '"251.1"', '"18.6"', signed.bench.codes[0]):
        assert figure in entries


def test_the_program_walks_the_tree_as_we_do(signed: Signed) -> None:
    record = json.loads(signed.record())
    leaf = leaf_hash(canonical(record["events"][-1]["entry"]))
    size = int(record["head"].split("\n")[1])
    path = [bytes.fromhex(one) for one in record["proof"]]
    proof = signed.issued().proof
    assert proof is not None
    assert proof.leaf == leaf
    assert is_included(leaf, record["index"], size, path, proof.head.root)
    assert root_over(leaf, record["index"], size, path) == proof.head.root


def test_a_report_without_a_key_is_printed_and_says_that_it_proves_nothing(
    bench: Bench, tmp_path: Path
) -> None:
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, bench.samples[0])
    with bench.season.read() as session:
        issued = issued_report(session, bench.samples[0].id)
    assert issued.proof is None
    pdf = as_pdf(issued, tmp_path / "report.pdf")
    assert "not in a signed log" in " ".join(texts(pdf.read_bytes()))
    with pytest.raises(NotProven, match="0 records"):
        check(pdf.read_bytes())


def test_a_report_issued_before_there_was_a_key_is_proven_by_the_first_head_after_it(
    bench: Bench, tmp_path: Path
) -> None:
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, bench.samples[0])
    bench.season.key_file = KeyFile(tmp_path / "log.key")
    bench.season.key_file.make("hay.example")
    taken_in(bench, written([row(bench.codes[1])]), minute=1600)
    with bench.season.read() as session:
        proof = issued_report(session, bench.samples[0].id).proof
    assert proof is not None and proof.head.size > proof.seq
    assert check(proof.content)["log"] == proof.head.size


def test_two_records_in_one_pdf_prove_nothing(signed: Signed, tmp_path: Path) -> None:
    content = as_pdf(signed.issued(), tmp_path / "report.pdf").read_bytes()
    with pytest.raises(NotProven, match="2 records"):
        check(content + content)


def test_a_body_that_was_changed_in_the_season_is_not_printed_with_a_proof_that_holds(signed: Signed) -> None:
    issued = signed.issued()
    assert issued.proof is not None
    changed = replace(issued, body={**issued.body, "gaps": []})
    with pytest.raises(NotProven, match="does not say what was issued"):
        check(respelled(issued.proof.content, lambda record: record.update(report={**changed.body, "x": 1})))


def test_an_interpretation_that_nobody_released_is_in_no_attachment() -> None:
    body = {"results": [], "interpretation": {"answers": [{"group": "cows"}], "released_by": None}}
    assert as_shown(body) == {"results": [], "interpretation": None}
    released_body = {"results": [], "interpretation": {"answers": [], "released_by": "Lena Roy"}}
    assert as_shown(released_body) == released_body
    assert as_shown({"results": []}) == {"results": []}
