"""How hard a text is to read: two published formulas, and sentences with the words in them.

Flesch-Kincaid grade: Kincaid, Fishburne, Rogers & Chissom, Derivation of new readability formulas for Navy enlisted
personnel, Research Branch Report 8-75, 1975: 0.39 words/sentences + 11.8 syllables/words - 15.59. Automated
readability index: Senter & Smith, AMRL-TR-66-220, 1967: 4.71 letters/words + 0.5 words/sentences - 21.43. (A library
for the first asks for a dictionary from the network at run time, so syllables are counted here by groups of vowels,
and tests/domain/test_readability.py holds the count against words whose syllables a dictionary gives.)
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence

_WORD = re.compile(r"[A-Za-z]+(?:['-][A-Za-z]+)*|\d[\d,.]*")
_END = re.compile(r"(?<=[.!?])\s+|\n+")
# A point that ends no sentence.
_ABBREVIATED = re.compile(r"\b(Dr|Mr|Mrs|St|Univ|No)\.")


def sentences(text: str) -> list[str]:
    """The sentences; a line of its own is one too."""
    plain = _ABBREVIATED.sub(r"\1", text)
    return [part.strip() for part in _END.split(plain) if _WORD.search(part)]


def prose(text: str) -> list[str]:
    """The sentences proper: those that end like one. Headings and cells of a table would make any text look easy."""
    return [one for line in text.splitlines() if line.rstrip()[-1:] in ".!?" for one in sentences(line)]


def words(text: str) -> list[str]:
    """Words and figures."""
    return _WORD.findall(text)


def syllables(word: str) -> int:
    """Groups of vowels, less a silent e; a figure counts as one."""
    plain = re.sub(r"[^a-z]", "", word.lower())
    if not plain:
        return 1
    groups = len(re.findall(r"[aeiouy]+", plain))
    if re.search(r"[^aeiouyl]e$|[^aeiouytd]ed$|[^aeiouysxzc]es$", plain) and groups > 1:
        groups -= 1
    # Two vowels that are said apart: di-et, sci-ence, area, radio.
    groups += len(re.findall(r"i[ao](?!u)|ie(?=t)|ea(?=$)|eo|ua(?=l)", plain)) - len(
        re.findall(r"[tsc]io|[tsc]ia", plain)
    )
    return max(groups, 1)


def flesch_kincaid(texts: Sequence[str]) -> float:
    """Grade of the texts together."""
    said = [one for text in texts for one in sentences(text)]
    found = [word for one in said for word in words(one)]
    total = sum(syllables(word) for word in found)
    return 0.39 * len(found) / len(said) + 11.8 * total / len(found) - 15.59


def automated_index(texts: Sequence[str]) -> float:
    """The automated readability index of the texts together."""
    said = [one for text in texts for one in sentences(text)]
    found = [word for one in said for word in words(one)]
    letters = sum(len(re.sub(r"[^A-Za-z0-9]", "", word)) for word in found)
    return 4.71 * letters / len(found) + 0.5 * len(found) / len(said) - 21.43


def page_text(page: str) -> str:
    """What a page says, block by block on lines of their own, without markup, pictures and addresses."""
    main = re.search(r"<main.*?</main>", page, re.DOTALL)
    text = main[0] if main else page
    text = re.sub(r"<(svg|script|style)\b.*?</\1>", " ", text, flags=re.DOTALL)
    text = re.sub(
        r"</?(p|li|h\d|td|th|tr|summary|label|button|div|ul|ol|table|thead|tbody|details|form)\b[^>]*>",
        "\n",
        text,
    )
    text = re.sub(r"<br\s*/?>|<span[^>]*>|</span>", "\n", text)
    text = html.unescape(re.sub(r"<[^>]+>", "", text))
    return "\n".join(line for line in (" ".join(line.split()) for line in text.splitlines()) if line)
