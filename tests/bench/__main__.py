"""Measure everything and say it: a JSON of all figures, and the table of docs/speed.md.

    python -m tests.bench [--quick] [--season] [--only tags,help] [--out FOLDER]

Each benchmark runs in a program of its own, so that its memory is its own.
"""

from __future__ import annotations

import argparse
import json
import platform
import resource
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.figures import Figure, table

ROOT = Path(__file__).parents[2]
BEGIN, END = "<!-- measured -->\n", "<!-- end -->\n"
Bench = Callable[[bool], list[Figure]]


def tags(quick: bool) -> list[Figure]:
    from tests.bench.labels_bench import measure

    return measure(quick)


def imports(quick: bool) -> list[Figure]:
    from tests.bench.imports import measure

    found = measure(200 if quick else 100_000)
    what = f"csv and executemany / import of {found.rows:,} rows x {found.constituents}"
    return [
        Figure("import", what, found.share, "%", 50, most=False),
        Figure("import", "rows a second", found.rows_a_second, "rows/s"),
    ]


def queue(quick: bool) -> list[Figure]:
    import tempfile

    from tests.bench.writers import measure
    from tests.conftest import build_season

    with tempfile.TemporaryDirectory(prefix="hay-bench-") as folder:
        address = f"sqlite:///{folder}/season.db"
        build_season(address)
        found = measure(address, programs=2 if quick else 4, threads=2, times=10 if quick else 200)
    return [
        Figure("writers", f"updates lost of {found.writers * found.times:,}", found.lost, "lost", 0),
        Figure("writers", f"programs turned away of {found.writers // 2}", found.refused, "refused", 0),
        Figure("writers", "turns of another while the worst off waited once", found.overtaken, "turns", 2),
        Figure("writers", "the longest wait of a writer among 8", found.longest_wait, "s", 2),
    ]


def audit(quick: bool) -> list[Figure]:
    from tests.bench.audit_bench import figures

    return figures(quick)


def season(quick: bool) -> list[Figure]:
    from tests.bench import curve
    from tests.bench.acts_bench import tag_page_grown
    from tests.bench.season import figures

    grown = curve.figures(curve.curve((12, 24) if quick else curve.SIZES))
    return [*figures(quick), *grown, tag_page_grown(quick)]


def plan(quick: bool) -> list[Figure]:
    from tests.bench.plan_bench import measure

    return measure(quick)


def _acts(name: str) -> Bench:
    def run(quick: bool) -> list[Figure]:
        from tests.bench import acts_bench

        found: list[Figure] = getattr(acts_bench, name)(quick)
        return found

    return run


BENCHES: dict[str, Bench] = {
    "tags": tags,
    "tag-page": _acts("tag_page"),
    "import": imports,
    "weighing": _acts("weighing"),
    "custody": _acts("custody"),
    "report": _acts("report"),
    "lead": _acts("lead"),
    "audit": audit,
    "writers": queue,
    "season-plan": plan,
    "help": _acts("help_"),
}
SEASON = "season"


def one(name: str, quick: bool) -> list[Figure]:
    """The figures of one benchmark with the memory that this program took for it."""
    figures = season(quick) if name == SEASON else BENCHES[name](quick)
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return [*figures, Figure(figures[0].bench, "memory at the most", round(megabytes), "MB")]


def apart(name: str, quick: bool) -> list[Figure]:
    """The same in a program of its own."""
    words = [sys.executable, "-m", "tests.bench", "--one", name, *(["--quick"] if quick else [])]
    ran = subprocess.run(words, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    return [Figure(**values) for values in json.loads(ran.stdout.splitlines()[-1])]


def write(figures: list[Figure], out: Path, quick: bool) -> None:
    """The JSON; and, of a whole run, the table in docs/speed.md."""
    when = datetime.now(UTC)
    machine = {
        "python": platform.python_version(),
        "machine": platform.machine(),
        "system": platform.system(),
    }
    values = [{**asdict(figure), "met": figure.met} for figure in figures]
    out.mkdir(parents=True, exist_ok=True)
    body = json.dumps({"at": when.isoformat(), "on": machine, "figures": values}, indent=1)
    (out / "speed.json").write_text(body, encoding="utf-8")
    page = ROOT / "docs" / "speed.md"
    text = page.read_text(encoding="utf-8")
    if quick or BEGIN not in text:
        return
    before, rest = text.split(BEGIN, 1)
    after = rest.split(END, 1)[1]
    said = f"Measured on {when:%Y-%m-%d}, Python {machine['python']} on {machine['system']} {machine['machine']}.\n\n"
    page.write_text(f"{before}{BEGIN}\n{said}{table(figures)}\n{END}{after}", encoding="utf-8")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--quick", action="store_true", help="tiny sizes, to see that everything runs")
    asked.add_argument("--only", default="", help=f"some of {', '.join(BENCHES)}")
    asked.add_argument("--out", type=Path, default=ROOT / "bench-results")
    asked.add_argument("--season", action="store_true", help="a simulated season and the curve too")
    asked.add_argument("--one", help=argparse.SUPPRESS)
    told = asked.parse_args()
    if told.one:
        print(json.dumps([asdict(figure) for figure in one(told.one, told.quick)]))
        return
    figures: list[Figure] = []
    names = told.only.split(",") if told.only else list(BENCHES)
    for name in [*names, *([SEASON] if told.season else [])]:
        print(f"{name} ...", flush=True)
        figures += apart(name, told.quick)
    write(figures, told.out, told.quick or bool(told.only))
    print(table(figures))


if __name__ == "__main__":
    main()
