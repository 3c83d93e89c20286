"""docs/security.md is read: 51 items, and every test that it names is there."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in PAGE.splitlines()
    if re.match(r"\| \d+ \|", line)
]


@cache
def named_in(path: str) -> set[str]:
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_there_are_51_items_in_their_order() -> None:
    assert [row[0] for row in ROWS] == [str(number) for number in range(1, 52)]


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_an_item_has_its_number_in_the_standard_and_a_test_that_is_there(row: list[str]) -> None:
    number, standard, words, shown = row
    assert re.fullmatch(r"\d+\.\d+\.\d+(, \d+\.\d+\.\d+)* \([123](, [123])*\)", standard), number
    assert len(words.split()) >= 5
    named = re.findall(r"`(tests/[a-z_/0-9]+\.py)::(test_[a-z_0-9]+)`", shown)
    assert named and not re.sub(r"`[^`]+`", "", shown).strip(), "only tests stand here"
    for path, test in named:
        assert test in named_in(path), f"{path} has no {test}"


def test_a_deviation_says_why() -> None:
    deviations = [row[2].split("**Deviation:**")[1] for row in ROWS if "**Deviation:**" in row[2]]
    assert [row[0] for row in ROWS if "Deviation" in row[2]] == ["12", "29", "33", "43", "50"]
    assert all(len(words.split()) > 12 for words in deviations)


def test_nothing_is_called_certified() -> None:
    assert "Self-assessed against it" in PAGE
    assert re.findall(r"certif\w*", PAGE) == ["certified"], "only that nobody has"


def test_ci_writes_the_list_of_what_the_program_is_made_of() -> None:
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.search(r"^\.venv/bin/cyclonedx-py environment .*sbom\.json", ci, re.MULTILINE)
    config = (ROOT / "setup.cfg").read_text(encoding="utf-8")
    assert "cyclonedx-bom" in config
