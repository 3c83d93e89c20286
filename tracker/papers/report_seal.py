"""What a report says of the log it stands in, and the record that goes with the PDF as an attachment.

The attachment is not compressed and its stream carries a mark of its own, so that a short program finds it without
knowing PDF (tracker/custody_check.py, and the page that checks in a browser).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import qrcode
from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream, PDFString
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from labels import qr
from tracker.lookups.report_record import Proof
from tracker.papers.flow import cell, heading, inner_mm, pairs
from tracker.papers.pen import MM, SMALL_PT

MARK = "HaySampleCustodyRecord"
RECORD_NAME, HEAD_NAME = "custody.json", "head.txt"
# 203 dpi, 4 dots: the smallest that reads from hand distance on any printer of ours (docs/labels.md).
MODULE_MM = 0.5
MARK_BYTES = 10
WORDS = (
    "The record travels in this PDF as the attachment custody.json. Anybody can check it without this laboratory, "
    "by the short program custody_check.py or on the page /custody/check, which sends nothing anywhere. The QR holds "
    "the head: kept by somebody outside, it shows if the log is ever rewritten. The log proves that the record was "
    "not changed, not that it was true when it was written."
)
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def seal(proof: Proof | None) -> list[Flowable]:
    """The part of the report, with the attachments; a sentence where the report is not signed."""
    if proof is None:
        words = "This report is not in a signed log: nothing shows whether its record was changed since."
        return [*heading("Proof of the record", 15), cell(words)]
    symbol = Symbol(str(proof.head))
    said = pairs(
        [
            ("Entries", f"{proof.entries} of this sample and its lot, the last one no. {proof.seq}"),
            ("Log", f"{proof.head.size} entries when its head was signed"),
            ("Mark", mark_of(proof.leaf)),
            ("Key", [cell(str(proof.key), size=SMALL_PT)]),
            ("Head", [cell(line, size=SMALL_PT) for line in str(proof.head).split("\n") if line]),
        ],
        inner_mm("a4") - symbol.side_mm,
    )
    table = Table([[said, symbol]], colWidths=[None, symbol.side_mm * MM], hAlign="LEFT")
    whole = ((0, 0), (-1, -1))
    table.setStyle([("VALIGN", *whole, "TOP"), ("LEFTPADDING", *whole, 0), ("RIGHTPADDING", *whole, 0)])
    parts = [
        (RECORD_NAME, "Custody record of this report", proof.content, MARK),
        (HEAD_NAME, "Signed head of the log", str(proof.head).encode(), ""),
    ]
    shown = [*heading("Proof of the record", 60), table, Spacer(0, 1.5 * MM), cell(WORDS)]
    return [KeepTogether(shown), Attached(parts)]


def mark_of(leaf: bytes) -> str:
    """The first 80 bits of a hash in 16 letters for the eye (Crockford's base 32): 0123-4567-89AB-CDEF."""
    number = int.from_bytes(leaf[:MARK_BYTES], "big")
    letters = "".join(LETTERS[number >> shift & 31] for shift in range(75, -1, -5))
    return "-".join(letters[at : at + 4] for at in range(0, 16, 4))


class Symbol(Flowable):
    """The text as a QR in vector, error level M."""

    def __init__(self, text: str) -> None:
        super().__init__()
        code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=0)
        code.add_data(text.encode())
        code.make()
        self.grid = tuple(tuple(bool(one) for one in row) for row in code.modules)
        self.side_mm = qr.side_mm(len(self.grid), MODULE_MM)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.side_mm * MM, self.side_mm * MM

    def draw(self) -> None:
        qr.draw(self.canv, self.grid, 0, self.side_mm, MODULE_MM)


class Attached(Flowable):
    """Takes no room; puts files into the PDF (ISO 32000-1, 7.11.4): name, what it is, bytes, a mark or nothing."""

    def __init__(self, parts: Sequence[tuple[str, str, bytes, str]]) -> None:
        super().__init__()
        self.parts = parts

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        document = self.canv._doc
        named: list[Any] = []
        for name, words, content, mark in self.parts:
            about = {"Type": PDFName("EmbeddedFile")}
            if mark:
                about[mark] = PDFName("yes")
            # No filter: whoever reads the bytes of the PDF reads the record.
            stream = document.Reference(PDFStream(PDFDictionary(about), content, filters=[]))
            given = {
                "Type": PDFName("Filespec"),
                "F": PDFString(name),
                "UF": PDFString(name),
                "Desc": PDFString(words),
                "EF": PDFDictionary({"F": stream}),
            }
            named += [PDFString(name), document.Reference(PDFDictionary(given))]
        files = PDFDictionary({"Names": PDFArray(named)})
        document._catalog.Names = PDFDictionary({"EmbeddedFiles": files})
