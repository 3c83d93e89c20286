"""Where a page leads back to: one of our own pages, never an address of somebody else's."""

from __future__ import annotations

import re

# Browsers take a backslash for a slash, so /\elsewhere is another host, and so is //elsewhere.
_OWN = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")


def own(address: str | None, otherwise: str) -> str:
    """The address, if it is a path of ours; else the other one."""
    return address if address and _OWN.fullmatch(address) else otherwise
