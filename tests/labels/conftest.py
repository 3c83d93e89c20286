"""Reading printed labels back: PDF to pixels to text."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass

import pypdfium2
import pytest
import zxingcpp

from labels import payload
from labels.layout import Tag

BASE = "https://hay.example.edu"


@dataclass(frozen=True)
class Raster:
    """One page in grey, rows from the top."""

    width: int
    height: int
    pixels: bytearray

    def decoded(self) -> list[zxingcpp.Barcode]:
        view = memoryview(self.pixels).cast("B", shape=[self.height, self.width])
        return list(
            zxingcpp.read_barcodes(view, formats=zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]))
        )

    def at(self, x: int, y: int) -> int:
        return self.pixels[y * self.width + x]


def rasters(pdf: bytes, dpi: float) -> list[Raster]:
    """Every page of a PDF as a printer of that resolution would see it."""
    document = pypdfium2.PdfDocument(pdf)
    pages = []
    for number in range(len(document)):
        bitmap = document[number].render(scale=dpi / 72, grayscale=True)
        raw = bytes(bitmap.buffer)
        rows = (raw[y * bitmap.stride : y * bitmap.stride + bitmap.width] for y in range(bitmap.height))
        pages.append(Raster(bitmap.width, bitmap.height, bytearray(b"".join(rows))))
    document.close()
    return pages


def printed(write: Callable[..., object], *args: object, **kwargs: object) -> bytes:
    """What `write` puts into the file."""
    file = io.BytesIO()
    write(file, *args, **kwargs)
    return file.getvalue()


def make_tag(rng: payload.Chooser, **changes: str) -> Tag:
    code = payload.make_code(rng)
    values = {
        "code": code,
        "bag_url": payload.url(BASE, code),
        "stub_url": payload.url(BASE, payload.make_token(rng)),
        "programme": "Cedar Valley Hay Programme",
        "phone": "555-0142",
        "roll_no": "7-001",
    }
    return Tag(**{**values, **changes})


@pytest.fixture(name="rasters")
def _rasters() -> Callable[[bytes, float], list[Raster]]:
    return rasters


@pytest.fixture(name="printed")
def _printed() -> Callable[..., bytes]:
    return printed


@pytest.fixture(name="make_tag")
def _make_tag() -> Callable[..., Tag]:
    return make_tag
