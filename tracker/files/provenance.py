"""A lot's history in the words of W3C PROV: PROV-JSON (W3C Member Submission, 24 April 2013) and Turtle (PROV-O).

Things (lot, cores, bag, portion, ground sample, scan, report) are entities, what happened to them are activities, and
people, places and carriers are agents, named by their number. Types and roles of the trade are terms of our own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.domain.canonical import canonical

PROV, XSD = "http://www.w3.org/ns/prov#", "http://www.w3.org/2001/XMLSchema#"
RDFS = "http://www.w3.org/2000/01/rdf-schema#"
KINDS = {"person": "prov:Person", "carrier": "prov:Organization", "place": "hv:Place"}
ROLES = {
    "relinquished": "hv:relinquishedBy",
    "received": "hv:receivedBy",
    "transfer refused": "hv:refusedBy",
    "reported": "hv:authorisedBy",
}


@dataclass
class History:
    """What PROV says, each in the order it was said: names to their properties, and pairs of names."""

    base: str
    entities: dict[str, dict[str, Any]] = field(default_factory=dict)
    activities: dict[str, dict[str, Any]] = field(default_factory=dict)
    agents: dict[str, dict[str, Any]] = field(default_factory=dict)
    generated: list[tuple[str, str]] = field(default_factory=list)
    used: list[tuple[str, str]] = field(default_factory=list)
    derived: list[tuple[str, str]] = field(default_factory=list)
    revised: list[tuple[str, str]] = field(default_factory=list)
    invalidated: list[tuple[str, str]] = field(default_factory=list)
    informed: list[tuple[str, str]] = field(default_factory=list)
    associated: list[tuple[str, str, str]] = field(default_factory=list)


def history(lot: Mapping[str, Any]) -> History:
    """The history of a lot, from the lot.json of a bundle."""
    told = History(str(lot["base"]))
    for number, who in lot["people"].items():
        told.agents[f"hay:agent/{number}"] = {"type": KINDS[who["kind"]], "label": who["name"]}
    _Teller(told, lot).tell()
    return told


class _Teller:
    """Goes through the events once, knowing which things there are so far."""

    def __init__(self, told: History, lot: Mapping[str, Any]) -> None:
        self.told = told
        self.lot = lot
        self.name = f"hay:lot/{lot['lot']['number']}"
        # Of each sample: the thing that stands for it now, and those that reports rest on.
        self.now: dict[str, str] = {}
        self.rests_on: dict[str, list[str]] = {}
        self.reports: dict[str, str] = {}
        self.away: dict[str, str] = {}
        self.by_id: dict[str, str] = {}

    def tell(self) -> None:
        facts = {
            f"hv:{_camel(name)}": value for name, value in self.lot["lot"].items() if value not in (None, "")
        }
        self.told.entities[self.name] = {"type": "hv:HayLot", **facts}
        for one in self.lot["events"]:
            self._event(one["entry"], {**((one["words"] or {}).get("data") or {}), **one["entry"]["data"]})

    def _event(self, entry: Mapping[str, Any], data: Mapping[str, Any]) -> None:
        act, kind, life = f"hay:act/{entry['seq']}", entry["type"], entry["item"]
        self.by_id[entry["id"]] = act
        self.told.activities[act] = {
            "type": f"hv:{_capital(kind)}",
            "begun": str(data.get("started_at") or entry["occurred_at"]),
            "ended": entry["occurred_at"],
        }
        self.told.associated.append((act, f"hay:agent/{entry['by']}", ROLES.get(kind, "hv:doneBy")))
        made = getattr(self, f"_{kind.replace(' ', '_')}", None)
        if made is not None:
            made(act, life, data)
        else:
            self.told.used.append((act, self._thing(life)))

    def _thing(self, life: str) -> str:
        return self.now.get(life, self.name)

    def _made(self, act: str, thing: str, kind: str, *sources: str, **more: Any) -> None:
        self.told.entities[thing] = {
            "type": kind,
            **{f"hv:{name}": value for name, value in more.items() if value},
        }
        self.told.generated.append((thing, act))
        for source in sources:
            self.told.used.append((act, source))
            self.told.derived.append((thing, source))

    def _lot_registered(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self.told.generated.append((self.name, act))

    def _cored(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = f"hay:cores/{_number(life)}"
        self._made(act, thing, "hv:CoreSet", self.name, coreCount=data["cores_taken"], entry=data["entry"])
        self.now[life] = thing

    def _bagged(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = f"hay:bag/{data['code']}"
        self._made(act, thing, "hv:CompositeBag", self._thing(life))
        self.now[life] = thing
        self.rests_on[life] = [thing]

    def _sealed(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = self._thing(life)
        self.told.entities[thing]["hv:sealNumber"] = str(data.get("seal", ""))
        self.told.used.append((act, thing))

    def _relinquished(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self.told.used.append((act, self._thing(life)))
        self.told.associated.append((act, f"hay:agent/{data['to']['party']}", "hv:intendedReceiver"))
        self.away[life] = act

    def _received(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self.told.used.append((act, self._thing(life)))
        if life in self.away:
            self.told.informed.append((act, self.away.pop(life)))

    def _dry_weighed(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = f"hay:portion/{_number(life)}"
        self._made(act, thing, "hv:DriedSample", self._thing(life), ovenDryGrams=data.get("grams"))
        self.now[life] = thing
        self.rests_on.setdefault(life, []).append(thing)

    def _fine_ground(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = f"hay:ground/{_number(life)}"
        self._made(act, thing, "hv:GroundSample", self._thing(life), screenMm=data.get("screen_mm"))
        self.now[life] = thing

    def _scanned(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self._analysis(act, life, data, "hv:Scan")

    def _analysed_outside(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self._analysis(act, life, data, "hv:LaboratoryAnalysis")

    def _analysis(self, act: str, life: str, data: Mapping[str, Any], kind: str) -> None:
        thing = f"hay:analysis/{data['analysis']}"
        self._made(act, thing, kind, self._thing(life), source=data.get("source"))
        self.rests_on.setdefault(life, []).append(thing)

    def _reported(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        thing = f"hay:report/{data['report']}"
        self._made(act, thing, "hv:Report", *self.rests_on.get(life, [self._thing(life)]))
        before = self.reports.get(life)
        if before is not None:
            self.told.revised.append((thing, before))
            self.told.invalidated.append((before, act))
        self.reports[life] = thing

    def _amended(self, act: str, life: str, data: Mapping[str, Any]) -> None:
        self.told.used.append((act, self._thing(life)))
        if data["target"] in self.by_id:
            self.told.informed.append((act, self.by_id[data["target"]]))

    _undone = _amended


def prov_json(told: History) -> bytes:
    """The history as PROV-JSON, in one form."""
    found: dict[str, Any] = {"prefix": {"hay": f"{told.base}/id/", "hv": f"{told.base}/vocab#"}}
    found["entity"] = {name: _json(about) for name, about in told.entities.items()}
    found["activity"] = {
        name: {
            "prov:startTime": about["begun"],
            "prov:endTime": about["ended"],
            **_json({"type": about["type"]}),
        }
        for name, about in told.activities.items()
    }
    found["agent"] = {name: _json(about) for name, about in told.agents.items()}
    for name, first, second, pairs in _pairs(told):
        found[name] = {
            f"_:{name}{at}": {first: one, second: other} for at, (one, other) in enumerate(pairs, 1)
        }
    for at, (one, other) in enumerate(told.revised, len(told.derived) + 1):
        found["wasDerivedFrom"][f"_:wasDerivedFrom{at}"] = {
            "prov:generatedEntity": one,
            "prov:usedEntity": other,
            "prov:type": [_qualified("prov:Revision")],
        }
    found["wasAssociatedWith"] = {
        f"_:wasAssociatedWith{at}": {"prov:activity": act, "prov:agent": agent, "prov:role": _qualified(role)}
        for at, (act, agent, role) in enumerate(told.associated, 1)
    }
    return canonical({name: part for name, part in found.items() if part}) + b"\n"


def _pairs(told: History) -> Iterator[tuple[str, str, str, list[tuple[str, str]]]]:
    yield "wasGeneratedBy", "prov:entity", "prov:activity", told.generated
    yield "used", "prov:activity", "prov:entity", told.used
    yield "wasDerivedFrom", "prov:generatedEntity", "prov:usedEntity", told.derived
    yield "wasInvalidatedBy", "prov:entity", "prov:activity", told.invalidated
    yield "wasInformedBy", "prov:informed", "prov:informant", told.informed


def _json(about: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {"prov:type": [_qualified(about["type"])]}
    if "label" in about:
        found["prov:label"] = about["label"]
    return {**found, **{name: value for name, value in about.items() if name.startswith("hv:")}}


def _qualified(name: str) -> dict[str, str]:
    # As a plain text it would be no class once it is turned into RDF.
    return {"$": name, "type": "prov:QUALIFIED_NAME"}


def turtle(told: History) -> bytes:
    """The history as Turtle, in one form; the plain relations stand there, so that a path through them is found."""
    lines = [
        f"@prefix prov: <{PROV}> .",
        f"@prefix xsd: <{XSD}> .",
        f"@prefix rdfs: <{RDFS}> .",
        f"@prefix hv: <{told.base}/vocab#> .",
        "",
    ]
    more: dict[str, list[str]] = {}
    for name, one, other in _plain(told):
        more.setdefault(one, []).append(f"{name} {_iri(told, other)}")
    for act, agent, role in told.associated:
        more.setdefault(act, []).append(f"prov:wasAssociatedWith {_iri(told, agent)}")
        qualified = f"[ a prov:Association ; prov:agent {_iri(told, agent)} ; prov:hadRole {role} ]"
        more[act].append(f"prov:qualifiedAssociation {qualified}")
    for kind, things in (("Entity", told.entities), ("Activity", told.activities), ("Agent", told.agents)):
        for name, about in things.items():
            said = [f"a prov:{kind}, {about['type']}", *_said(about), *more.get(name, [])]
            lines.append(f"{_iri(told, name)} " + " ;\n    ".join(said) + " .")
    return ("\n".join(lines) + "\n").encode()


def _plain(told: History) -> Iterator[tuple[str, str, str]]:
    for name, pairs in (
        ("prov:wasGeneratedBy", told.generated),
        ("prov:used", told.used),
        ("prov:wasDerivedFrom", told.derived),
        ("prov:wasDerivedFrom", told.revised),
        ("prov:wasRevisionOf", told.revised),
        ("prov:wasInvalidatedBy", told.invalidated),
        ("prov:wasInformedBy", told.informed),
    ):
        for one, other in pairs:
            yield name, one, other


def _said(about: Mapping[str, Any]) -> Iterator[str]:
    if "label" in about:
        yield f"rdfs:label {_literal(about['label'])}"
    if "begun" in about:
        yield f'prov:startedAtTime "{about["begun"]}"^^xsd:dateTime'
        yield f'prov:endedAtTime "{about["ended"]}"^^xsd:dateTime'
    for name, value in about.items():
        if name.startswith("hv:"):
            yield f"{name} {_literal(value)}"


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    # A JSON string is a Turtle string too: the escapes of the one are among those of the other.
    return json.dumps(str(value), ensure_ascii=False)


def _iri(told: History, name: str) -> str:
    prefix, _, rest = name.partition(":")
    return f"<{told.base}/id/{rest}>" if prefix == "hay" else name


def _number(life: str) -> str:
    return life.split(" ")[1]


def _capital(words: str) -> str:
    return "".join(word.capitalize() for word in words.split())


def _camel(name: str) -> str:
    first, *rest = name.split("_")
    return first + "".join(word.capitalize() for word in rest)
