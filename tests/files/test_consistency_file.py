"""A proof that a log only grew, with the published proofs of RFC 9162 trees, and each way to spoil one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.domain.test_tree import CONSISTENT, head, raw
from tests.makers import code_of
from tracker.domain.canonical import canonical
from tracker.domain.signed_head import Head
from tracker.errors import Refused
from tracker.files.consistency_file import Grown, grown, is_consistency, read_consistency
from tracker.files.heads_file import read_heads
from tracker.files.key_file import KeyFile, SigningKey


@pytest.fixture
def key(tmp_path: Path) -> SigningKey:
    return KeyFile(tmp_path / "season.key").make("hay.example")


def published(key: SigningKey, at: int) -> Grown:
    """Heads of the reference tree with its published proof between them."""
    older, size, proof = CONSISTENT[at]
    return grown(key.known, key.signed(size, head(size)), [(key.signed(older, head(older)), raw(proof))])


@pytest.mark.parametrize("at", range(len(CONSISTENT)))
def test_each_published_proof_holds_and_comes_back_byte_for_byte(key: SigningKey, at: int) -> None:
    made = published(key, at)
    content = bytes(made)
    assert is_consistency(content) and content.endswith(b"}\n")
    assert read_consistency("grown.json", content) == made
    older, size, _ = CONSISTENT[at]
    assert [one.size for one in read_heads("grown.json", content)] == [older, size]


def test_a_log_that_did_not_grow_needs_no_hash(key: SigningKey) -> None:
    newest = key.signed(8, head(8))
    assert grown(key.known, newest, [(newest, [])]).fault() == ""


def spoiled(key: SigningKey) -> dict[str, bytes]:
    said = json.loads(bytes(published(key, 1)))
    (one,) = said["older"]
    other = str(key.signed(6, head(5)))
    unsigned = str(Head(key.origin, 6, head(6), key.signed(6, head(5)).signatures))
    return {
        "a hash less": canonical({**said, "older": [{**one, "proof": one["proof"][1:]}]}) + b"\n",
        "a hash more": canonical({**said, "older": [{**one, "proof": one["proof"] * 2}]}) + b"\n",
        "another root": canonical({**said, "older": [{**one, "head": other}]}) + b"\n",
        "another signature": canonical({**said, "older": [{**one, "head": unsigned}]}) + b"\n",
        "no key": canonical({**said, "keys": []}) + b"\n",
        "no heads": canonical({**said, "newer": ""}) + b"\n",
        "another form": json.dumps(said, separators=(",", ":")).replace("older", "Older").encode(),
        "spaces": json.dumps(said).encode(),
        "a name more": canonical({**said, "trust": "me"}) + b"\n",
        "cut off": bytes(published(key, 1))[:-40],
    }


def test_whatever_is_spoiled_is_refused(key: SigningKey) -> None:
    for name, content in spoiled(key).items():
        with pytest.raises(Refused) as caught:
            read_consistency("grown.json", content)
        assert code_of(caught) == "consistency-not-proven", name


def test_no_proof_is_given_away_that_does_not_hold(key: SigningKey) -> None:
    with pytest.raises(Refused) as caught:
        grown(key.known, key.signed(8, head(8)), [(key.signed(6, head(6)), [head(2)])])
    assert code_of(caught) == "consistency-not-proven"
