"""The report of a check: findings with source, staff and ready edits, and the summary line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from fractions import Fraction
from typing import Any

from arranger.model.diagnostic import Diagnostic, Remedy, Severity
from arranger.model.draft import Draft
from arranger.model.ledger import KINDS
from arranger.model.mark_edits import KIND_OF_MARK, PartEdit
from arranger.model.pitch import Pitch
from arranger.model.placed_groups import TENTH
from arranger.report.json_report import Heading, limit_told, places, report
from arranger.rulebook.rules import RuleSource, rule

_KINDS: Mapping[Severity, str] = {
    "error": "cannot be played", "warning": "against the idiom", "advice": "advice"}


@dataclass(frozen=True, slots=True)
class Looked:
    """How much was examined; ``mechanism`` says what moves."""

    attacks: int
    chords: int
    moves: int
    marks: int
    mechanism: str = "pedal"


def check_report(draft: Draft, heading: Heading, findings: Sequence[Diagnostic],
                 looked: Looked, trouble: Mapping[str, Any],
                 span: int = TENTH) -> dict[str, Any]:
    """Return the object written as report.json by a check.

    ``trouble``: limits of tempo and conflicting notes, as ``passes.trouble`` reports them.
    ``span``: string steps of the player's hand.
    """
    counts = Counter(d.severity for d in findings)
    kind = "lever" if looked.mechanism == "lever" else "pedal"
    body = report(draft, heading, (), {
        "findings": len(findings), "errors": counts["error"], "warnings": counts["warning"],
        "advice": counts["advice"], "attacks": looked.attacks, "chords": looked.chords,
        f"{kind}_moves": looked.moves, f"{kind}_marks": looked.marks,
        "line": summary_line(findings, looked)}, span=span)
    body["findings"] = [finding_told(d) for d in findings]
    body |= trouble
    del body["cost"], body["bound"], body["stays"]
    return body


def summary_line(findings: Sequence[Diagnostic], looked: Looked) -> str:
    """Say how many findings of which kind, and how much was looked at."""
    if not looked.attacks:
        return "nothing to check: the part has no notes that are plucked"
    counts = Counter(d.severity for d in findings)
    kinds = ", ".join(f"{counts[s]} {words}" for s, words in _KINDS.items() if counts[s])
    total = len(findings)
    found = f"{total} finding{'s' if total != 1 else ''}: {kinds}" if total else "no findings"
    what = looked.mechanism
    seen = [f"{looked.chords} chord{'s' if looked.chords != 1 else ''}" if looked.chords else
            f"{looked.attacks} single note{'s' if looked.attacks != 1 else ''} and no chords",
            f"{looked.moves} {what} move{'s' if looked.moves != 1 else ''}" if looked.moves else
            f"no {what} moves"]
    if what == "chromatic":
        seen.pop()
    if looked.marks:
        kind = "lever" if what == "lever" else "pedal"
        seen.append(f"{looked.marks} {kind} mark{'s' if looked.marks != 1 else ''}")
    return f"{found}; looked at {', '.join(seen)}"


def finding_told(found: Diagnostic) -> dict[str, Any]:
    """Return a finding as it stands in the report of a check."""
    where = found.where
    return {"code": found.code, "name": found.name, "severity": found.severity,
            "message": found.message, "part": found.part, "bar": where.bar,
            "bar_index": where.bar_index, "beat": str(where.beat), "onset": str(where.onset),
            "places": places(found), "staff": found.staff or None, "notes": list(found.notes),
            **limit_told(found), "rule": rule(found.code).title, "source": source_of(found.code),
            "remedies": [_remedy(r) for r in found.remedies]}


def source_of(code: str) -> str:
    """Where a rule comes from, on one line: its first source."""
    return _told(rule(code).sources[0])


def _told(source: RuleSource) -> str:
    if source.kind:
        return source.kind + (f": {source.note}" if source.note else "")
    year = f" ({source.year})" if source.year else ""
    place = f", {source.place}" if source.place else ""
    return f"{source.author}, {source.title}{year}{place}"


def _remedy(remedy: Remedy) -> dict[str, Any]:
    return {"title": remedy.title, "fidelity": remedy.fidelity, "cost": remedy.cost,
            "edits": [_edit(e) for e in remedy.edits]}


def _edit(edit: PartEdit) -> dict[str, Any]:
    kinds: Mapping[type, str] = {**KINDS, **KIND_OF_MARK}
    return {"kind": kinds[type(edit)],
            **{f.name: _plain(getattr(edit, f.name)) for f in fields(edit)}}


def _plain(value: object) -> object:
    if isinstance(value, Pitch):
        return value.name
    return str(value) if isinstance(value, Fraction) else value
