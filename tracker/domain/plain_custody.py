"""Who had the sample and what was done with it, in a producer's words; the report tells every entry in full."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# What is no step of the sample, but of the office, is left to the report.
_SAID: Mapping[str, str] = {
    "bagged": "closed the bag",
    "tag replaced": "put a new tag on the bag",
    "sealed": "sealed the bag",
    "transfer refused": "did not take the bag",
    "taken out": "took the bag out again",
    "seal broken": "opened the seal",
    "fresh weighed": "weighed it fresh",
    "oven in": "put it in the oven",
    "oven out": "took it out of the oven",
    "dry weighed": "weighed it dry",
    "coarse ground": "ground it coarse",
    "fine ground": "ground it fine",
    "scanned": "tested it",
    "analysed outside": "took in the test of another laboratory",
    "reported": "released the report",
    "held": "stopped the work: something was not clear",
    "hold lifted": "decided, and the work went on",
    "disposed": "threw the rest away",
    "returned": "gave it back",
    "lost": "found that it is lost",
    "cancelled": "called it off",
    "amended": "put an entry right",
}


def custody_said(kind: str, data: Mapping[str, Any], names: Mapping[str, str]) -> str | None:
    """What somebody did, to be read after his name; None for what the report alone tells."""
    if kind == "cored":
        return f"took {data['cores_taken']} cores"
    if kind == "relinquished":
        return f"gave the bag to {_name(data['to'], names)}"
    if kind in ("stored", "archived"):
        return f"put it in {_name(data['place'], names)}"
    if kind == "received":
        seen = ", ".join(data.get("condition") or ())
        return f"took the bag, {seen}" if seen else "took the bag"
    return _SAID.get(kind)


def _name(party: Mapping[str, Any], names: Mapping[str, str]) -> str:
    return names.get(str(party["party"]), str(party["party"]))
