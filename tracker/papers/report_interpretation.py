"""The report's interpretation, apart from what was measured: for whom, what it means, what it rests on, by whom.

ISO/IEC 17025:2017, 7.8.7: opinions and interpretations are marked as such, their basis is written down, and
authorised persons release them. A report of before that held none prints none.
"""

from __future__ import annotations

from typing import Any

from reportlab.platypus import Flowable, Spacer

from tracker.papers.flow import DASH, cell, heading, ruled, stacked
from tracker.papers.pen import MM, SMALL_PT
from tracker.papers.report_said import Body, given, joined, part, rows, when

TITLE = "Interpretation"
CHANGED = "changed in this version"


def interpretation(body: Body) -> list[Flowable]:
    """The part with its title; nothing where the report has no such part at all."""
    found = part(body, "interpretation")
    if not found:
        return []
    note = "Not measured: what the results above mean for feeding. It is an opinion, and no result of a test."
    head = [*heading(TITLE, 45), cell(note, size=SMALL_PT), Spacer(0, 1 * MM)]
    if not given(found.get("released_by")):
        why = found.get("why_none") or "None was released with this report."
        return [*head, cell(why)]
    header = ("For", "Verdict", "What to add", "How sure")
    answers = rows(found, "answers")
    groups = [_answer(answer, _shared(answers)) for answer in answers]
    table = ruled(header, groups, (38, 38, 56, 38))
    basis = [cell(words, size=SMALL_PT) for words in rows(found, "basis")]
    return [
        *head,
        table,
        Spacer(0, 1.5 * MM),
        *(cell(words, lead="For all of them:") for words in _shared(answers)),
        Spacer(0, 1.5 * MM),
        cell(_released(found), bold=True),
        Spacer(0, 1.5 * MM),
        cell("What it rests on", size=SMALL_PT, bold=True),
        cell(f"Values of {found.get('report') or 'this report'}, as printed above.", size=SMALL_PT),
        *basis,
    ]


def _shared(answers: list[Any]) -> list[str]:
    """What is to be minded with each of them alike; said once."""
    first, *others = [rows(answer, "warnings") for answer in answers]
    return [words for words in first if all(words in other for other in others)]


def _answer(answer: Body, shared: list[str]) -> list[list[Any]]:
    animals, said = part(answer, "animals"), part(answer, "said")
    name = f"{answer['group']}: " if given(answer.get("group")) else ""
    whom = stacked(
        cell(f"{name}{animals.get('words') or DASH}"),
        cell(CHANGED, bold=True) if answer.get("changed") else None,
    )
    row = [whom, cell(said.get("sentence"), bold=True), said.get("add"), said.get("sure") or ""]
    apart = [words for words in rows(answer, "warnings") if words not in shared]
    return [row, *([cell(words, lead="Caution:")] for words in (*rows(answer, "reasons"), *apart))]


def _released(found: Body) -> str:
    who = joined(found.get("released_by"), found.get("released_by_role"))
    return f"Interpretation released by {who}, {when(found.get('released_at'))}."
