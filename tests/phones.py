"""A phone as tests hold it: it counts its entries, makes ids in order of time, and has a clock that may be wrong."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from tests.makers import at
from tracker.domain.field_entry import MARKER
from tracker.files.field_entries import Batch, read_batch
from tracker.steps.entry_answers import Answer
from tracker.steps.take_entries import take_entries
from tracker.storage.engine import Database
from tracker.storage.people import party

LOT = {
    "producer": {"name": "Oda Meadow"},
    "field": "Long field",
    "cutting": 2,
    "forage": "alfalfa",
    "harvested": "2026-06-01",
    "shape": "small square",
    "bale_count": 118,
    "bale_lb": "61",
}


def uuid7(minute: float, number: int) -> str:
    """An id in order of time (RFC 9562, 5.7): 48 bits of milliseconds, version 7, variant 10, then any bits."""
    stamp = int(at(minute).timestamp() * 1000)
    value = (
        stamp << 80 | 0x7 << 76 | 0b10 << 62 | uuid.uuid4().int & ((1 << 50) - 1) | number << 50 & 0xFFF << 50
    )
    return str(uuid.UUID(int=value))


@dataclass
class Phone:
    """slow: how many minutes its clock is behind the office's; knows: whether it has compared its clock."""

    who: str = "tove"
    device: str = field(default_factory=lambda: str(uuid.uuid4()))
    slow: float = 0
    knows: bool = True
    count: int = 0

    def entry(self, kind: str, minute: float, payload: Mapping[str, Any], **changes: Any) -> dict[str, Any]:
        """An entry made at that minute of the office's clock."""
        self.count += 1
        return {
            "event_id": uuid7(minute, self.count),
            "seq": self.count,
            "kind": kind,
            "payload": dict(payload),
            "who": self.who,
            "device_time": self.clock(minute),
            "clock_offset_ms": int(self.slow * 60_000) if self.knows else None,
            "clock_jumped": False,
            "source": "phone",
            "paper": None,
            "how": "camera",
            **changes,
        }

    def clock(self, minute: float) -> str:
        """What the phone shows at that minute of the office's clock."""
        return (at(minute) - timedelta(minutes=self.slow)).isoformat(timespec="milliseconds")

    def body(self, minute: float, *entries: Any, **changes: Any) -> dict[str, Any]:
        """What it posts at that minute, and what a file of it holds."""
        return {
            "marker": MARKER,
            "device": self.device,
            "device_name": "Tove's phone",
            "sent_at": self.clock(minute),
            "entries": list(entries),
            **changes,
        }

    def batch(self, minute: float, *entries: Any) -> Batch:
        return read_batch(json.dumps(self.body(minute, *entries)).encode())

    def send(
        self, season: Database, minute: float, *entries: Any, by: str | None = None, via: str = "sent"
    ) -> tuple[Answer, ...]:
        """Sent, and heard at that minute."""
        batch = self.batch(minute, *entries)
        with season.act("take entries", self.who, {}) as session:
            return take_entries(session, batch, party(session, by or self.who), at(minute), via=via)

    def planned(self, minute: float = 10, **changes: Any) -> list[dict[str, Any]]:
        """A lot registered and planned with no signal."""
        lot = self.entry("register lot", minute, {**LOT, **changes})
        plan = self.entry(
            "plan coring", minute + 1, {"lot": {"entry": lot["event_id"]}, "seed": 3, "probe": PROBE}
        )
        return [lot, plan]

    def bagged(self, code: str, minute: float = 10, **changes: Any) -> list[dict[str, Any]]:
        """The same, cored as planned and in a bag with this tag."""
        lot, plan = self.planned(minute, **changes)
        sample = {"entry": plan["event_id"]}
        core = self.entry(
            "core lot",
            minute + 30,
            {"sample": sample, "started_at": self.clock(minute + 10), "entry": "end", "deviations": []},
        )
        bag = self.entry("bag cores", minute + 35, {"sample": sample, "code": code})
        return [lot, plan, core, bag]


PROBE = {"name": "", "inside_mm": "15.9", "length_mm": "510"}


def words(answers: tuple[Answer, ...]) -> list[str]:
    """What each entry was answered, a refusal with its code."""
    return [f"{one.answer} {one.code}" if one.code else one.answer for one in answers]
