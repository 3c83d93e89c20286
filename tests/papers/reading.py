"""Papers read back from their PDF."""

from __future__ import annotations

import pypdfium2


def texts(pdf: bytes) -> list[str]:
    """The words of each page, line breaks as spaces."""
    document = pypdfium2.PdfDocument(pdf)
    pages = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    document.close()
    return pages


def stray(pdf: bytes, margin: float = 18.0) -> list[tuple[float, ...]]:
    """Bounds (left, bottom, right, top in points) of what comes nearer to the paper's edge than margin."""
    document = pypdfium2.PdfDocument(pdf)
    found = []
    for page in document:
        width, height = page.get_size()
        for thing in page.get_objects():
            left, bottom, right, top = thing.get_bounds()
            if left < margin or bottom < margin or right > width - margin or top > height - margin:
                found.append((left, bottom, right, top))
    document.close()
    return found
