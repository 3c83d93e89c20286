"""Commands of the signed log: is the record whole, does a report prove itself, and which key signs."""

from __future__ import annotations

import argparse
from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import acting, command, counted, open_season, say, writing

if TYPE_CHECKING:
    from tracker.domain.signed_head import Head, PublicKey
    from tracker.files.consistency_file import Grown
    from tracker.lookups.log_audit import Audit
    from tracker.storage.engine import Database

# What is wrong at one place is wrong at many behind it; the first ones say where to begin.
MOST_SAID = 20


def add(commands: Any) -> None:
    """Add the commands of this room."""
    room = commands.add_parser("custody", help="the signed log: audit, verify, keys and heads")
    below = room.add_subparsers(title="custody commands", metavar="COMMAND", required=True)
    audit = command(below, "audit", "hold the whole record against what was signed", _audit, acts=False)
    audit.add_argument(
        "--heads",
        action="append",
        default=[],
        metavar="FILE",
        help="heads from outside: a text or a report's PDF",
    )
    audit.add_argument("--keys", metavar="FILE", help="public keys to trust, one a line; else the key file's")
    verify = command(below, "verify", "check the record that travels in a report", _verify, acts=False)
    verify.add_argument("file", help="a report's PDF, or the custody.json of a bundle")
    verify.add_argument("--key", metavar="LINE", help="the public key to trust; else the season's own")
    command(below, "key", "show the log's public keys, to be published", _key, acts=False)
    new = command(below, "new-key", "give the log a new key; the old one signs for it", _new_key)
    new.add_argument("--reason", required=True)
    head = command(below, "head", "sign a head over the log as it stands, and show it", _head, acts=False)
    head.add_argument("--out", metavar="FILE", help="also write it behind what this file holds")
    head.add_argument("--mail", metavar="ADDRESS", help="also send it there, by TRACKER_MAIL_SERVER")
    grown = command(
        below,
        "consistency",
        "prove that the log of today begins with that of an older head",
        _grown,
        acts=False,
    )
    grown.add_argument("heads", metavar="FILE", help="older heads: a text or a report's PDF")
    grown.add_argument("--out", metavar="FILE", help="also write the proof there, for whoever has no season")
    for name, made in below.choices.items():
        made.set_defaults(act=f"custody {name}")


def _audit(asked: argparse.Namespace) -> int:
    from pathlib import Path

    from tracker.cli.lots import content
    from tracker.files.heads_file import read_heads
    from tracker.lookups.log_audit import audit

    outside = [
        (name, head) for name in asked.heads for head in read_heads(name, content(Path(name), "heads"))
    ]
    with closing(open_season(asked)) as season:
        keys = _trusted(season, asked.keys)
        with season.read() as session:
            found = audit(session, keys, outside)
    values = {**vars(found), "clean": found.clean, "unsigned": found.unsigned}
    say(asked, values, *_audit_lines(found))
    return int(not found.clean)


def _audit_lines(found: Audit) -> list[str]:
    lines = [f"Entries: {found.entries}. Signed heads: {found.heads}."]
    if found.faults:
        lines.append(f"NOT AS IT WAS SIGNED: {counted(len(found.faults), 'finding')}.")
        lines += [f"  {fault.what}: {fault.words}" for fault in found.faults[:MOST_SAID]]
        lines += ["  ..."] if len(found.faults) > MOST_SAID else []
    else:
        lines.append("Every entry, the tree over them and every head are as they were signed.")
    if found.erased:
        lines.append(
            f"The words of {found.erased} were taken out on purpose; what was measured and when stands."
        )
    if found.unsigned:
        lines.append(f"Newer than the last head: {found.unsigned}. A change there would not show.")
    if found.outside:
        lines.append(f"Compared with {counted(found.outside, 'head')} from outside.")
    else:
        lines.append(
            "Compared with no head from outside: whoever has the key could have rewritten all of it."
        )
    return lines


def _trusted(season: Database, told: str | None) -> list[PublicKey]:
    """The keys in the file, else those of the season's own key file. Raises Refused `log-key-missing`."""
    from pathlib import Path

    from tracker.cli.lots import content
    from tracker.domain.signed_head import public_key
    from tracker.errors import Refused

    if told is not None:
        lines = content(Path(told), "keys").decode("utf-8", errors="replace").split("\n")
        return [public_key(line) for line in lines if line.strip()]
    key = None if season.key_file is None else season.key_file.key()
    if key is None:
        raise Refused(
            "log-key-missing",
            "The log's key is not at hand, so no signature can be checked.",
            field="keys",
            remedy="Give the published public keys with --keys, or name the key file with TRACKER_LOG_KEY_FILE.",
        )
    return list(key.known)


def _verify(asked: argparse.Namespace) -> int:
    from pathlib import Path

    from tracker.cli.lots import content
    from tracker.custody_check import NotProven, check
    from tracker.files.consistency_file import is_consistency

    trusted = [asked.key] if asked.key else _own_keys(asked)
    data = content(Path(asked.file), "file")
    if is_consistency(data):
        return _verify_grown(asked, data, trusted)
    try:
        found = check(data)
    except NotProven as why:
        say(asked, {"proven": False, "why": str(why)}, f"NOT PROVEN. {why}")
        return 1
    known = found["key"] in [one.strip() for one in trusted]
    if trusted and not known:
        why_not = "It is signed by another key than those that are trusted here."
        say(
            asked,
            {"proven": False, "why": why_not, "key": found["key"]},
            f"NOT PROVEN. {why_not}",
            found["key"],
        )
        return 1
    say(asked, {"proven": True, "trusted": known, **found}, *_proven_lines(found, known))
    return 0


def _proven_lines(found: dict[str, Any], known: bool) -> list[str]:
    trusted = (
        "That key is trusted here." if known else "Compare it with the key that the laboratory publishes."
    )
    return [
        f"Proven: report {found['report']}, issued {found['issued_at']},",
        f"and {found['entries']} entries of its custody,",
        f"as they stood in a log of {found['log']} entries signed by",
        f"  {found['key']}",
        trusted,
        f"Compare with the paper (on dry matter): {'; '.join(found['results']) or 'no results'}",
    ]


def _own_keys(asked: argparse.Namespace) -> list[str]:
    """The season's own keys, where there is a season here; a report is checked without one too."""
    from tracker.errors import TrackerError

    try:
        with closing(open_season(asked)) as season:
            return [str(one) for one in _trusted(season, None)]
    except TrackerError:
        return []


def _verify_grown(asked: argparse.Namespace, data: bytes, trusted: list[str]) -> int:
    """The same for a proof that a log only grew."""
    from tracker.errors import Refused
    from tracker.files.consistency_file import read_consistency

    try:
        found = read_consistency(asked.file, data)
    except Refused as why:
        say(asked, {"proven": False, "why": why.message}, f"NOT PROVEN. {why.message}")
        return 1
    keys = [str(key) for key in found.keys]
    known = set(keys) <= {one.strip() for one in trusted}
    if trusted and not known:
        why_not = "It is signed by another key than those that are trusted here."
        say(asked, {"proven": False, "why": why_not, "keys": keys}, f"NOT PROVEN. {why_not}", *keys)
        return 1
    told = {"proven": True, "trusted": known, "size": found.newer.size, "keys": keys}
    say(asked, {**told, "older": [head.size for head, _ in found.older]}, *_grown_lines(found))
    return 0


def _grown(asked: argparse.Namespace) -> None:
    from pathlib import Path

    from tracker.cli.lots import content
    from tracker.files.heads_file import read_heads
    from tracker.lookups.grown_log import grown_since
    from tracker.steps.sign_log import sign

    older = read_heads(asked.heads, content(Path(asked.heads), "heads"))
    with closing(open_season(asked)) as season:
        keys = _trusted(season, None)
        with season.act(asked.act, "", {}) as session:
            newer = _signed(sign(session, season.clock()))
        with season.read() as session:
            found = grown_since(session, keys, older, newer)
    if asked.out:
        with writing(asked.out) as path:
            path.write_bytes(bytes(found))
    proofs = [
        {"head": str(head), "size": head.size, "proof": [one.hex() for one in path]}
        for head, path in found.older
    ]
    values = {"newer": str(newer), "size": newer.size, "older": proofs, "file": asked.out}
    say(asked, values, *_grown_lines(found))


def _grown_lines(found: Grown) -> list[str]:
    begins = f"Proven: the log of {found.newer.size} entries begins with the"
    lines = [f"{begins} {head.size} that the older head was signed over." for head, _ in found.older]
    return [*lines, "Signed by", *(f"  {key}" for key in found.keys)]


def _key(asked: argparse.Namespace) -> None:
    with closing(open_season(asked)) as season:
        keys = _trusted(season, None)
    say(asked, {"keys": [str(one) for one in keys]}, *(str(one) for one in keys))


def _new_key(asked: argparse.Namespace) -> None:
    from tracker.steps.change_log_key import change_log_key

    with acting(asked) as (session, act):
        key = change_log_key(session, act, reason=asked.reason)
    say(
        asked,
        {"key": str(key)},
        str(key),
        "Publish this line beside the earlier ones.",
    )


def _head(asked: argparse.Namespace) -> None:
    from pathlib import Path

    from tracker.files.heads_file import add_head
    from tracker.steps.sign_log import sign

    with closing(open_season(asked)) as season:
        _trusted(season, None)
        with season.act(asked.act, "", {}) as session:
            head = _signed(sign(session, season.clock()))
        if asked.mail:
            _mail(asked.mail, head, season)
    if asked.out:
        add_head(Path(asked.out), head)
    say(
        asked,
        {"head": str(head), "size": head.size, "file": asked.out, "mail": asked.mail},
        str(head).rstrip("\n"),
    )


def _mail(to: str, head: Head, season: Database) -> None:
    from tracker.errors import Refused
    from tracker.files.mail import FAULTS, Letter, composed, posting
    from tracker.settings import read

    settings = read()
    sender = settings.mail_from or "hay@localhost"
    words = ("Keep this message: it shows if the log is ever rewritten.", "", *str(head).split("\n"))
    letter = Letter(to, f"Head of the log {head.origin}: {head.size} entries", words, f"mailto:{sender}")
    mail = composed(letter, sender, settings.programme, season.clock().astimezone())
    try:
        posting(settings.mail_server, settings.mail_password, settings.mail_folder)(mail)
    except FAULTS as fault:
        raise Refused(
            "head-not-sent",
            f"The head was signed and kept, and not sent to {to}: {fault}.",
            field="mail",
            remedy="Correct TRACKER_MAIL_SERVER, or give the head away with --out.",
        ) from fault


def _signed(head: Head | None) -> Head:
    from tracker.errors import Refused

    if head is None:
        raise Refused(
            "log-empty",
            "Nothing has happened yet, so there is nothing to sign.",
            field="head",
            remedy="Register a lot first.",
        )
    return head
