"""The documents say what the program does today: every command, refusal, setting and formula has its heading."""

from __future__ import annotations

import argparse
import ast
import inspect
import re
import tomllib
from collections.abc import Iterator
from configparser import ConfigParser
from pathlib import Path

import pytest

from tests.commands import commands as all_commands
from tracker.app import create_app
from tracker.cli import ROOMS, parser
from tracker.domain.custody import KINDS
from tracker.domain.way import STATIONS, WAITING
from tracker.settings import VARIABLES, Settings
from tracker.steps.set_equipment import KINDS as EQUIPMENT
from tracker.storage.engine import Database

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


def headings(name: str) -> set[str]:
    text = (DOCS / name).read_text(encoding="utf-8")
    return {match.strip("` ") for match in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}


def commands() -> dict[str, argparse.ArgumentParser]:
    return all_commands(parser())


def raised_codes() -> dict[str, set[str]]:
    """Every refusal's code with the files that raise it, read from the source itself."""
    found: dict[str, set[str]] = {}
    for path in [*ROOT.glob("tracker/**/*.py"), *ROOT.glob("labels/*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for code in _codes_of(node):
                found.setdefault(code, set()).add(str(path.relative_to(ROOT)))
    return found


MAKERS = {
    "Refused",
    "NotFound",
    "Conflict",
    "Unavailable",
    "LabelError",
    "RowProblem",
    "_fault",
    "_one_of",
    "_bad_base",
}
CODE = re.compile(r"[a-z]+(-[a-z0-9]+)+")


def _codes_of(node: ast.AST) -> Iterator[str]:
    if not isinstance(node, ast.Call):
        return
    name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
    if name not in MAKERS:
        return
    for argument in node.args:
        if (
            isinstance(argument, ast.Constant)
            and isinstance(argument.value, str)
            and CODE.fullmatch(argument.value)
        ):
            yield argument.value
            return


def test_every_refusal_has_its_heading() -> None:
    missing = {code: files for code, files in raised_codes().items() if code not in headings("refusals.md")}
    assert not missing, f"docs/refusals.md lacks {missing}"


def test_no_refusal_is_explained_that_nothing_raises() -> None:
    source = "\n".join(
        path.read_text(encoding="utf-8")
        for path in [*ROOT.glob("tracker/**/*.py"), *ROOT.glob("labels/*.py")]
    )
    told = {heading for heading in headings("refusals.md") if CODE.fullmatch(heading)}
    assert told, "no refusal is explained at all"
    assert {code for code in told if f'"{code}"' not in source} == set()


def test_every_refusal_is_explained_in_words() -> None:
    text = (DOCS / "refusals.md").read_text(encoding="utf-8")
    sections = re.findall(r"^### (.+)\n+((?:(?!#).*\n?)*)", text, re.MULTILINE)
    assert sections
    short = [name for name, words in sections if len(words.split()) < 4]
    assert short == [], "these say nothing"


def test_every_command_has_its_heading() -> None:
    assert set(commands()) <= headings("commands.md")


@pytest.mark.parametrize("name", sorted(commands()))
def test_a_command_is_documented_with_every_option(name: str) -> None:
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    section = re.split(r"^### ", text, flags=re.MULTILINE)
    (mine,) = (part for part in section if part.split("\n", 1)[0].strip("` ") == name)
    shared = {"--help", "--json", "--database", "--by", "--at", "--late-reason", "--note"}
    options = {
        option for action in commands()[name]._actions for option in action.option_strings if option[1] == "-"
    }
    assert [option for option in sorted(options - shared) if f"`{option}" not in mine] == []


def test_every_setting_is_documented() -> None:
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    assert [name for name in VARIABLES.values() if f"`{name}`" not in text] == []


def test_every_room_of_commands_says_what_it_is() -> None:
    assert all(room.__doc__ for room in ROOMS)


def test_the_readme_opens_with_the_job_in_one_paragraph() -> None:
    blocks = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")
    assert blocks[0].startswith("# ")
    assert not blocks[1].startswith(("#", "-", "    ")) and len(blocks[1].split()) > 60


def readme_setup_commands() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return re.findall(r"^    (python3 -m venv .+)$", text, re.MULTILINE)


def test_the_readme_has_two_set_up_commands_and_ci_runs_the_second() -> None:
    first, second = readme_setup_commands()
    assert first.endswith("tracker demo")
    assert second in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_link_in_the_documents_leads_somewhere() -> None:
    broken = []
    for page in [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        *DOCS.rglob("*.md"),
        ROOT / "fixtures" / "README.md",
    ]:
        # Pictures are written like links, with a mark before.
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            if "://" not in target and not (page.parent / target).exists():
                broken.append(f"{page.relative_to(ROOT)}: {target}")
    assert broken == []


def test_the_changelog_tells_of_the_version_that_is_installed() -> None:
    config = ConfigParser()
    config.read(ROOT / "setup.cfg")
    assert f"## {config['metadata']['version']}" in (DOCS / "changelog.md").read_text(encoding="utf-8")


def test_only_tools_that_demand_it_have_a_place_in_pyproject() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert set(settings) == {"build-system", "tool"} and set(settings["tool"]) == {"ruff"}


# One guide for each audience; the doors' page leads to them.
GUIDES = ("field.md", "desk.md", "bench.md", "producer.md", "programme.md", "running.md")


def guides() -> str:
    return "\n".join((DOCS / name).read_text(encoding="utf-8") for name in GUIDES)


def pages() -> dict[str, str]:
    """The address of each page that a person opens, as the guides write it, with its view's name."""
    app = create_app(Database("sqlite://"), Settings(), "a key that only tests sign forms with")
    found = {}
    for rule in app.url_map.iter_rules():
        view = inspect.unwrap(app.view_functions[rule.endpoint])
        drawn = rule.endpoint != "static" and re.search(
            r"_template\(|page_html\(|_shown\(", inspect.getsource(view)
        )
        if "GET" in (rule.methods or ()) and drawn and not rule.rule.startswith("/t/"):
            found[rule.rule] = rule.endpoint
    return found


def named_as(address: str) -> re.Pattern[str]:
    """How a guide may write the address: a word in capitals for each of its variable parts."""
    return re.compile("`" + re.sub(r"<[^>]+>", "[A-Z]+", address) + "`")


def test_every_page_that_a_person_opens_is_named_in_a_guide() -> None:
    found, text = pages(), guides()
    assert len(found) > 40
    assert {address for address in found if not named_as(address).search(text)} == set()


def test_no_guide_names_an_address_that_is_none() -> None:
    app = create_app(Database("sqlite://"), Settings(), "a key that only tests sign forms with")
    known = {re.sub(r"<[^>]+>", "X", rule.rule) for rule in app.url_map.iter_rules()}
    told = re.findall(r"^\| [^|]+ \| ((?:`/[^`]*`(?:, )?)+) \|", guides(), re.MULTILINE)
    named = {address for cell in told for address in re.findall(r"`([^`]+)`", cell)}
    assert len(named) > 40
    assert {one for one in named if re.sub(r"\b[A-Z]{2,}\b|\bT/CODE\b", "X", one) not in known} <= {"/T/CODE"}


def test_every_guide_is_led_to_from_the_doors() -> None:
    text = (DOCS / "doors.md").read_text(encoding="utf-8")
    assert [name for name in GUIDES if f"({name})" not in text] == []


def test_the_glossary_has_every_state_station_and_wait() -> None:
    told = set(
        re.findall(r"^\| ([^|]+) \|", (DOCS / "glossary.md").read_text(encoding="utf-8"), re.MULTILINE)
    )
    words = {word.strip() for cell in told for word in cell.split(", ")}
    states = {state for kind in KINDS.values() for state in (*kind.frm, kind.to) if state}
    assert len(states) > 15
    assert states - words == set()
    assert set(STATIONS) - words == set()
    assert set(WAITING) - words == set()


def test_every_setting_that_is_a_record_is_told_to_the_lead() -> None:
    text = (DOCS / "programme.md").read_text(encoding="utf-8")
    for word in (
        "rules",
        "supplements",
        "column maps",
        "limits of check samples",
        "balances",
        *(f"{kind}s" for kind in EQUIPMENT),
        "places",
        "label sheets",
    ):
        assert re.search(rf"^\| [^|]*{word}", text, re.MULTILINE), word


def test_every_document_is_reached_from_the_readme() -> None:
    reached, waiting = set(), [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        for target in re.findall(r"\]\(([^)#]+\.md)\)", page.read_text(encoding="utf-8")):
            found = (page.parent / target).resolve()
            if "://" not in target and found not in reached:
                reached.add(found)
                waiting.append(found)
    pages = {path.resolve() for path in DOCS.glob("*.md")}
    assert {path.name for path in pages - reached} == set()
