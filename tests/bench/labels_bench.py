"""Tags: the sheet as it is printed, against an image for each label and against the words alone."""

from __future__ import annotations

import io
import random

import pypdfium2
import qrcode
import zxingcpp
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from labels import payload
from tests.bench.figures import Figure, in_turns
from tracker.papers.tag_sheet import Layout, Office, write_tags

BASE = "https://hay.example"
STOCK = "letter-2x3"


def pairs(count: int) -> list[tuple[str, str]]:
    rng = random.Random(5)
    return [(payload.make_code(rng), payload.make_token(rng)) for _ in range(count)]


def ours(printed: list[tuple[str, str]]) -> bytes:
    file = io.BytesIO()
    write_tags(file, Office("Larkmoor Hay Testing Programme", "555-0142", BASE), 1, printed, Layout(STOCK))
    return file.getvalue()


def words_only(printed: list[tuple[str, str]]) -> bytes:
    """Six lines of words for each label and no symbol."""
    file = io.BytesIO()
    canvas = Canvas(file, pageCompression=1)
    for number, (code, _) in enumerate(printed):
        _words(canvas, number, code)
    canvas.save()
    return file.getvalue()


def images(printed: list[tuple[str, str]]) -> bytes:
    """As a first try would do it: a picture of each of a label's two symbols, put on the page."""
    file = io.BytesIO()
    canvas = Canvas(file, pageCompression=1)
    for number, (code, token) in enumerate(printed):
        _words(canvas, number, code)
        for text in (payload.url(BASE, code), payload.url(BASE, token)):
            picture = io.BytesIO()
            qrcode.make(text).save(picture, "PNG")
            picture.seek(0)
            canvas.drawImage(ImageReader(picture), 20, 20, 70, 70)
    canvas.save()
    return file.getvalue()


def _words(canvas: Canvas, number: int, code: str) -> None:
    canvas.setFont("Helvetica", 7)
    for line in range(6):
        canvas.drawString(100, 700 - 10 * line, f"{code} line {line} of label {number}")
    if number % 6 == 5:
        canvas.showPage()


def decoded(pdf: bytes) -> set[str]:
    """Every symbol that a reader finds on the pages at 203 dots to the inch."""
    document = pypdfium2.PdfDocument(pdf)
    found: set[str] = set()
    for page in document:
        bitmap = page.render(scale=203 / 72, grayscale=True)
        found |= {one.text for one in zxingcpp.read_barcodes(bitmap.to_numpy())}
    document.close()
    return found


def measure(quick: bool) -> list[Figure]:
    """The figures of tags; every symbol of both kinds is read back."""
    printed = pairs(24 if quick else 600)
    times = in_turns(
        {
            "ours": lambda: ours(printed),
            "images": lambda: images(printed),
            "words": lambda: words_only(printed),
        },
        1 if quick else 3,
    )
    pdf = ours(printed)
    wanted = {payload.url(BASE, text) for pair in printed for text in pair}
    read = len(wanted & decoded(pdf))
    return [
        Figure(
            "tags", "an image for each symbol / ours", times["images"] / times["ours"], "x", 12, most=False
        ),
        Figure("tags", "ours / words alone", times["ours"] / times["words"], "x", 4),
        Figure("tags", "size of a label with its two symbols", len(pdf) / len(printed), "bytes", 350),
        Figure("tags", f"symbols read back of {len(wanted)}", 100 * read / len(wanted), "%", 100, most=False),
    ]
