"""A lot's bundle: whole, the same again, open to tools that know nothing of us, and refused when it was changed."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from prov.model import ProvDocument
from pyshacl import validate
from rdflib import Graph, URIRef
from sqlalchemy import select, text

from tests import makers
from tests.makers import act, code_of, done
from tests.result_files import (
    SETTINGS,
    WET,
    Bench,
    released,
    row,
    taken_in,
    wet_row,
    wet_written,
    written,
)
from tracker.custody_check import check
from tracker.errors import Refused
from tracker.files.key_file import KeyFile
from tracker.files.lot_bundle import Bundle, read_bundle, write_bundle
from tracker.files.provenance import history, prov_json, turtle
from tracker.lookups.kept_bundles import kept_bundle, kept_lots
from tracker.lookups.whole_lot import whole_lot
from tracker.papers.bundled import bundle_of
from tracker.steps.amend import amend
from tracker.steps.hold import lift_hold
from tracker.steps.keep_bundle import keep_bundle
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.lots import Lot

BASE = "https://localhost"
PROV = "http://www.w3.org/ns/prov#"


@pytest.fixture
def lot(bench: Bench, tmp_path: Path) -> Bench:
    """The first lot scanned, reported, corrected, analysed outside, and reported anew, in a signed log."""
    bench.season.key_file = KeyFile(tmp_path / "season.key")
    bench.season.key_file.make("hay.example")
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, bench.samples[0])
    seq, said = entry_of(bench, "dry weighed"), {"grams": "250.1"}
    done(bench.season, lambda s: amend(s, seq, said, act(s, "carl", 1510), reason="=misread \u2014 \u00fc"))
    taken_in(bench, wet_written([wet_row(bench.codes[0])]), source=WET, name="wet.csv", minute=1520)
    done(
        bench.season, lambda s: lift_hold(s, bench.samples[0], act(s, "lena", 1530), reason="both are right")
    )
    released(bench, bench.samples[0], minute=1600, reason="the outside values are in")
    return bench


def entry_of(bench: Bench, kind: str) -> int:
    with bench.season.read() as session:
        found = session.query(EventRow.seq).where(
            EventRow.sample_id == bench.samples[0].id, EventRow.kind == kind
        )
        return int(found.scalar())


def exported(bench: Bench) -> bytes:
    with bench.season.read() as session:
        return bundle_of(session, bench.samples[0].lot_id, SETTINGS)


def files(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def packed(inside: dict[str, bytes], *, summed: bool = True) -> bytes:
    """A zip of these files, with checksums that fit them."""
    if summed:
        names = sorted(name for name in inside if name != "SHA256SUMS")
        sums = "".join(f"{hashlib.sha256(inside[name]).hexdigest()}  {name}\n" for name in names)
        inside = {**inside, "SHA256SUMS": sums.encode()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in inside.items():
            made.writestr(name, content)
    return out.getvalue()


def test_the_bundle_holds_every_file_that_is_promised(lot: Bench) -> None:
    code = lot.codes[0]
    assert set(files(exported(lot))) == {
        "README.txt",
        "SHA256SUMS",
        "custody.json",
        "custody_check.py",
        f"earlier/R-{code}-v1.custody.json",
        f"earlier/R-{code}-v1.pdf",
        "events.csv",
        "lot.json",
        "prov.json",
        "prov.ttl",
        "report.pdf",
    }


def test_read_and_written_again_the_bundle_is_equal_byte_for_byte(lot: Bench) -> None:
    content = exported(lot)
    assert write_bundle(read_bundle(content)) == content
    assert exported(lot) == content


def test_the_checksums_are_those_that_sha256sum_knows(lot: Bench) -> None:
    inside = files(exported(lot))
    for line in inside["SHA256SUMS"].decode().splitlines():
        digest, name = line.split("  ")
        assert hashlib.sha256(inside[name]).hexdigest() == digest


def test_the_proofs_in_it_hold_and_are_those_in_the_pdfs(lot: Bench) -> None:
    inside = files(exported(lot))
    assert check(inside["custody.json"])["report"] == f"R-{lot.codes[0]}-v2"
    assert check(inside["report.pdf"])["report"] == f"R-{lot.codes[0]}-v2"
    assert check(inside[f"earlier/R-{lot.codes[0]}-v1.pdf"])["report"] == f"R-{lot.codes[0]}-v1"


def test_the_table_of_events_is_safe_in_a_spreadsheet(lot: Bench) -> None:
    lines = files(exported(lot))["events.csv"].decode().split("\r\n")
    assert lines[0].startswith("entry,life,what,occurred_at")
    (amended,) = [line for line in lines if ",amended," in line]
    assert "misread \u2014 \u00fc" in amended and ",Carl Otis,clerk," in amended
    assert not any(cell.startswith("=") for line in lines for cell in line.split(","))


def test_no_sign_in_name_leaves_the_house(lot: Bench) -> None:
    inside = files(exported(lot))
    for name in ("lot.json", "events.csv", "prov.json", "prov.ttl", "custody.json"):
        content = inside[name].decode()
        for key in ("tove", "carl", "ana", "lena"):
            assert f'"{key}"' not in content and f",{key}," not in content, f"{key} in {name}"


def test_taken_in_by_another_office_and_exported_there_the_bundle_is_equal(
    lot: Bench, season: Database
) -> None:
    content = exported(lot)
    with season.act("import-bundle", "ana", {}) as session:
        kept = keep_bundle(session, content, act(session, "ana", 2000))
        again = keep_bundle(session, content, act(session, "ana", 2001))
    assert (kept.known, again.known, again.number) == (False, True, kept.number)
    with season.read() as session:
        assert write_bundle(kept_bundle(session, kept.number)) == content
        (line,) = kept_lots(session)
        assert session.scalars(select(Lot)).all() == [], "it is no lot of that office"
    assert (line.lot, line.field, line.by) == (lot.samples[0].lot_id, "Long field", "ana")
    assert line.reports == (f"R-{lot.codes[0]}-v1", f"R-{lot.codes[0]}-v2")


def test_a_changed_bundle_is_not_taken_in(lot: Bench, season: Database) -> None:
    wrong = respelled(exported(lot), lambda told: told["events"].pop(4))
    refusal = makers.refused(season, lambda s: keep_bundle(s, wrong, act(s, "ana", 2000)), by="ana")
    assert refusal.code == "bundle-contradicts"
    refusal = makers.refused(season, lambda s: keep_bundle(s, exported(lot), act(s, "tove", 2000)))
    assert refusal.code == "not-allowed"


# --- What independent tools make of it


def test_an_independent_reader_of_prov_json_reads_it_and_writes_the_same(lot: Bench) -> None:
    content = files(exported(lot))["prov.json"].decode()
    document = ProvDocument.deserialize(content=content, format="json")
    assert ProvDocument.deserialize(content=document.serialize(format="json"), format="json") == document
    counted = json.loads(content)
    assert len(list(document.get_records())) == sum(
        len(counted[name]) for name in counted if name != "prefix"
    )


def graph(lot: Bench) -> Graph:
    return Graph().parse(data=files(exported(lot))["prov.ttl"].decode(), format="turtle")


def test_a_path_in_sparql_leads_from_the_last_report_to_the_lot(lot: Bench) -> None:
    found = graph(lot).query(
        f"""select distinct ?kind where {{
            <{BASE}/id/report/R-{lot.codes[0]}-v2> <{PROV}wasDerivedFrom>+ ?thing .
            ?thing a ?kind . filter(strstarts(str(?kind), "{BASE}/vocab#")) }}"""
    )
    kinds = {str(line[0]).rpartition("#")[2] for line in found}  # type: ignore[index]
    assert kinds == {
        "Report",
        "Scan",
        "LaboratoryAnalysis",
        "GroundSample",
        "DriedSample",
        "CompositeBag",
        "CoreSet",
        "HayLot",
    }


def test_both_forms_of_prov_say_the_same(lot: Bench) -> None:
    told, turtle_said = json.loads(files(exported(lot))["prov.json"]), graph(lot)

    def iri(name: str) -> URIRef:
        return URIRef(name.replace("hay:", f"{BASE}/id/"))

    for name, first, second in (
        ("wasDerivedFrom", "prov:generatedEntity", "prov:usedEntity"),
        ("used", "prov:activity", "prov:entity"),
        ("wasGeneratedBy", "prov:entity", "prov:activity"),
        ("wasAssociatedWith", "prov:activity", "prov:agent"),
        ("wasInformedBy", "prov:informed", "prov:informant"),
        ("wasInvalidatedBy", "prov:entity", "prov:activity"),
    ):
        pairs = {(iri(one[first]), iri(one[second])) for one in told[name].values()}
        assert pairs == set(turtle_said.subject_objects(URIRef(PROV + name))), name
        assert pairs
    for kind in ("Entity", "Activity", "Agent"):
        named = {iri(name) for name in told[kind.lower()]}
        a = URIRef("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
        assert named == set(turtle_said.subjects(a, URIRef(PROV + kind)))


SHAPES = f"""
@prefix sh: <http://www.w3.org/ns/shacl#> . @prefix prov: <{PROV}> . @prefix hv: <{BASE}/vocab#> .
@prefix xsd: <http://www.w3.org/2001/XMLSchema#> .
[] a sh:NodeShape ; sh:targetClass hv:CompositeBag ;
   sh:property [ sh:path hv:sealNumber ; sh:minCount 1 ] ;
   sh:property [ sh:path prov:wasDerivedFrom ; sh:minCount 1 ; sh:class hv:CoreSet ] .
[] a sh:NodeShape ; sh:targetClass hv:Report ;
   sh:sparql [ sh:message "a report traces to exactly one lot" ; sh:select '''
     select $this where {{ {{ select $this (count(distinct ?lot) as ?lots) where {{
       $this <{PROV}wasDerivedFrom>* ?thing . optional {{ ?thing a <{BASE}/vocab#HayLot> . bind(?thing as ?lot) }} }}
       group by $this }} filter(?lots != 1) }}''' ] .
[] a sh:NodeShape ; sh:targetClass prov:Activity ;
   sh:property [ sh:path prov:startedAtTime ; sh:minCount 1 ; sh:datatype xsd:dateTime ;
                 sh:lessThanOrEquals prov:endedAtTime ] ;
   sh:property [ sh:path prov:wasAssociatedWith ; sh:minCount 1 ; sh:class prov:Agent ] .
"""


def violations(data: Graph) -> int:
    _, report, _ = validate(data, shacl_graph=Graph().parse(data=SHAPES, format="turtle"))
    return len(list(report.subjects(None, URIRef("http://www.w3.org/ns/shacl#ValidationResult"))))


def test_the_history_has_the_shape_that_custody_asks_of_it(lot: Bench) -> None:
    told = graph(lot)
    assert violations(told) == 0
    # The shapes see what is missing: without its cores no bag has a parent, and no report leads to a lot.
    told.remove((URIRef(f"{BASE}/id/bag/{lot.codes[0]}"), URIRef(f"{PROV}wasDerivedFrom"), None))
    assert violations(told) == 3


# --- What is refused


def refused(content: bytes) -> str:
    with pytest.raises(Refused) as caught:
        read_bundle(content)
    return code_of(caught)


def test_any_file_changed_is_seen_by_its_checksum(lot: Bench) -> None:
    inside = files(exported(lot))
    for name in inside:
        if name != "SHA256SUMS":
            wrong = {**inside, name: inside[name] + b" "}
            assert refused(packed(wrong, summed=False)) == "bundle-damaged"
    assert refused(packed({**inside, "more.txt": b""}, summed=False)) == "bundle-damaged"
    assert (
        refused(packed({k: v for k, v in inside.items() if k != "prov.ttl"}, summed=False))
        == "bundle-damaged"
    )


def respelled(content: bytes, change: Callable[[Any], Any]) -> bytes:
    """The bundle with its lot changed and everything that follows from it made anew, checksums too."""
    bundle = read_bundle(content)
    lot = json.loads(json.dumps(bundle.lot))
    change(lot)
    return write_bundle(Bundle(lot, bundle.papers))


def test_with_checksums_made_anew_a_change_is_still_seen(lot: Bench) -> None:
    content = exported(lot)
    inside = files(content)
    for name in ("events.csv", "prov.json", "prov.ttl", "README.txt"):
        assert refused(packed({**inside, name: inside[name] + b" "})) == "bundle-contradicts"
    assert refused(packed({**inside, "lot.json": inside["lot.json"] + b" "})) == "not-a-bundle"
    assert refused(packed({**inside, "custody.json": inside["custody.json"][:-1]})) == "bundle-not-proven"
    earlier = f"earlier/R-{lot.codes[0]}-v1.pdf"
    assert refused(packed({**inside, "report.pdf": inside[earlier]})) == "bundle-contradicts"
    assert refused(packed({**inside, "virus.exe": b"MZ"})) == "not-a-bundle"
    assert refused(packed({**inside, "../../etc/passwd": b""})) == "not-a-bundle"


@pytest.mark.parametrize(
    "change",
    [
        lambda lot: lot["events"][8]["entry"]["data"].update(grams="240.0"),
        lambda lot: lot["events"].pop(4),
        lambda lot: lot["events"][3]["words"].update(note="all well"),
        lambda lot: lot["analyses"][0]["values"][1].update(value="28.6"),
        lambda lot: lot["reports"][1]["body"].update(gaps=["none"]),
    ],
)
def test_a_lot_told_otherwise_in_every_file_is_seen_by_the_proof(
    lot: Bench, change: Callable[[Any], Any]
) -> None:
    assert refused(respelled(exported(lot), change)) == "bundle-contradicts"


@pytest.mark.parametrize("content", [b"", b"PK", b"%PDF-1.4", b"\x00" * 400])
def test_what_is_no_zip_is_refused(content: bytes) -> None:
    assert refused(content) == "not-a-bundle"


def test_a_zip_that_would_fill_the_disk_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for number in range(3):
            made.writestr(f"lot{number}.json", b"0" * 40_000_000)
    assert len(out.getvalue()) < 1_000_000
    assert refused(out.getvalue()) == "not-a-bundle"


def test_a_lot_without_a_report_has_a_bundle_with_no_proof(bench: Bench) -> None:
    content = exported(bench)
    assert "custody.json" not in files(content)
    assert write_bundle(read_bundle(content)) == content


def test_words_that_were_taken_out_are_in_no_bundle_and_the_rest_is(lot: Bench) -> None:
    with lot.season.act("erase", "lena", {}) as session:
        session.execute(
            text("delete from entry_salt where seq in (select seq from event where kind = 'amended')")
        )
    content = exported(lot)
    assert write_bundle(read_bundle(content)) == content
    inside = files(content)
    events = json.loads(inside["lot.json"])["events"]
    assert [one["words"] for one in events if one["entry"]["type"] == "amended"] == [None]
    assert "misread" not in inside["events.csv"].decode() and "misread" not in inside["prov.ttl"].decode()


def test_a_lot_in_the_middle_of_its_way_is_told_too(bench: Bench) -> None:
    with bench.season.read() as session:
        told = history(whole_lot(session, bench.samples[1].lot_id, SETTINGS))
    assert Graph().parse(data=turtle(told).decode(), format="turtle")
    assert ProvDocument.deserialize(content=prov_json(told).decode(), format="json")
    assert not any(name.startswith("hay:report/") for name in told.entities)
