"""An installed program serves the same pages: whatever is not Python is named in setup.cfg too."""

from __future__ import annotations

from configparser import ConfigParser
from pathlib import Path

ROOT = Path(__file__).parents[2]


def package_data() -> dict[str, list[str]]:
    config = ConfigParser()
    config.read(ROOT / "setup.cfg")
    found = config["options.package_data"].items()
    return {package: [one.strip() for one in patterns.split(",")] for package, patterns in found}


def packed() -> set[Path]:
    """What setuptools takes along beside the modules: each pattern from its package's folder."""
    return {
        path
        for package, patterns in package_data().items()
        for pattern in patterns
        for path in ROOT.joinpath(*package.split(".")).glob(pattern)
        if path.is_file()
    }


def wanted() -> set[Path]:
    return {
        path
        for room in ("tracker", "labels")
        for path in (ROOT / room).rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc")
    }


def test_every_page_script_and_template_is_packed() -> None:
    assert any(path.suffix == ".html" for path in wanted()), "there are no templates at all"
    assert {str(path.relative_to(ROOT)) for path in wanted() - packed()} == set()


def test_no_pattern_names_nothing() -> None:
    for package, patterns in package_data().items():
        for pattern in patterns:
            assert list(ROOT.joinpath(*package.split(".")).glob(pattern)), f"{package}: {pattern}"


def test_every_folder_with_pages_is_a_package_that_is_found() -> None:
    rooms = {path.parents[1] for path in wanted() if path.suffix == ".html"}
    assert [room for room in rooms if not (room / "__init__.py").exists()] == []


def test_what_the_program_imports_is_installed_with_it() -> None:
    config = ConfigParser()
    config.read(ROOT / "setup.cfg")
    told = config["options"]["install_requires"].lower()
    assert all(name in told for name in ("argon2-cffi", "flask-wtf", "waitress", "zxcvbn", "qrcode"))
