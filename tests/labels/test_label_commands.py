"""python -m labels."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from labels import payload
from labels.__main__ import main

BASE = "https://hay.example.edu"
TAGS = ["tags", "--stock", "letter-2x5", "--base", BASE, "--programme", "Cedar Valley", "--phone", "555-0142"]


def test_codes_are_valid_and_differ(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["codes", "50"]) == 0
    lines = capsys.readouterr().out.split()
    assert len({payload.read_code(line) for line in lines}) == 50


def test_the_known_stocks_are_listed_by_geometry(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["stocks"]) == 0
    assert "a4-2x4         2 x 4 labels of 99.1 x 67.7 mm, 600 dpi" in capsys.readouterr().out


def test_tags_come_with_a_list_of_codes_and_hashes_of_tokens(
    tmp_path: Path, rasters: object, capsys: pytest.CaptureFixture[str]
) -> None:
    out, kept = tmp_path / "tags.pdf", tmp_path / "tags.csv"
    asked = [*TAGS, "--count", "2", "--start", "3", "--skip", "4", "--roll", "7", "--out", str(out)]
    assert main([*asked, "--list", str(kept)]) == 0
    assert "next free cell is 6" in capsys.readouterr().out
    with kept.open(newline="") as file:
        rows = list(csv.DictReader(file))
    (page,) = rasters(out.read_bytes(), 300)  # type: ignore[operator]
    read = {payload.read_url(BASE, found.text) for found in page.decoded()}
    assert {row["code"] for row in rows} == {text for text in read if len(text) == 8}
    hashes = {payload.token_hash(text) for text in read if len(text) == 26}
    assert {row["token_sha256"] for row in rows} == hashes


def test_a_list_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = tmp_path / "tags.csv"
    kept.write_text("earlier roll")
    assert main([*TAGS, "--count", "1", "--out", str(tmp_path / "t.pdf"), "--list", str(kept)]) == 2
    assert kept.read_text() == "earlier roll"
    assert capsys.readouterr().err.startswith("file:")


def test_a_refusal_leaves_no_list_behind(tmp_path: Path) -> None:
    out, kept = tmp_path / "t.pdf", tmp_path / "t.csv"
    assert main([*TAGS, "--count", "1", "--start", "11", "--out", str(out), "--list", str(kept)]) == 2
    assert not kept.exists()
    assert not out.exists()


def test_sack_labels_print_the_codes_asked_for(tmp_path: Path, rasters: object) -> None:
    out = tmp_path / "sacks.pdf"
    asked = ["sacks", "--stock", "roll-57x32", "--base", BASE, "--out", str(out), "--line", "55 °C"]
    assert main([*asked, "--code", "3r71-xz15", "--code", "T0MARVYY"]) == 0
    pages = rasters(out.read_bytes(), 203.2)  # type: ignore[operator]
    read = [payload.read_url(BASE, found.text) for page in pages for found in page.decoded()]
    assert read == ["3R71XZ15", "T0MARVYY"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (["codes", "0"], "count:"),
        (["calibration", "--stock", "a4-9x9", "--out", "x.pdf"], "stock-unknown:"),
        (["calibration", "--stock", "a4-3x7", "--top", "40", "--out", "x.pdf"], "stock-overflow:"),
        (["calibration", "--stock", "a4-3x7", "--offset-x", "11", "--out", "x.pdf"], "printer-offset:"),
        (
            ["sacks", "--stock", "roll-57x32", "--base", BASE, "--out", "x.pdf", "--code", "3R71XZ51"],
            "code-check:",
        ),
        (
            ["sacks", "--stock", "a4-3x6", "--base", BASE, "--out", "x.pdf", *["--code", "3R71XZ15"] * 2],
            "code-twice:",
        ),
    ],
)
def test_a_refused_command_ends_with_2_and_says_why(
    asked: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(asked) == 2
    assert capsys.readouterr().err.startswith(words)


def test_every_figure_of_the_stock_can_be_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "page.pdf"
    given = [
        "--page-w",
        "80",
        "--page-h",
        "60",
        "--label-w",
        "70",
        "--label-h",
        "25",
        "--left",
        "5",
        "--top",
        "4",
    ]
    given += ["--columns", "1", "--rows", "2", "--pitch-x", "70", "--pitch-y", "27", "--dpi", "300"]
    assert main(["calibration", "--stock", "a4-3x7", *given, "--out", str(out)]) == 0
    assert "50 mm" in capsys.readouterr().out
    assert b"226.7717 170.0787" in out.read_bytes()
