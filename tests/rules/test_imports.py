"""Imports point down. A wrong one, planted in a copy of the house, is seen."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

PLANTED = {
    "a step that asks a lookup": ("tracker/steps/hold.py", "import tracker.lookups.lots\n"),
    "a domain that knows the database": ("tracker/domain/lot.py", "import sqlalchemy\n"),
    "a lot that looks ahead at results": ("tracker/domain/lot.py", "import tracker.domain.results\n"),
    "a paper that knows the commands": ("tracker/papers/way.py", "import tracker.cli.doing\n"),
    "a label that knows of hay": ("labels/qr.py", "import tracker.errors\n"),
    "a row that points at a later stage": ("tracker/storage/lots.py", "import tracker.storage.analysis\n"),
}


def contracts_hold(house: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command as run; run()",
            "--no-cache",
        ],
        cwd=house,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def house(tmp_path: Path) -> Path:
    for name in ("tracker", "labels"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "setup.cfg", tmp_path)
    return tmp_path


def test_imports_point_down(house: Path) -> None:
    answer = contracts_hold(house)
    assert answer.returncode == 0, answer.stdout + answer.stderr


@pytest.mark.parametrize("what", sorted(PLANTED))
def test_a_planted_import_is_seen(what: str, house: Path) -> None:
    name, line = PLANTED[what]
    path = house / name
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("\nimport ", f"\n{line}import ", 1) if "\nimport " in text else text + line)
    answer = contracts_hold(house)
    assert answer.returncode != 0 and "BROKEN" in answer.stdout, answer.stdout + answer.stderr


def test_a_stray_file_is_seen(house: Path) -> None:
    (house / "tracker" / "helpers.py").write_text('"""An attic."""\n', encoding="utf-8")
    answer = contracts_hold(house)
    assert answer.returncode != 0 and "helpers" in answer.stdout + answer.stderr


def test_asking_for_help_loads_no_database_and_no_paper() -> None:
    heavy = ("sqlalchemy", "reportlab", "scipy", "flask", "openpyxl", "marshmallow", "alembic")
    script = (
        "import sys, tracker.cli as cli\n"
        "try: cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        f"print([name for name in {heavy!r} if name in sys.modules], file=sys.stderr)"
    )
    answer = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert answer.stderr.strip() == "[]"


def test_the_domain_loads_no_framework() -> None:
    script = (
        "import sys, pkgutil, importlib, tracker.domain as d\n"
        "[importlib.import_module(f'tracker.domain.{m.name}') for m in pkgutil.iter_modules(d.__path__)]\n"
        "print([n for n in ('flask', 'sqlalchemy', 'marshmallow', 'reportlab') if n in sys.modules])"
    )
    answer = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "[]"
