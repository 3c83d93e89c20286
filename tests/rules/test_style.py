"""Form, lint and types, called as people call them; and the sizes the house keeps to."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = [*ROOT.glob("tracker/**/*.py"), *ROOT.glob("labels/*.py")]


@pytest.mark.parametrize("check", [("ruff", "format", "--check", "."), ("ruff", "check", "."), ("mypy",)])
def test_the_sources_pass(check: tuple[str, ...]) -> None:
    answer = subprocess.run(
        [sys.executable, "-m", *check], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert answer.returncode == 0, answer.stdout + answer.stderr


def test_no_file_is_longer_than_400_lines() -> None:
    long = {
        str(path.relative_to(ROOT)): count
        for path in SOURCES
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}


def test_no_function_is_longer_than_60_lines() -> None:
    long = []
    for path in SOURCES:
        if "migrations/versions" in path.as_posix():
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                length = (node.end_lineno or 0) - node.lineno + 1
                if length > 60:
                    long.append(f"{path.relative_to(ROOT)}: {node.name} has {length}")
    assert long == []


def test_every_module_says_what_it_is() -> None:
    empty = {"__init__.py"}
    silent = [
        str(path.relative_to(ROOT))
        for path in SOURCES
        if ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) is None and path.name not in empty
    ]
    assert silent == []


def test_every_public_function_says_what_it_does() -> None:
    silent = []
    for path in SOURCES:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            public = isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_")
            if public and ast.get_docstring(node) is None and node.name not in ("upgrade",):
                silent.append(f"{path.relative_to(ROOT)}: {node.name}")
    assert silent == []


def test_nothing_is_committed_by_a_step_or_a_lookup() -> None:
    guilty = [
        str(path.relative_to(ROOT))
        for room in ("steps", "lookups")
        for path in (ROOT / "tracker" / room).glob("*.py")
        if ".commit(" in path.read_text(encoding="utf-8")
    ]
    assert guilty == []
