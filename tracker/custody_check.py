"""Checks the custody record in a report of hay analysis, with no server and nothing installed but `cryptography`.

    python custody_check.py REPORT.pdf [--key LINE]

REPORT may be the PDF, or the custody.json in a lot's bundle. --key is the laboratory's public key as it publishes it
(name+id+key); without it the check can only say by which key the record is signed, and you compare that yourself.

What holds if this says so: the record is, to the last byte, the one that the laboratory's log had when the head was
signed: these entries in this order, none left out between, and this report. What does not follow: that an entry was
true when it was written. Compare the figures below with the paper: the paper itself is not checked.

The form (all bytes count): one JSON text as RFC 8785 writes it, and a line feed. Leaf = SHA-256(00 || entry), node =
SHA-256(01 || left || right) as in RFC 9162; words of an entry = SHA-256(salt || words); the head is a signed note
with Ed25519 (RFC 8032), key id = first 4 bytes of SHA-256(name || 0A || 01 || key).
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import sys
from pathlib import Path
from typing import Any

FORM = "custody-record/1"
ENTRY = {
    "by",
    "data",
    "id",
    "item",
    "lot",
    "occurred_at",
    "prev",
    "recorded_at",
    "role",
    "seq",
    "type",
    "v",
    "words",
}
RECORD = {"events", "form", "head", "index", "key", "proof", "report"}
MARK = b"/HaySampleCustodyRecord"


class NotProven(Exception):
    """The record does not hold, and why."""


def need(holds: bool, words: str) -> None:
    """Raises NotProven with the words unless it holds."""
    if not holds:
        raise NotProven(words)


def record_in(content: bytes) -> bytes:
    """The bytes of the record: a PDF's attachment as it lies there, or the whole of another file."""
    if not content.startswith(b"%PDF"):
        return content
    found = re.findall(rb"<<([^<>]*" + MARK + rb"[^<>]*)>>\r?\nstream\r?\n", content)
    need(len(found) == 1, f"{len(found)} records are attached to this PDF; a report has one.")
    length = re.search(rb"/Length (\d+)", found[0])
    need(length is not None, "The attachment does not say how long it is.")
    start = re.search(re.escape(found[0]) + rb">>\r?\nstream\r?\n", content)
    assert length is not None and start is not None
    return content[start.end() : start.end() + int(length[1])]


def text_of(value: Any) -> bytes:
    """The one text of a value that holds no fractions, with its names in ASCII (RFC 8785)."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()


def sha256(data: bytes) -> bytes:
    """32 bytes."""
    return hashlib.sha256(data).digest()


def unhex(text: str) -> bytes:
    """The bytes of hexadecimal in small letters, its one form. Raises ValueError."""
    if bytes.fromhex(text).hex() != text:
        raise ValueError(text)
    return bytes.fromhex(text)


def read(content: bytes) -> dict[str, Any]:
    """The record, if it is written in the one way it can be. Raises NotProven."""
    try:
        record = json.loads(content)
        need(
            isinstance(record, dict) and text_of(record) + b"\n" == content,
            "It is not written in its one form.",
        )
    except (ValueError, RecursionError):
        raise NotProven("It is not a record at all.") from None
    need(set(record) == RECORD and record["form"] == FORM, f"It is not of the form {FORM}.")
    return dict(record)


def check_entries(record: dict[str, Any]) -> bytes:
    """Each entry's words, and each entry's link to the one before. The last one's leaf hash. Raises NotProven."""
    leaf, seq = b"", 0
    for one in record["events"]:
        need(set(one) == {"entry", "salt", "words"}, "An event is not whole.")
        entry = one["entry"]
        need(
            set(entry) == ENTRY and entry["v"] == 1 and entry["seq"] > seq,
            "An entry is not whole or out of order.",
        )
        seq = entry["seq"]
        # Words that had to be taken out later leave neither words nor salt.
        if (one["salt"], one["words"]) != ("", None):
            sealed = sha256(unhex(one["salt"]) + text_of(one["words"])).hex()
            need(sealed == entry["words"], f"The words of entry {seq} are not those that were logged.")
        need(entry["prev"] == (leaf.hex() or None), f"Entry {seq} does not follow the one before it here.")
        leaf = sha256(b"\x00" + text_of(entry))
    need(bool(leaf), "There is no entry.")
    return leaf


def check_report(record: dict[str, Any]) -> None:
    """The last entry issues this very report. Raises NotProven."""
    last, report = record["events"][-1]["entry"], record["report"]
    need(last["type"] == "reported", "The last entry issues no report.")
    need(last["data"]["report"] == report["report"]["number"], "The report is not the one that was issued.")
    need(last["data"]["body"] == sha256(text_of(report)).hex(), "The report does not say what was issued.")


def root_over(leaf: bytes, index: int, size: int, proof: list[bytes]) -> bytes:
    """The head that the path leads to (RFC 9162, 2.1.3.2). Raises NotProven."""
    need(0 <= index < size, "The entry lies outside the log.")
    place, last = index, size - 1
    for one in proof:
        need(last > 0 and len(one) == 32, "The path through the tree is too long or not of hashes.")
        if place % 2 or place == last:
            leaf = sha256(b"\x01" + one + leaf)
            while place % 2 == 0 and place:
                place, last = place // 2, last // 2
        else:
            leaf = sha256(b"\x01" + leaf + one)
        place, last = place // 2, last // 2
    need(last == 0, "The path through the tree is too short.")
    return leaf


def check_head(record: dict[str, Any], leaf: bytes) -> int:
    """The signed head, and that it covers the entry. How many entries the log had. Raises NotProven."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    name, key_id, coded = record["key"].split("+", 2)
    key = base64.b64decode(coded, validate=True)
    wanted = sha256(name.encode() + b"\n" + key)[:4]
    text, _, signatures = record["head"].partition("\n\n")
    origin, size, root = text.split("\n")
    lines = [line.split(" ") for line in signatures.splitlines()]
    need(
        base64.b64encode(key).decode() == coded and key[:1] == b"\x01" and key_id == wanted.hex(),
        "The key is not one.",
    )
    need(bool(origin) and str(int(size)) == size, "The head is not one.")
    # One line, by this key, written in the one way: nothing can be added to the note.
    need(len(lines) == 1 and lines[0][:2] == ["\u2014", name], "The head is signed by another key.")
    signed = base64.b64decode(lines[0][2], validate=True)
    whole = f"{text}\n\n\u2014 {name} {base64.b64encode(signed).decode()}\n"
    need(whole == record["head"] and signed[:4] == wanted, "The head is not written in its one form.")
    try:
        Ed25519PublicKey.from_public_bytes(key[1:]).verify(signed[4:], f"{text}\n".encode())
    except InvalidSignature:
        raise NotProven("The head's signature does not hold.") from None
    index = record["index"]
    need(
        type(index) is int and index == record["events"][-1]["entry"]["seq"] - 1,
        "The entry's place is not its number.",
    )
    found = root_over(leaf, index, int(size), [unhex(one) for one in record["proof"]])
    need(base64.b64encode(found).decode() == root, "The log that was signed does not hold this entry.")
    return int(size)


def check(content: bytes, key: str = "") -> dict[str, Any]:
    """What is proven by the file. key: the public key to be trusted, else any. Raises NotProven."""
    record = read(record_in(content))
    try:
        leaf = check_entries(record)
        check_report(record)
        size = check_head(record, leaf)
    except (ValueError, KeyError, TypeError, AttributeError, IndexError):
        raise NotProven("The record is not whole.") from None
    need(not key or key.strip() == record["key"], "It is signed by another key than the one you trust.")
    return {
        "report": record["report"]["report"]["number"],
        "issued_at": record["report"]["report"]["issued_at"],
        "entries": len(record["events"]),
        "log": size,
        "key": record["key"],
        "head": record["head"],
        "results": [
            f"{row['code']} {row['dm']} {row['unit']}"
            for row in record["report"].get("results", [])
            if row.get("dm") is not None
        ],
    }


def main(words: list[str]) -> int:
    """0 proven, 1 not, 2 not understood."""
    key = ""
    if "--key" in words[:-1]:
        at = words.index("--key")
        key, words = words[at + 1], [*words[:at], *words[at + 2 :]]
    if len(words) != 1 or words[0].startswith("-"):
        print(__doc__)
        return 2
    try:
        found = check(Path(words[0]).read_bytes(), key)
    except OSError as fault:
        print(f"{words[0]} cannot be read: {fault.strerror}.")
        return 2
    except NotProven as why:
        print(f"NOT PROVEN. {why}")
        return 1
    print(f"Proven: report {found['report']}, issued {found['issued_at']},")
    print(
        f"and {found['entries']} entries of its custody, as they stood in a log of {found['log']} entries signed by"
    )
    print(f"  {found['key']}")
    print("This is the key you gave." if key else "Compare that key with the one the laboratory publishes.")
    print("Compare with the paper (on dry matter):", "; ".join(found["results"]) or "no results")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
