"""The way out of every command: what the report is headed with, and the files published at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.commands.opening import Opened
from arranger.commands.request import Progress, Request, Result
from arranger.io.files import publish
from arranger.io.landmarks import double_bars, rehearsal_marks
from arranger.io.source import sha256
from arranger.io.source_part import source_part
from arranger.io.tempo import contradicted, in_beats
from arranger.io.timing import timing
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.passes.sections import sections
from arranger.report.json_report import Heading, dumps
from arranger.report.page_time import Source, source_of


def heading(command: str, request: Request, opened: Opened,
            more: Mapping[str, Any] | None = None) -> Heading:
    """Say what was read and with which settings; ``more`` is said where it is not the usual."""
    tempo = opened.document.score.tempo
    told = {"harp": request.harp, "player": request.player,
            "tempo": str(tempo.marks[0].bpm), "tempo_assumed": tempo.assumed,
            "tempo_from": tempo.marks[0].origin,
            "tempo_word": "" if request.tempo else contradicted(
                opened.document.root, tempo.marks[0].bpm, tempo.marks[0].beat),
            "fingering": request.fingering, "pedals": request.pedals, **(more or {})}
    if request.damping != "all":
        told["damping"] = request.damping
    if tempo.marks[0].origin != "number" and (beat := in_beats(tempo.marks[0])):
        told["tempo_beat"] = beat
    if said := timing(opened.document.root):
        told["timing"] = said
    return Heading(command, request.source.name, sha256(request.source), opened.parts,
                   opened.kept_parts, told)


def diagrams_at(opened: Opened, draft: Draft) -> tuple[Fraction, ...]:
    """Onsets at which the whole setting is printed."""
    document = opened.document
    return sections(draft, rehearsal_marks(document.root, document.score),
                    double_bars(document.root, document.score))


def page_of(body: dict[str, Any], xml: bytes, source: Opened | None, progress: Progress) -> bytes:
    """Return report.html: ``xml`` engraved, the part it was made from above it if there is one.

    What could not be engraved is said in the report too, under ``not_engraved``.
    """
    from arranger.report.html import drawn_for, page  # most modules of the report: 0.03 s
    progress("engraving the page")
    beside = Source() if source is None else source_of(
        source_part(source.document, source.part),
        source.document.score.source_notes(source.part))
    drawn = drawn_for(body, xml, beside)
    if drawn.problems:
        body["not_engraved"] = list(drawn.problems)
    return page(body, drawn, beside).encode()


def delivered(body: Mapping[str, Any], files: Mapping[str, bytes],
              errors: Sequence[Diagnostic], folder: Path | None) -> Result:
    """Return the result, its report among the files; a folder is given all of them or none."""
    name, *_ = files
    result = Result(body, {name: files[name], "report.json": dumps(body), **files}, bool(errors),
                    tuple(errors))
    if folder is not None:
        publish(folder, result.files)
    return result
