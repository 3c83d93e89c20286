"""Reading back what a command wrote on paper."""

from __future__ import annotations

from pathlib import Path

import pypdfium2 as pdfium


def text_of(file: str | Path) -> str:
    """The words of every page."""
    document = pdfium.PdfDocument(file)
    try:
        return "\n".join(page.get_textpage().get_text_range() for page in document)
    finally:
        document.close()
