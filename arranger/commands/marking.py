"""``pedals``: the pedals marked into a composer's own harp part, which is only added to."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from arranger.checks.playable import findings
from arranger.commands.converting import more_told, summary
from arranger.commands.delivery import delivered, diagrams_at, heading, page_of
from arranger.commands.opening import Opened, open_as_written, settings_of
from arranger.commands.proving import marked_pedals, only_added_to
from arranger.commands.request import Progress, Request, Result
from arranger.io.mark_part import mark_part, tree_text
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.part_marks import read_marks
from arranger.io.source import text_of
from arranger.io.source_part import source_part
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.draft import Draft
from arranger.model.errors import ChoiceError, SourceError
from arranger.model.ledger import Respell
from arranger.passes.notice import notices
from arranger.passes.pipeline import mark_pedals
from arranger.report.json_report import report
from arranger.rulebook.rules import rule


def pedals(request: Request, folder: Path | None = None,
           progress: Progress = lambda _: None) -> Result:
    """Mark the pedals into a harp part; nothing that stands in the file is changed.

    Parameters
    ----------
    request : the part, and for which harp and player.
    folder : where marked.musicxml, report.json and report.html go; None writes nothing.
    progress : is told each stage of the work in a few words.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.

    Examples
    --------
    >>> result = pedals(Request(Path("corpus/the-mill-race/score.musicxml"), page=False))
    >>> result.report["pedals"]["opening"]["F"]
    1
    """
    settings = settings_of(request)
    if settings.harp.mechanism != "pedal":
        raise ChoiceError(f"the harp {settings.harp.name} has no pedals to mark; convert makes a "
                          f"draft with lever marks")
    progress("reading the part")
    opened = open_as_written(request)
    document, part = opened.document, opened.part
    if not document.score.part_notes(part):
        raise SourceError(f"{request.source}: the chosen part has no notes; choose another "
                          f"with --part")
    draft = mark_pedals(document.score, part, settings, progress).draft
    errors = findings(draft, settings.harp, settings.player)
    said = (*errors, *_respelled(draft), *notices(draft, opened.harp_part.removed, settings))
    body = report(draft, heading("pedals", request, opened, more_told(request, settings, opened)),
                  said, summary(draft, errors), span=settings.player.span_steps)
    progress("marking the part")
    text = text_of(request.source) if len(opened.parts) == 1 else None
    there = read_marks(document.root, part, document.score).pedals
    marked = mark_part(text, document, draft, there, diagrams_at=diagrams_at(opened, draft),
                       pedals=request.pedals)
    only_added_to(request, text or tree_text(document.root), marked, draft)
    if not there:
        marked_pedals(request, marked, draft, settings, errors)
    files = {"marked.musicxml": marked}
    if request.page:
        files["report.html"] = page_of(body, _alone(marked, opened), None, progress)
    return delivered(body, files, errors, folder)


def _respelled(draft: Draft) -> Iterator[Diagnostic]:
    """Notes that the marked pedals give on another string than the one they are spelled on."""
    for note in draft.notes:
        written = note.source.pitch
        if note.pitch != written:
            yield Diagnostic(
                "N1", rule("N1").name, "warning", f"{written.label} is to be plucked as "
                f"{note.pitch.label}: there the marked pedals give it",
                draft.source.locate(note.onset, note.source.measure), (note.id,), draft.part,
                (Remedy(f"write {note.pitch.label} for {written.label}", "same-sound", None,
                        (Respell(note.id, note.pitch),)),), note.source.staff)


def _alone(marked: bytes, opened: Opened) -> bytes:
    """Return the marked part by itself, its notes called as in the report."""
    document = read(parse(marked, opened.document.name), opened.document.name, (opened.part,))
    return source_part(document, opened.part, "")
