"""`python -m tracker` and the installed `tracker`."""

from __future__ import annotations

import sys

from tracker.cli import main as run


def main() -> None:
    """Run one command and leave with its answer."""
    sys.exit(run())


if __name__ == "__main__":
    main()
