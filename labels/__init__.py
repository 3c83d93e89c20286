"""Printed labels with a QR code: what they say, where they lie on the sheet, and the PDF.

The package knows nothing of hay, databases or the tracker; `python -m labels` works by itself. All lengths
are millimetres; positions run from the top left corner of the page or label, y downwards.
"""

from labels.errors import LabelError

__all__ = ["LabelError"]
