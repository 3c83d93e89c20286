"""What a page says, and what its forms would send."""

from __future__ import annotations

import re


def words(html: str) -> str:
    """What a page says, without its marks."""
    plain = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", plain).split())


def hidden(html: str, name: str) -> str:
    """The value of this hidden field, which is the same in every form of the page that has it."""
    (found,) = set(re.findall(rf'<input type="hidden" name="{name}" value="([^"]*)"', html))
    return str(found)
