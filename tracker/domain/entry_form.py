"""The same entries as `canonical(entry_of(...))`, for events that differ only in what each has of its own.

The rows of one file are such events: of one kind and one person, heard of together, with the same words. Their entry
is made once as any other is, with holes for the rest, and filled in for each row.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tracker.domain.canonical import Form, bare, canonical, hole
from tracker.domain.log_entry import Happened, entry_of, seal_of_text, words_of


class EntryForm:
    """Entries of events like a first one."""

    def __init__(self, like: Happened, own: Mapping[str, str]) -> None:
        """like: an event of a sample; own: a hole for each value in its data that is each event's own.

        Raises ValueError where one of them is sealed with the words, which are the same for all.
        """
        entry = entry_of(like, "", None)
        if not own.keys() <= entry["data"].keys():
            raise ValueError("what is sealed is no event's own here")
        self._words = canonical(words_of(like))
        self._form = Form(
            {
                **entry,
                "data": {**entry["data"], **own},
                "id": hole("event_id"),
                "item": f"sample {hole('sample')}",
                "lot": bare("lot"),
                "occurred_at": hole("occurred"),
                "prev": bare("previous"),
                "seq": bare("seq"),
                "words": hole("seal"),
            }
        )

    def write(self, parts: Mapping[str, Any], salt: bytes, previous: bytes | None) -> str:
        """The entry's text.

        parts: what is in the holes of its data, its seq, event_id, sample and lot, and when it occurred as written.
        """
        return self._form.filled(
            {
                **parts,
                "previous": "null" if previous is None else f'"{previous.hex()}"',
                "seal": seal_of_text(salt, self._words),
            }
        )
