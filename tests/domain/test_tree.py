"""The log's tree against RFC 9162 and the published vectors of an independent implementation."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.domain import tree
from tracker.domain.tree import (
    EMPTY,
    Edge,
    Run,
    consistency,
    edge_numbers,
    inclusion,
    is_consistent,
    is_included,
    leaf_hash,
    node_hash,
    root,
)


# How fast the machine is proves nothing here.
def grown(
    place: int, known: bytes, stored: Callable[[int], bytes], level: int = 0
) -> Iterator[tuple[int, bytes]]:
    """What is new once the leaf with this place stands at the end: the leaf, and each subtree it makes whole.

    level: above 0 where a whole subtree stands there instead of a leaf. stored is asked for whole subtrees to the
    left only. Numbers and hashes, lowest first.
    """
    yield tree.number(level, place), known
    while place % 2:
        known = node_hash(stored(tree.number(level, place - 1)), known)
        level, place = level + 1, place // 2
        yield tree.number(level, place), known


SLOWLY = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])

# Leaves and heads of RFC 6962's reference tests (transparency-dev/merkle, testdata; seen).
LEAVES = [
    bytes.fromhex(one)
    for one in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
FIVE_OF_EIGHT = [
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
    ROOTS[4],
]
# index, size, proof: the files inclusion/1 and inclusion/3, and index 5 of 8.
INCLUDED = [
    (
        0,
        8,
        (
            "lqKW0iTyhcZ77pPDD4owkVfw2qNdxbh+QQt4YwoJz8c=",
            "Xwg/ChozygdqlSeYMlgNs+DvRYS9/x9UyKNg9Q3jAx4=",
            "a0eq8p7jwq+a+Im8H7klTavTEXfxYjLdaqsDXKOb9uQ=",
        ),
    ),
    (2, 3, ("+sVCA+fMaWzw38tCySodnbr3CtnmIfS9jZhmLwDjwSU=",)),
    (5, 8, tuple(base64.b64encode(bytes.fromhex(one)).decode() for one in FIVE_OF_EIGHT)),
]
# older, size, proof: the files consistency/1 and consistency/4, and 2 to 5.
CONSISTENT = [
    (
        1,
        8,
        (
            "lqKW0iTyhcZ77pPDD4owkVfw2qNdxbh+QQt4YwoJz8c=",
            "Xwg/ChozygdqlSeYMlgNs+DvRYS9/x9UyKNg9Q3jAx4=",
            "a0eq8p7jwq+a+Im8H7klTavTEXfxYjLdaqsDXKOb9uQ=",
        ),
    ),
    (
        6,
        7,
        (
            "DrxdNDf74tsVi58Sah0RjjCBgQMdCpSfje3t68VY72o=",
            "sIaT7C5yFZcTBkHoIR5+7cy0wmQTlj7ubB4u0W/7Gl8=",
            "037kGJdt2VdTwcc4Yrk5j6Kiz5tP8P3+izDNlSCWFLc=",
        ),
    ),
    (
        2,
        5,
        tuple(
            base64.b64encode(bytes.fromhex(one)).decode()
            for one in (
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            )
        ),
    ),
    (
        6,
        8,
        (
            "DrxdNDf74tsVi58Sah0RjjCBgQMdCpSfje3t68VY72o=",
            base64.b64encode(bytes.fromhex(FIVE_OF_EIGHT[1])).decode(),
            base64.b64encode(bytes.fromhex(ROOTS[4])).decode(),
        ),
    ),
]


def built(leaves: list[bytes]) -> dict[int, bytes]:
    """Everything the log keeps of these entries, added one at a time."""
    kept: dict[int, bytes] = {}
    for index, entry in enumerate(leaves):
        kept.update(grown(index, leaf_hash(entry), kept.__getitem__))
    return kept


def head(size: int) -> bytes:
    return bytes.fromhex(ROOTS[size])


def raw(proof: tuple[str, ...]) -> list[bytes]:
    return [base64.b64decode(one) for one in proof]


def by_definition(leaves: list[bytes]) -> bytes:
    """RFC 9162, 2.1.1, written as it stands there."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return node_hash(by_definition(leaves[:k]), by_definition(leaves[k:]))


@pytest.mark.parametrize("size", range(9))
def test_the_head_over_the_first_entries_is_the_published_one(size: int) -> None:
    kept = built(LEAVES)
    edge = Edge()
    for entry in LEAVES[:size]:
        edge.add(leaf_hash(entry))
    assert root(size, kept.__getitem__).hex() == ROOTS[size] == edge.root().hex()
    assert by_definition(LEAVES[:size]) == head(size)


@pytest.mark.parametrize(("index", "size", "proof"), INCLUDED)
def test_the_proof_of_an_entry_is_the_published_one(index: int, size: int, proof: tuple[str, ...]) -> None:
    assert inclusion(index, size, built(LEAVES).__getitem__) == raw(proof)
    assert is_included(leaf_hash(LEAVES[index]), index, size, raw(proof), head(size))


@pytest.mark.parametrize(("older", "size", "proof"), CONSISTENT)
def test_the_proof_that_a_log_only_grew_is_the_published_one(
    older: int, size: int, proof: tuple[str, ...]
) -> None:
    assert consistency(older, size, built(LEAVES).__getitem__) == raw(proof)
    assert is_consistent(older, size, raw(proof), head(older), head(size))


def spoiled(proof: list[bytes]) -> list[list[bytes]]:
    """What the published invalid vectors do to a proof: a bit, an end too many, an end too few, a short hash."""
    bits = [[*proof[:at], bytes([one[0] ^ 16]) + one[1:], *proof[at + 1 :]] for at, one in enumerate(proof)]
    return [
        *bits,
        [],
        [*proof, b""],
        [*proof, proof[0]],
        [b"", *proof],
        proof[:-1],
        [proof[0][:-1], *proof[1:]],
    ]


@pytest.mark.parametrize(("index", "size", "proof"), INCLUDED)
def test_a_spoiled_proof_of_an_entry_is_refused(index: int, size: int, proof: tuple[str, ...]) -> None:
    leaf, path = leaf_hash(LEAVES[index]), raw(proof)
    for wrong in spoiled(path):
        assert not is_included(leaf, index, size, wrong, head(size))
    for at, of in (
        (index + 1, size),
        (index ^ 2, size),
        (index, size * 2),
        (index, 0),
        (-1, size),
        (size, size),
    ):
        assert not is_included(leaf, at, of, path, head(size))
    assert not is_included(leaf, index, size, path, EMPTY)
    assert not is_included(leaf, index, size, path, b"")


@pytest.mark.parametrize(("older", "size", "proof"), CONSISTENT)
def test_a_spoiled_proof_of_growth_is_refused(older: int, size: int, proof: tuple[str, ...]) -> None:
    path, old, new = raw(proof), head(older), head(size)
    for wrong in spoiled(path):
        assert not is_consistent(older, size, wrong, old, new)
    assert not is_consistent(older, size, path, new, old)
    assert not is_consistent(older, size, path, EMPTY, new)
    assert not is_consistent(older, size, path, old, EMPTY)
    assert not is_consistent(older + 1, size, path, old, new)
    assert not is_consistent(older, size * 2, path, old, new)
    # Edges that an own first try got wrong: no earlier head, and hashes that are none.
    assert not is_consistent(0, size, path, old, new)
    assert not is_consistent(0, size, [], EMPTY, new)
    assert not is_consistent(size, size, [b""], new, new)
    assert is_consistent(size, size, [], new, new)
    assert not is_consistent(size, size, [], old, new)


@SLOWLY
@given(st.integers(1, 70), st.data())
def test_every_proof_the_log_makes_of_itself_holds(size: int, data: st.DataObject) -> None:
    leaves = [bytes([at]) for at in range(size)]
    kept = built(leaves).__getitem__
    top = root(size, kept)
    assert top == by_definition(leaves)
    index = data.draw(st.integers(0, size - 1))
    assert is_included(leaf_hash(leaves[index]), index, size, inclusion(index, size, kept), top)
    older = data.draw(st.integers(1, size))
    assert is_consistent(older, size, consistency(older, size, kept), root(older, kept), top)
    if older < size:
        other = by_definition([*leaves[: older - 1], b"another"])
        assert not is_consistent(older, size, consistency(older, size, kept), other, top)


@SLOWLY
@given(st.integers(0, 300))
def test_the_edge_taken_up_again_is_the_one_that_was_left(size: int) -> None:
    leaves = [at.to_bytes(2, "big") for at in range(size)]
    kept = built(leaves)
    again = Edge(size, [kept[one] for one in edge_numbers(size)])
    assert again.root() == root(size, kept.__getitem__)
    assert again.add(leaf_hash(b"next")) == list(grown(size, leaf_hash(b"next"), kept.__getitem__))


def test_adding_an_entry_costs_no_more_hashes_than_the_tree_has_levels(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = []
    real = tree.node_hash
    monkeypatch.setattr(tree, "node_hash", lambda left, right: made.append(1) or real(left, right))
    edge, most = Edge(), 0
    for at in range(4096):
        made.clear()
        edge.add(leaf_hash(at.to_bytes(2, "big")))
        edge.root()
        most = max(most, len(made))
    # 12 levels: at the worst every one of them is closed, and none is left over for the head.
    assert most <= 12


@pytest.mark.parametrize("index", [-1, 8])
def test_there_is_no_proof_of_an_entry_outside(index: int) -> None:
    with pytest.raises(ValueError):
        inclusion(index, 8, built(LEAVES).__getitem__)


@pytest.mark.parametrize("older", [0, 9])
def test_there_is_no_proof_of_growth_from_nowhere(older: int) -> None:
    with pytest.raises(ValueError):
        consistency(older, 8, built(LEAVES).__getitem__)


@pytest.mark.parametrize("size", [*range(18), 63, 64, 65, 1000])
def test_a_run_gives_what_its_leaves_give_one_at_a_time(size: int) -> None:
    leaves = [leaf_hash(bytes([one % 251])) for one in range(size)]
    edge, kept, heads = Edge(), {}, [EMPTY]
    for leaf in leaves:
        kept.update(edge.add(leaf))
        heads.append(edge.root())
    run = Run(leaves)
    assert run.numbered(0) == sorted(kept.items())
    assert [Edge().root([known for _, known in run.edge(some)]) for some in range(size + 1)] == heads


def test_a_run_behind_another_gives_what_the_leaves_give_one_at_a_time() -> None:
    leaves = [leaf_hash(bytes([one % 251])) for one in range(2 * Run.LONGEST + 100)]
    single, by_runs, kept, found = Edge(), Edge(), {}, {}
    for leaf in leaves:
        kept.update(single.add(leaf))
    for start in range(0, len(leaves), Run.LONGEST):
        run = Run(leaves[start : start + Run.LONGEST])
        found.update(run.numbered(start))
        for level, known in run.edge(run.size):
            found.update(by_runs.add(known, level))
    assert found == kept
    assert (by_runs.size, by_runs.root()) == (len(leaves), single.root())
    before = by_runs.copy()
    by_runs.add(leaves[0])
    assert before.root() == single.root() != by_runs.root(), "a copy stays as it was"
