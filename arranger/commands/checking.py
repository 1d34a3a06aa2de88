"""``check``: a composer's harp part examined as it is written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from arranger.checks.case import Case, Judge, open_case
from arranger.checks.marked_levers import unwritten
from arranger.commands.delivery import delivered, diagrams_at, heading, page_of
from arranger.commands.opening import Opened, open_as_written, settings_of
from arranger.commands.proving import marked_pedals, only_added_to
from arranger.commands.request import Progress, Request, Result
from arranger.io.mark_part import mark_part, tree_text
from arranger.io.part_fingers import written_fingers, written_staves
from arranger.io.part_marks import read_marks
from arranger.io.source import text_of
from arranger.io.source_part import source_part
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.passes.inspect import inspect
from arranger.passes.part_plan import planned
from arranger.passes.settings import Settings
from arranger.passes.trouble import reported
from arranger.report.check_report import Looked, check_report
from arranger.rulebook.levels import load_levels


@dataclass(frozen=True, slots=True)
class Examined:
    """A part that was read and judged: its notes and marks, the plan for it, what was found."""

    settings: Settings
    opened: Opened
    case: Case
    plan: Draft
    findings: tuple[Diagnostic, ...]
    each: tuple[Diagnostic, ...]  # before what is alike was joined
    report: dict[str, Any]


def examined(request: Request, progress: Progress) -> Examined:
    """Read a harp part and check every rule; what is raised is that of ``check``."""
    settings, levels = settings_of(request), load_levels(request.rules_file, request.rules)
    progress("reading the part")
    opened = open_as_written(request)
    document, part = opened.document, opened.part
    judge = Judge(settings.harp, settings.player, settings.prices)
    case = open_case(document.score, part, judge, read_marks(document.root, part, document.score),
                     written_fingers(document, part), written_staves(document, part))
    progress("checking every rule")
    found = inspect(case, levels)
    told = ", ".join(f"{code}={level}" for code, level in sorted(levels.items()))
    plan = planned(case, found, settings)
    report = check_report(plan, heading("check", request, opened, {"rules": told} if told else {}),
                          found.findings,
                          Looked(found.attacks, found.chords, found.moves, found.marks,
                                 settings.harp.mechanism),
                          reported(case, found), settings.player.span_steps)
    return Examined(settings, opened, case, plan, found.findings, found.each, report)


def check(request: Request, folder: Path | None = None,
          progress: Progress = lambda _: None) -> Result:
    """Examine a harp part as it is written: findings with remedies, nothing changed.

    Parameters
    ----------
    request : the part, for which harp and player, and how severe the rules are.
    folder : where marked.musicxml, report.json and report.html go; None writes nothing.
    progress : is told each stage of the work in a few words.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp, player or rule setting; one line each.

    Examples
    --------
    >>> score = Path("corpus/the-mill-race/score.musicxml")
    >>> result = check(Request(score, rules=("R1=off",), page=False))
    >>> result.incomplete, [f["bar"] for f in result.report["findings"] if f["code"] == "R1"]
    (False, [])
    """
    seen = examined(request, progress)
    opened, case, plan, body = seen.opened, seen.case, seen.plan, seen.report
    document, part = opened.document, opened.part
    progress("marking the part")
    text = text_of(request.source) if len(opened.parts) == 1 else None
    lacking = plan if plan.levers is None else replace(plan, levers=unwritten(case, plan.levers))
    marked = mark_part(text, document, lacking, case.marks.pedals, findings=seen.findings,
                       diagrams_at=diagrams_at(opened, plan), pedals=request.pedals)
    only_added_to(request, text or tree_text(document.root), marked, plan)
    errors = tuple(d for d in seen.findings if d.severity == "error")
    if request.verify and not case.marks.pedals:
        progress("replaying the pedals")
        marked_pedals(request, marked, plan, seen.settings, errors)
    files = {"marked.musicxml": marked}
    if request.page:
        files["report.html"] = page_of(body, source_part(document, part, ""), None, progress)
    return delivered(body, files, errors, folder)
