"""What setuptools runs when the program is built or installed: the QR reader comes along if it can be had."""

from __future__ import annotations

import runpy
from pathlib import Path

from setuptools.command.build_py import build_py


class BuildWithReader(build_py):
    """Fetch the reader first, so that it is packed; without it the build goes on and says so."""

    def run(self) -> None:
        """Fetch, then build as usual."""
        # The program itself cannot be imported yet.
        reader = runpy.run_path(str(Path(__file__).with_name("reader.py")))
        if not reader["stands"]():
            try:
                reader["fetch"]()
            except reader["ReaderMissing"] as missing:
                self.warn(f"{missing} Until then tags are typed where the browser reads no QR by itself.")
        super().run()
