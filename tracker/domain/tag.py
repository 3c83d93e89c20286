"""The printed tag: one code, one bag, for ever.

A tag is printed, perhaps issued to a person, bound to one sample, or void. It is never moved to another bag and
its code never comes back, also after the sample is gone (ISO/IEC 17025:2017, 7.4.2: identification is kept for
as long as the laboratory answers for the item).
"""

from __future__ import annotations

from labels import LabelError, payload
from tracker.errors import Conflict, Refused

PRINTED, ISSUED, BOUND, VOID = "printed", "issued", "bound", "void"
STATES = (PRINTED, ISSUED, BOUND, VOID)

# What may follow on what; a bound tag can only be voided, and then the bag gets another one. A tag comes into the
# world printed.
_NEXT = {
    "tag printed": ((PRINTED,), PRINTED),
    "tag issued": ((PRINTED, ISSUED), ISSUED),
    "tag counted in": ((ISSUED,), PRINTED),
    "tag bound": ((PRINTED, ISSUED), BOUND),
    "tag reprinted": ((PRINTED, ISSUED, BOUND), None),
    # A second bag came with it, and somebody decided which one keeps it.
    "tag contested": ((BOUND,), None),
    "tag settled": ((BOUND,), None),
    "tag voided": ((PRINTED, ISSUED, BOUND), VOID),
}
KINDS = tuple(_NEXT)


def after(state: str | None, kind: str, *, code: str) -> str:
    """The tag's state after this.

    Raises Conflict `tag-bound` when it already names a bag, Refused `tag-void` when it is void, and
    `tag-not-printed` when it is none of ours.
    """
    allowed, to = _NEXT[kind]
    if state in allowed:
        return to or str(state)
    if state is None:
        raise Refused(
            "tag-not-printed",
            f"Tag {code} was never printed here.",
            field="code",
            remedy="Compare it with the label, four characters at a time.",
        )
    if state == VOID:
        raise Refused(
            "tag-void",
            f"Tag {code} is void.",
            field="code",
            remedy="Use a fresh tag; a void one is cut up and thrown away.",
        )
    raise Conflict(
        "tag-bound",
        f"Tag {code} already names a bag.",
        field="code",
        remedy="Use a fresh tag for this bag. If the other bag is the wrong one, void this tag and retag it.",
    )


def code_in(text: str, base: str | None = None) -> str:
    """The 8-character code in what a person typed or a scanner sent; the web address of our labels may stand
    before it. Raises Refused with the codes of labels.payload (`code-missing`, `code-characters`, `code-length`,
    `code-digits`, `code-check`, `not-our-label`), and `stub-scanned`.
    """
    try:
        code = payload.read_url(base, text) if base and "://" in text else payload.read_code(text)
    except LabelError as error:
        raise Refused(error.code, error.message, field=error.field or "code", remedy=error.remedy) from None
    if len(code) == payload.TOKEN_LENGTH:
        raise stub_scanned()
    return code


def stub_scanned() -> Refused:
    """That somebody scanned the producer's part of a tag where the bag's is wanted."""
    return Refused(
        "stub-scanned",
        "This is the producer's stub, and the bag is named by the other part of the tag.",
        field="code",
        remedy="Scan the QR on the bag, or type the 8 characters beside it.",
    )
