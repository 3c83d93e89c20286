"""The QR reader is fetched by the lock file, whole or not at all, and a build without npm says so and goes on."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from tracker.cli import main
from tracker.web.field import reader

ROOT = Path(__file__).parents[3]


def test_the_lock_file_fixes_one_version_with_its_checksum() -> None:
    lock = json.loads((reader.LOCK / "package-lock.json").read_text(encoding="utf-8"))
    asked = json.loads((reader.LOCK / "package.json").read_text(encoding="utf-8"))["dependencies"]
    found = lock["packages"][f"node_modules/{reader.PACKAGE}"]
    assert asked == {reader.PACKAGE: found["version"]}
    assert found["integrity"].startswith("sha512-") and found["license"] == "MIT"


def test_the_reader_is_here_or_the_tests_of_scanning_try_nothing() -> None:
    assert reader.stands(), "run `tracker fetch-reader`: it needs npm and the npm registry"


def test_the_reader_is_never_committed() -> None:
    asked = ["git", "ls-files", "tracker/web/static/reader"]
    listed = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=False)
    assert listed.stdout == ""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    assert "/tracker/web/static/reader/" in ignored


def test_without_npm_the_command_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(reader.shutil, "which", lambda _: None)
    assert main(["fetch-reader"]) == 1
    said = capsys.readouterr().err
    assert "reader-missing" in said and "Install Node.js with npm" in said


def fake_npm(folder: Path, words: str) -> str:
    npm = folder / "npm"
    npm.write_text(f"#!/bin/sh\n{words}\n", encoding="utf-8")
    npm.chmod(0o755)
    return str(npm)


def test_what_npm_complains_of_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    npm = fake_npm(tmp_path, "echo 'npm error EINTEGRITY checksum differs' >&2; exit 1")
    monkeypatch.setattr(reader.shutil, "which", lambda _: npm)
    with pytest.raises(reader.ReaderMissing, match="EINTEGRITY"):
        reader.fetch(tmp_path / "place")
    assert not (tmp_path / "place").exists()


def test_npm_is_asked_for_the_locked_package_and_runs_none_of_its_scripts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = " && ".join(
        f"mkdir -p $(dirname node_modules/{reader.PACKAGE}/{name})"
        f" && echo {name} > node_modules/{reader.PACKAGE}/{name}"
        for name in reader.FILES.values()
    )
    told = tmp_path / "told"
    npm = fake_npm(tmp_path, f'echo "$@" > {told}; test -f package-lock.json && {made}')
    monkeypatch.setattr(reader.shutil, "which", lambda _: npm)
    reader.fetch(tmp_path / "place")
    assert told.read_text().startswith("ci --ignore-scripts")
    assert reader.stands(tmp_path / "place")
