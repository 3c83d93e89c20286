"""How one balance writes its line: built-in shapes, and an office's own.

The shapes are those met in the manuals of unrelated makers, described and not copied.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.errors import Refused

LINE_LENGTH = 80
STABLE, UNSTABLE, OVERLOAD, ERROR = "stable", "unstable", "overload", "error"
MEANINGS = (STABLE, UNSTABLE, OVERLOAD, ERROR)
GROSS, NET = "gross", "net"
POINT, COMMA, EITHER = "point", "comma", "either"
PARTS = ("status", "mode", "sign", "number", "unit")
# Units a balance may show, and the power of ten that makes grams of them.
TENS = {"g": 0, "kg": 3}


@dataclass(frozen=True)
class Profile:
    """How one balance writes its line.

    pattern: matched against the whole line after its ends are trimmed and every run of blanks is made one, with
    the named parts status, mode, sign, number and unit, of which number must be there. statuses: what each status
    means, one of MEANINGS; unmarked: what a line without a status means, None where it says nothing. modes: what
    each mode means, gross or net. unit: of a number without one. decimal_mark: point, comma or either. tries:
    profiles to try in turn instead of the pattern.
    """

    name: str
    pattern: str
    statuses: Mapping[str, str] = field(default_factory=dict)
    unmarked: str | None = None
    modes: Mapping[str, str] = field(default_factory=dict)
    unit: str = "g"
    decimal_mark: str = EITHER
    tries: tuple[Profile, ...] = ()

    def match(self, tidied: str) -> re.Match[str] | None:
        return re.fullmatch(self.pattern, tidied, re.ASCII)


_STATUSES = {"ST": STABLE, "US": UNSTABLE, "OL": OVERLOAD}
_MODES = {"GS": GROSS, "NT": NET}
_VALUE = r"(?P<sign>[+-])? ?(?P<number>[0-9][0-9 .,]{0,14}?)"
_UNIT = r" ?(?P<unit>[A-Za-z%]{1,5})?"
_SHAPES = (
    Profile(
        "status comma mode",
        r"(?P<status>[A-Z]{2}), ?(?P<mode>[A-Z]{2}), ?" + _VALUE + _UNIT,
        _STATUSES,
        modes=_MODES,
    ),
    Profile("status comma", r"(?P<status>[A-Z]{2}), ?" + _VALUE + _UNIT, _STATUSES),
    Profile("sign and number", _VALUE + _UNIT),
    Profile("question mark", _VALUE + _UNIT + r" ?(?P<status>\?)?", {"?": UNSTABLE}, unmarked=STABLE),
    Profile("number only", r"(?P<sign>[+-])?(?P<number>[0-9][0-9.,]{0,14})"),
)
# A line without a question mark is caught by "sign and number" first, which does not call it steady.
ANY = Profile("any", "", tries=_SHAPES)
PROFILES: dict[str, Profile] = {profile.name: profile for profile in (*_SHAPES, ANY)}


def profile_from(data: Mapping[str, Any]) -> Profile:
    """An office's own profile from plain values, named as the parts of Profile.

    Raises Refused `balance-profile` for a pattern that does not compile, lacks the number, or could be tried in so
    many ways that one odd line would hold up the bench.
    """
    known = ("name", "pattern", "statuses", "unmarked", "modes", "unit", "decimal_mark")
    _demand(
        not set(data) - set(known), f"{', '.join(sorted(set(data) - set(known)))} is not a part of a profile"
    )
    texts = {key: data[key] for key in ("name", "pattern", "unit", "decimal_mark") if key in data}
    _demand(
        all(isinstance(text, str) and text for text in texts.values()), "a part that should be text is not"
    )
    _demand("name" in texts and "pattern" in texts, "the name or the pattern is missing")
    statuses, modes = (_words_of(data, key) for key in ("statuses", "modes"))
    _demand(set(statuses.values()) <= set(MEANINGS), f"a status means one of {', '.join(MEANINGS)}")
    _demand(set(modes.values()) <= {GROSS, NET}, "a mode means gross or net")
    _demand(
        data.get("unmarked") in (None, STABLE, UNSTABLE), "a line without status is stable, unstable or None"
    )
    _demand(texts.get("unit", "g") in TENS, "the unit is g or kg")
    _demand(
        texts.get("decimal_mark", POINT) in (POINT, COMMA, EITHER),
        "the decimal mark is point, comma or either",
    )
    check_pattern(texts["pattern"])
    return Profile(**texts, statuses=statuses, modes=modes, unmarked=data.get("unmarked"))


# One token of a pattern: a class, an escape, a repeat, the head of a group, a bar, or any other character.
_TOKEN = re.compile(
    r"\[\^?\]?(?:\\.|[^\]\\])*\]|\\.|[*+?][?+]?|\{[0-9]*,?[0-9]*\}[?+]?|\((?:\?(?:P<\w+>|:))?|.", re.DOTALL
)
MOST_WAYS = 50_000


def check_pattern(pattern: str) -> None:
    """Refused `balance-profile` unless the pattern compiles, names its parts and cannot run away.

    A match is tried in no more ways than the choices multiply to: 2 for ? and for each bar, the span of {m,n}, the
    line length for * and +. A repeated group would break that count, so none is taken.
    """
    _demand(len(pattern) <= 200, "the pattern has more than 200 characters")
    try:
        compiled = re.compile(pattern, re.ASCII)
    except (re.error, OverflowError, RecursionError) as error:
        raise _bad_profile(f"the pattern cannot be read: {error}") from None
    _demand("number" in compiled.groupindex, "the pattern has no part named number")
    strange = sorted(set(compiled.groupindex) - set(PARTS))
    _demand(not strange, f"{', '.join(strange)} is not a part of a line; known are {', '.join(PARTS)}")
    ways, before = 1, ""
    for token in _TOKEN.findall(pattern):
        _demand(not (before == "(" and token[0] == "?"), "the pattern looks ahead, back or sets flags")
        _demand(not re.fullmatch(r"\\[1-9]", token), "the pattern refers back to a part")
        _demand(not (before == ")" and token[0] in "*+{"), "the pattern repeats a group")
        ways *= _ways(token)
        before = token
    _demand(
        ways <= MOST_WAYS, f"a line could be tried in {ways} ways; give repeats an upper bound, like {{1,9}}"
    )


def _ways(token: str) -> int:
    if token[0] in "*+":
        return LINE_LENGTH + 1
    if token in ("|", "?", "??", "?+"):
        return 2
    bounds = re.fullmatch(r"\{([0-9]*)(,?)([0-9]*)\}[?+]?", token)
    if bounds is None or not bounds[2]:
        return 1
    return max(1, min(int(bounds[3] or LINE_LENGTH), LINE_LENGTH) - int(bounds[1] or 0) + 1)


def _words_of(data: Mapping[str, Any], key: str) -> dict[str, str]:
    found = data.get(key) or {}
    _demand(
        isinstance(found, Mapping) and all(isinstance(word, str) for pair in found.items() for word in pair),
        f"{key} is not a table of texts",
    )
    return dict(found)


def _demand(holds: bool, fault: str) -> None:
    if not holds:
        raise _bad_profile(fault)


def _bad_profile(fault: str) -> Refused:
    return Refused(
        "balance-profile",
        f"The profile cannot be used: {fault}.",
        field="profile",
        remedy="Start from one of the built-in profiles and change one part at a time.",
    )
