"""``compare``: two editions of a harp part, what was changed and what it did to the risk."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.commands.checking import examined
from arranger.commands.request import Progress, Request, Result
from arranger.io.files import publish
from arranger.model.score import Location
from arranger.options.editions import Change, Edition, Pair, aligned, changes, paired
from arranger.report.check_report import finding_told
from arranger.report.compare_text import summary_line
from arranger.report.json_report import SCHEMA, dumps

#: Of the settings told by a check, those that belong to the edition.
_OF_THE_EDITION = ("tempo", "tempo_assumed", "tempo_from", "tempo_beat", "tempo_word",
                   "timing")
_STATES = ("went", "stayed", "came")
#: Of a finding, what is told again; its remedies and notes stand in the report of the check.
_KEPT = ("code", "name", "severity", "message", "bar", "bar_index", "beat", "onset", "staff",
         "rule")
Finding = Mapping[str, Any]


def compare(request: Request, newer: Path, folder: Path | None = None,
            progress: Progress = lambda _: None) -> Result:
    """Compare two editions of a harp part: bars, notes, marks, and what a check says of each.

    Notes are matched by bar, beat and sounding pitch; bars put in or taken out shift nothing else.
    Dynamics, slurs and words other than pedal and lever marks are not compared.

    Parameters
    ----------
    request : the older edition, for which harp and player, and how severe the rules are.
    newer : the newer edition, judged by the same settings.
    folder : where report.json goes; None writes nothing.
    progress : is told each stage of the work in a few words.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp, player or rule setting; one line each.

    Examples
    --------
    >>> score = Path("corpus/the-mill-race/score.musicxml")
    >>> result = compare(Request(score), score)
    >>> result.report["summary"]["line"]
    'nothing changed'
    >>> result.report["changes"], {f["state"] for f in result.report["findings"]} <= {"stayed"}
    ([], True)
    """
    progress("checking the older edition")
    old, before, found_before = _edition(request)
    progress("checking the newer edition")
    new, after, found_after = _edition(replace(request, source=newer))
    pairs = aligned(old, new)
    bars = _bars(old, new, pairs)
    found = changes(old, new, pairs)
    findings = _findings(found_before, found_after, pairs)
    body: dict[str, Any] = {
        "schema": SCHEMA, "command": "compare",
        "source": _source(before), "newer": _source(after),
        "settings": {k: v for k, v in before["settings"].items() if k not in _OF_THE_EDITION},
        "bars": bars, "changes": [_change(c) for c in found], "findings": findings,
        "tempo_limits": {"before": before["tempo_limits"]["told"],
                         "after": after["tempo_limits"]["told"]}}
    body["summary"] = {
        "bars_inserted": len(bars["inserted"]), "bars_removed": len(bars["removed"]),
        "changes": dict(sorted(Counter(c.kind for c in found).items())),
        "findings": {s: sum(f["state"] == s for f in findings)
                     for s in _STATES},
        **{name: {"before": _count(found_before, grade), "after": _count(found_after, grade)}
           for name, grade in (("errors", "error"), ("warnings", "warning"),
                               ("advice", "advice"))}}
    body["summary"]["line"] = summary_line(body)
    result = Result(body, {"report.json": dumps(body)})
    if folder is not None:
        publish(folder, result.files)
    return result


def _edition(request: Request) -> tuple[Edition, Mapping[str, Any], list[Finding]]:
    """An edition as it is written, the report of its check, and each finding by itself."""
    seen = examined(request, lambda _: None)
    case = seen.case
    return (Edition(case.score, case.part, case.fingers, case.marks), seen.report,
            [finding_told(d) for d in seen.each])


def _count(findings: Sequence[Finding], severity: str) -> int:
    return sum(f["severity"] == severity for f in findings)


def _source(report: Mapping[str, Any]) -> dict[str, Any]:
    """What was read, and the tempo it was judged at."""
    return {**report["source"],
            **{k: v for k, v in report["settings"].items() if k in _OF_THE_EDITION}}


def _bars(old: Edition, new: Edition, pairs: Sequence[Pair]) -> dict[str, Any]:
    """Bars that only one edition has, as they are numbered there, with their number of notes."""
    def told(edition: Edition, indices: Sequence[int]) -> list[dict[str, Any]]:
        notes = Counter(n.measure for n in edition.score.part_notes(edition.part))
        return [{"bar": m.number, "bar_index": i + 1, "onset": str(m.onset), "notes": notes[i]}
                for i in indices for m in (edition.score.measures[i],)]
    return {"inserted": told(new, [b for a, b in pairs if a is None and b is not None]),
            "removed": told(old, [a for a, b in pairs if b is None and a is not None])}


def _findings(before: Sequence[Finding], after: Sequence[Finding],
              pairs: Sequence[Pair]) -> list[dict[str, Any]]:
    """Findings of both checks: went, stayed or came; each as in the edition that has it.

    The same finding has rule, severity, staff, beat and bar; of several, those worded alike are
    matched first. What stayed is told as in the newer edition. In order of the bars side by side.
    """
    row = {("old", a + 1): i for i, (a, _) in enumerate(pairs) if a is not None}
    row |= {("new", b + 1): i for i, (_, b) in enumerate(pairs) if b is not None}

    def place(one: tuple[int, Finding]) -> tuple[object, ...]:
        return one[0], *(one[1][k] for k in ("beat", "staff", "code", "severity"))
    old = [(row["old", f["bar_index"]], f) for f in before]
    new = [(row["new", f["bar_index"]], f) for f in after]
    alike, gone, come = paired(old, new, lambda one: (place(one), one[1]["message"]))
    reworded, gone, come = paired(gone, come, place)
    told = [*((at, "went", f) for at, f in gone),
            *((at, "stayed", f) for _, (at, f) in (*alike, *reworded)),
            *((at, "came", f) for at, f in come)]
    return [{"state": state, **{k: found[k] for k in _KEPT}} for _, state, found in sorted(
        told, key=lambda t: (t[0], _STATES.index(t[1]), Fraction(t[2]["onset"]), t[2]["code"],
                             t[2]["message"]))]


def _change(change: Change) -> dict[str, Any]:
    return {"kind": change.kind, "old": _place(change.old), "new": _place(change.new),
            "name": change.name, "before": change.before, "after": change.after}


def _place(where: Location | None) -> dict[str, Any] | None:
    if where is None:
        return None
    return {"bar": where.bar, "bar_index": where.bar_index, "beat": str(where.beat),
            "onset": str(where.onset)}
