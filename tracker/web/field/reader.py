"""The QR reader for browsers without one: a package of the npm registry, fixed by a lock file, served by us.

It is fetched when the program is built or installed, or by `tracker fetch-reader`, and never committed. Only the
standard library is imported here, because the build runs this file before anything is installed.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
LOCK = HERE / "npm"
PLACE = HERE.parent / "static" / "reader"
PACKAGE = "zxing-wasm"
# What the pages load, and where it lies in the package. The script asks for "../share.js".
FILES = {
    "es/index.js": "dist/es/reader/index.js",
    "share.js": "dist/es/share.js",
    "zxing_reader.wasm": "dist/reader/zxing_reader.wasm",
    "LICENSE.txt": "LICENSE",
}


class ReaderMissing(Exception):
    """The reader could not be had; the words say why and what to do."""


def stands(place: Path = PLACE) -> bool:
    """Whether every file of the reader is there."""
    return all((place / name).is_file() for name in FILES)


def fetch(place: Path = PLACE) -> None:
    """Fetch the reader by npm, which holds it against the lock file's checksum. Raises ReaderMissing."""
    npm = shutil.which("npm")
    if npm is None:
        raise ReaderMissing(
            "npm is not installed here. Install Node.js with npm, then: tracker fetch-reader."
        )
    with tempfile.TemporaryDirectory() as folder:
        for name in ("package.json", "package-lock.json"):
            shutil.copy(LOCK / name, folder)
        asked = [npm, "ci", "--ignore-scripts", "--omit=dev", "--no-audit", "--no-fund"]
        try:
            answer = subprocess.run(
                asked, cwd=folder, capture_output=True, text=True, check=False, timeout=300
            )
        except (OSError, subprocess.TimeoutExpired) as fault:
            raise ReaderMissing(f"npm did not answer: {fault}. Try again: tracker fetch-reader.") from fault
        if answer.returncode:
            said = (answer.stderr.strip().splitlines() or ["it said nothing"])[-1]
            raise ReaderMissing(
                f"npm could not fetch {PACKAGE}: {said}. With a network, try: tracker fetch-reader."
            )
        _keep(Path(folder) / "node_modules" / PACKAGE, place)


def _keep(package: Path, place: Path) -> None:
    for name, source in FILES.items():
        target = place / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(package / source, target)
