"""A scan gives its own code or a refusal, and never another bag's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labels.payload import check_character, shown
from tests.scans import BASE, CODE, NINE, START, TABLE, TOKEN, arriving, codes, tokens
from tracker.domain import keyboard_layouts, scan_text
from tracker.domain.keyboard_layouts import KEYS, LAYOUTS
from tracker.domain.scan_text import Scanned, looks_like_scan, resolve, resolve_behind
from tracker.errors import Refused

CODES = codes(3000)


def outcome(text: str) -> str:
    try:
        return resolve(text, BASE).value
    except Refused as refused:
        return refused.code


@pytest.mark.parametrize(
    "text",
    [
        CODE,
        TOKEN,
        CODE.lower(),
        f"{CODE}/",
        f"{CODE}//",
        f"{CODE} /",
        f" {CODE}",
        f"{CODE}\r\n",
        f"{CODE[:4]}-{CODE[4:]}",
        f"{CODE}\u200b",
        f'{CODE}"',
        f"{CODE}\x04",
        CODE[:-1],
        TOKEN[:-1],
        f"{TOKEN}0",
        "",
        "/",
        "12345678",
        "ß",
        "O0lI",
        CODE[:-1] + ("0" if CODE[-1] != "0" else "1"),
        CODE[1] + CODE[0] + CODE[2:],
    ],
)
def test_what_stands_behind_our_start_is_read_as_in_the_whole_address(text: str) -> None:
    def said(read: Callable[[], Scanned]) -> object:
        try:
            return read()
        except Refused as refused:
            return vars(refused) | {"words": str(refused)}

    assert said(lambda: resolve_behind(text)) == said(lambda: resolve(START + text, BASE))


def test_the_table_has_forty_inputs() -> None:
    assert len({text for text, _ in TABLE}) == 40


@pytest.mark.parametrize(("text", "meant"), TABLE)
def test_what_is_scanned_or_typed_is_read_or_refused(text: str, meant: str) -> None:
    assert outcome(text) == meant


# Replayed with libxkbcommon 1.5.0 from xkb-data 2.35.1, US key positions, outside this program.
@pytest.mark.parametrize(
    ("layout", "arrives"),
    [
        ("UK", "HTTPS://HAY.EXAMPLE.EDU/T/H7K39QWX"),
        ("Spanish", "HTTPSÑ--HAY.EXAMPLE.EDU-T-H7K39QWX"),
        ("Latin American", "HTTPSÑ--HAY.EXAMPLE.EDU-T-H7K39QWX"),
        ("Italian", "HTTPSç--HAY.EXAMPLE.EDU-T-H7K39QWX"),
        ("Brazilian", "HTTPSÇ;;HAY.EXAMPLE.EDU;T;H7K39QWX"),
        ("Canadian French", "HTTPS:ééHAY.EXAMPLE.EDUéTéH7K39QWX"),
        ("German", "HTTPSÖ--HAZ.EXAMPLE.EDU-T-H7K39QWX"),
        ("French", 'HTTPSM!!HQY:EXQ?PLE:EDU!T!HèK"çAZX'),
    ],
)
def test_a_layout_types_what_the_system_types(layout: str, arrives: str) -> None:
    assert arriving(START + "H7K39QWX", layout, caps=False) == arrives


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_layout_gives_every_key_its_own_character(layout: str) -> None:
    row = keyboard_layouts.folded(LAYOUTS[layout])
    assert len(row) == len(set(row)) == len(KEYS)
    assert keyboard_layouts.restored(keyboard_layouts.mangled(KEYS, layout), layout) == KEYS


def test_every_scan_of_a_whole_address_is_right_on_every_layout() -> None:
    # 9 layouts x Caps Lock on and off x 3,000 codes: 54,000 right, 0 refused, 0 wrong.
    outcomes = Counter(
        outcome(arriving(START + code, layout, caps=caps)) == code
        for layout in NINE
        for caps in (False, True)
        for code in CODES
    )
    assert outcomes == {True: 54_000}


def test_a_bare_code_is_right_or_refused_and_never_another_code() -> None:
    right = refused = 0
    for layout in NINE:
        for caps in (False, True):
            for code in CODES[:1500]:
                answer = outcome(arriving(code, layout, caps=caps))
                assert answer == code or answer.islower(), (layout, caps, code, answer)
                right += answer == code
                refused += answer != code
    assert right + refused == 27_000
    assert right > 0.8 * 27_000


def test_a_bare_code_with_two_readings_is_taken_when_typed_with_its_hyphen() -> None:
    doubtful = [code for code in CODES if outcome(code) == "two-readings-possible"]
    assert 0 < len(doubtful) < 0.02 * len(CODES)
    assert [outcome(shown(code)) for code in doubtful] == doubtful


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_stub_is_right_on_every_layout(layout: str) -> None:
    for token in tokens(100):
        for caps in (False, True):
            found = resolve(arriving(START + token, layout, caps=caps), BASE)
            assert (found.kind, found.value) == ("token", token)


def test_it_says_how_the_code_was_found() -> None:
    assert resolve(START + CODE, BASE) == Scanned("code", CODE, "intact")
    assert resolve(CODE, BASE) == Scanned("code", CODE, "bare")
    assert resolve(arriving(START + CODE, "German", caps=True), BASE) == Scanned(
        "code", CODE, "layout", "German"
    )
    assert resolve(arriving(START + TOKEN, "Spanish", caps=False), BASE) == Scanned(
        "token", TOKEN, "layout", "Spanish or Latin American"
    )


def test_two_layouts_with_different_answers_take_neither(monkeypatch: pytest.MonkeyPatch) -> None:
    # No two real layouts do this: one is made up that shares the address's marks with the Spanish one.
    row = LAYOUTS["Spanish"].replace("7", "#").replace("2", "7").replace("#", "2")
    invented = dict(zip(KEYS, keyboard_layouts.folded(row), strict=True))
    monkeypatch.setitem(keyboard_layouts._ROWS, "invented", invented)
    monkeypatch.setitem(keyboard_layouts._BACK, "invented", {t: k for k, t in invented.items()})
    monkeypatch.setattr(scan_text, "_TYPED_LAYOUTS", ("Spanish", "invented"))
    swapped = {code: code.translate(str.maketrans("27", "72")) for code in codes(12_000)}
    both = next(c for c, other in swapped.items() if c != other and check_character(other[:-1]) == other[-1])
    assert outcome(arriving(START + both, "Spanish", caps=False)) == "two-readings-possible"


def test_a_mangled_address_with_a_wrong_code_says_that_the_code_is_wrong() -> None:
    assert outcome(arriving(START + "7K2M9QXR", "French", caps=False)) == "code-check"


def test_a_nonsense_base_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        resolve(CODE, "ftp://hay.example.edu")
    assert caught.value.code == "base-url"


@pytest.mark.parametrize(
    ("how", "gap", "scan"),
    [
        ("intact", 400.0, True),
        ("layout", None, True),
        ("bare", 5.0, True),
        ("bare", 40.0, True),
        ("bare", 180.0, False),
        ("bare", None, False),
    ],
)
def test_what_it_says_tells_a_scan_before_its_speed_does(how: str, gap: float | None, scan: bool) -> None:
    assert looks_like_scan(Scanned("code", CODE, how), gap) is scan  # type: ignore[arg-type]


@given(st.one_of(st.text(), st.text(alphabet=KEYS + "".join(LAYOUTS.values()) + " \r\n", max_size=60)))
def test_any_text_is_read_or_refused_with_what_to_do(text: str) -> None:
    for tried in (text, START + text, arriving(START, "German", caps=False) + text):
        try:
            found = resolve(tried, BASE)
        except Refused as refused:
            assert refused.remedy and refused.field
        else:
            assert len(found.value) == {"code": 8, "token": 26}[found.kind]


@given(
    st.decimals(min_value=Decimal(-99999), max_value=Decimal(9999999), places=3)
    | st.integers(min_value=-9999999, max_value=10**12).map(Decimal),
    st.sampled_from(["", " ", "g", " g", "kg", " kg", "KG", " lb", " oz", " t", " mg"]),
)
def test_no_weight_is_a_code(weight: Decimal, unit: str) -> None:
    assert outcome(f"{weight:f}{unit}").islower()
    assert outcome(f"{weight:,f}{unit}").islower()


def test_even_a_weight_that_passes_the_check_is_no_code() -> None:
    assert [outcome(f"{n} lb") for n in range(123_400, 123_500)] == ["code-digits"] * 100
