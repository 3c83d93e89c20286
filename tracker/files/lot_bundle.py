"""A lot's bundle: one zip with its whole history in open forms, the proof, the reports, and checksums.

lot.json is the source; events.csv and the two forms of PROV follow from it, and are made from it again when a bundle
is read, so that a bundle cannot contradict itself. The same lot gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracker import custody_check
from tracker.domain.canonical import canonical
from tracker.domain.log_entry import digest
from tracker.errors import Refused
from tracker.files.out import write_csv
from tracker.files.provenance import history, prov_json, turtle

FORM = "hay-lot/1"
MOST_BYTES, MOST_FILES = 100_000_000, 200
SUMS = "SHA256SUMS"
# Zip keeps no time before it, and ours shall not change from one day to the next.
WHEN = (1980, 1, 1, 0, 0, 0)
PAPERS = re.compile(r"(earlier/R-[0-9A-Z-]+-v\d+\.)?(report\.pdf|custody\.json|pdf)|custody_check\.py")
README = """A lot of hay, with everything that happened to it.

lot.json         the lot, its samples, every event, every analysis and report; the other files follow from it
events.csv       the events as a table
prov.json        the history as PROV-JSON, prov.ttl as Turtle (W3C PROV)
report.pdf       the latest report; earlier/ holds those that it replaced
custody.json     the proof of the latest report, the same that travels in its PDF
custody_check.py checks such a proof: python custody_check.py report.pdf   (needs Python and cryptography)
SHA256SUMS       checksums: sha256sum -c SHA256SUMS

Numbers with digits are text, times are RFC 3339 with the offset of the device, people are p1, p2, ... as lot.json
names them. The proof covers what was recorded, not whether it was true when it was recorded.
"""
COLUMNS = (
    "entry",
    "life",
    "what",
    "occurred_at",
    "recorded_at",
    "by",
    "name",
    "role",
    "device",
    "note",
    "late_reason",
    "data",
)


@dataclass(frozen=True)
class Bundle:
    """lot: what lot.json says; papers: reports and proofs by their name in the zip."""

    lot: Mapping[str, Any]
    papers: Mapping[str, bytes]


def write_bundle(bundle: Bundle) -> bytes:
    """The zip; the same bundle gives the same bytes."""
    # In the order in which it will be read back, for the forms of PROV keep the order of lot.json.
    lot = json.loads(canonical(bundle.lot))
    files = {**_derived(lot), **bundle.papers, "custody_check.py": _program()}
    sums = "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))
    files[SUMS] = sums.encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, WHEN)
            entry.external_attr = 0o644 << 16
            packed.writestr(entry, files[name], zipfile.ZIP_DEFLATED, 9)
    return out.getvalue()


def read_bundle(content: bytes) -> Bundle:
    """The bundle, if it is whole and agrees with itself.

    Raises Refused `not-a-bundle`, `bundle-damaged` (a checksum), `bundle-contradicts` (a file that does not follow
    from lot.json, or a proof of something else) and `bundle-not-proven`.
    """
    files = _unpacked(content)
    _check_sums(files)
    try:
        lot = json.loads(files["lot.json"])
        if lot["form"] != FORM or canonical(lot) + b"\n" != files["lot.json"]:
            raise ValueError
        derived = _derived(lot)
        _check_values(lot)
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError):
        raise _refused("not-a-bundle", "lot.json is no lot of this form", "lot.json") from None
    for name, wanted in derived.items():
        if files.get(name) != wanted:
            raise _refused("bundle-contradicts", f"{name} does not follow from lot.json", name)
    papers = {name: files[name] for name in files if name not in derived and name != SUMS}
    for name in papers:
        if not PAPERS.fullmatch(name):
            raise _refused("not-a-bundle", f"{name} does not belong to a bundle", name)
    # Whose program it is decides nothing here; this one checks.
    papers.pop("custody_check.py", None)
    bundle = Bundle(lot, papers)
    for name in proofs(bundle):
        _check_proof(bundle, name)
    return bundle


def proofs(bundle: Bundle) -> list[str]:
    """The names of the proofs in it."""
    return sorted(name for name in bundle.papers if name.endswith("custody.json"))


def _derived(lot: Mapping[str, Any]) -> dict[str, bytes]:
    told = history(lot)
    return {
        "README.txt": README.encode(),
        "lot.json": canonical(lot) + b"\n",
        "events.csv": write_csv([COLUMNS, *(_row(one, lot["people"]) for one in lot["events"])]),
        "prov.json": prov_json(told),
        "prov.ttl": turtle(told),
    }


def _row(one: Mapping[str, Any], people: Mapping[str, Any]) -> tuple[object, ...]:
    entry, words = one["entry"], one["words"] or {}
    data = {**entry["data"], **(words.get("data") or {})}
    return (
        entry["seq"],
        entry["item"],
        entry["type"],
        entry["occurred_at"],
        entry["recorded_at"],
        entry["by"],
        people[entry["by"]]["name"],
        entry["role"],
        words.get("device"),
        words.get("note"),
        words.get("late_reason"),
        canonical(data).decode(),
    )


def _program() -> bytes:
    return Path(custody_check.__file__).read_bytes()


def _unpacked(content: bytes) -> dict[str, bytes]:
    """Every file by its name. What is too large is refused before it is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            inside = packed.infolist()
            names = [one.filename for one in inside]
            if len(set(names)) < len(names) or len(names) > MOST_FILES:
                raise _refused("not-a-bundle", "a name stands in it twice, or it holds too many files", None)
            if sum(one.file_size for one in inside) > MOST_BYTES:
                raise _refused("not-a-bundle", f"unpacked it would be more than {MOST_BYTES} bytes", None)
            return {one.filename: packed.read(one) for one in inside}
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError) as fault:
        raise _refused("not-a-bundle", f"it cannot be unpacked ({fault})", None) from None


def _check_sums(files: Mapping[str, bytes]) -> None:
    wanted = "".join(
        f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files) if name != SUMS
    )
    said = files.get(SUMS, b"").decode("utf-8", errors="replace")
    if said == wanted:
        return
    right = set(wanted.splitlines())
    wrong = [line.partition("  ")[2] for line in said.splitlines() if line not in right]
    raise _refused(
        "bundle-damaged", f"its checksums are not those of its files: {', '.join(wrong) or SUMS}", None
    )


def _check_values(lot: Mapping[str, Any]) -> None:
    """Each analysis has the values that its entry in the log was written with."""
    logged = {one["entry"]["id"]: one["entry"]["data"].get("values_sha256") for one in lot["events"]}
    for analysis in lot["analyses"]:
        rows = sorted(
            [
                one[name]
                for name in ("constituent", "value", "unit", "basis", "method", "calibration", "qualifier")
            ]
            for one in analysis["values"]
        )
        if logged.get(analysis["event"]) not in (None, digest(rows)):
            raise _refused("bundle-contradicts", "an analysis has other values than were logged", "lot.json")


def _check_proof(bundle: Bundle, name: str) -> None:
    """The proof holds, proves what lot.json says, and is the one in the report's PDF."""
    record = bundle.papers[name]
    try:
        custody_check.check(record)
        pdf = bundle.papers.get(name.replace("custody.json", "report.pdf" if "/" not in name else "pdf"))
        in_pdf = None if pdf is None else custody_check.record_in(pdf)
    except custody_check.NotProven as why:
        raise _refused("bundle-not-proven", f"{name} proves nothing: {why}", name) from None
    found = json.loads(record)
    kept = {one["entry"]["seq"]: one for one in bundle.lot["events"]}
    if any(kept.get(one["entry"]["seq"]) != one for one in found["events"]):
        raise _refused("bundle-contradicts", f"{name} tells of other events than lot.json", name)
    if found["report"] not in [one["body"] for one in bundle.lot["reports"]]:
        raise _refused("bundle-contradicts", f"{name} proves a report that lot.json has not", name)
    if in_pdf != record:
        raise _refused("bundle-contradicts", f"{name} is not the proof that is in its PDF", name)


def _refused(code: str, words: str, field: str | None) -> Refused:
    return Refused(
        code,
        f"This bundle cannot be relied on: {words}.",
        field=field,
        remedy="Ask whoever made it for another copy.",
    )
