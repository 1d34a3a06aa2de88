"""``convert`` and ``keys``: a draft from the planner, judged and written."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.checks.levers import lever_findings
from arranger.checks.playable import findings
from arranger.commands.bundling import bundle
from arranger.commands.delivery import delivered, diagrams_at, heading, page_of
from arranger.commands.opening import Opened, open_to_arrange, settings_of
from arranger.commands.proving import accounted, proofread, read_back, stable
from arranger.commands.request import Progress, Request, Result, SelfCheckError
from arranger.commands.singing import sung
from arranger.commands.taking import Taken, choices_file, fared, take
from arranger.io.musicxml_write import write
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.model.errors import ChoiceError
from arranger.model.ledger import Add, GiveToHand, Ledger
from arranger.model.pins import Pins
from arranger.model.score import NoteId
from arranger.options import key_table
from arranger.passes import keys
from arranger.passes.notice import notices
from arranger.passes.settings import Settings
from arranger.plan.lever_path import written_key
from arranger.report.engraver import EngravingError
from arranger.report.json_report import report
from arranger.report.midi import midi_bytes
from arranger.report.wav import synthesiser, wav_bytes

#: No more than a conversion says and writes.
NOTHING: Mapping[str, Any] = {}


def convert(request: Request, folder: Path | None = None,
            progress: Progress = lambda _: None) -> Result:
    """Arrange the chosen part of a score as a harp draft.

    Parameters
    ----------
    request : the score, and for which harp and player.
    folder : where draft.musicxml, report.json, report.html and draft.mid go; None writes nothing.
    progress : is told each stage of the work in a few words.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.

    Examples
    --------
    >>> score = Path("corpus/the-mill-race/score.musicxml")
    >>> result = convert(Request(score, player="small-hand", page=False))
    >>> sorted(result.files)
    ['draft.mid', 'draft.musicxml', 'report.json']
    >>> result.report["summary"]["source_notes"]
    411
    """
    settings = settings_of(request)
    if request.wav:
        synthesiser()  # before any work: is it there?
    progress("reading the score")
    opened = transposed(request, settings, progress)
    chosen = take(request, opened, settings)
    draft = chosen.arranged(opened, progress)
    return drafted("convert", request, chosen, opened, draft, folder, progress)


def transposed(request: Request, settings: Settings, progress: Progress) -> Opened:
    """Open the source, in the key that was asked for."""
    opened = open_to_arrange(request)
    if request.sung_range and not request.transpose:
        raise ChoiceError("--range goes with --transpose best or --transpose N")
    if request.transpose:
        progress("looking for the key")
        opened = open_to_arrange(request, _semitones(request, settings, opened))
    return opened


def keys_of(request: Request) -> list[str]:
    """What each transposition within a fourth costs on this harp, best first, a line each.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.

    Examples
    --------
    >>> lines = keys_of(Request(Path("corpus/the-mill-race/score.musicxml"), harp="lever-34"))
    >>> len(lines), sum(line.startswith("up 0") for line in lines)
    (11, 1)
    """
    settings, opened = settings_of(request), open_to_arrange(request)
    score, part = opened.document.score, opened.part
    if settings.harp.mechanism == "pedal":
        return key_table.told(key_table.key_table(score, part, settings))
    return keys.told(keys.advice(score, part, settings))


def _semitones(request: Request, settings: Settings, opened: Opened) -> int:
    """What ``--transpose`` and ``--range`` ask for; ChoiceError where they exclude each other."""
    singers = sung(request.sung_range, opened) if request.sung_range else None
    if request.transpose == "best":
        best_first = keys.advice(opened.document.score, opened.part, settings)
        fitting = [k.semitones for k in best_first
                   if singers is None or singers.fits(k.semitones)]
        if not fitting:
            raise ChoiceError(f"no key within a fourth puts the kept parts into "
                              f"{request.sung_range}")
        return fitting[0]
    semitones = semitones_of(request.transpose)
    if singers is not None and not singers.fits(semitones):
        raise ChoiceError(f"transposed by {semitones} the kept parts leave {request.sung_range}; "
                          f"try --transpose best")
    return semitones


def semitones_of(text: str) -> int:
    """Return the semitones of ``--transpose``, 0 where nothing is said; ChoiceError if none."""
    if not text:
        return 0
    if not re.fullmatch(r"[+-]?\d{1,2}", text) or abs(int(text)) > 24:
        raise ChoiceError(f"cannot transpose by {text!r}; give semitones from -24 to 24, or best")
    return int(text)


def drafted(command: str, request: Request, chosen: Taken, opened: Opened, draft: Draft,
            folder: Path | None, progress: Progress,
            more: Mapping[str, Any] = NOTHING, more_files: Mapping[str, bytes] = NOTHING) -> Result:
    """Judge the draft, write it with its report and what more there is, and deliver all."""
    settings = chosen.settings
    draft = _accounted(request, opened, draft)
    errors, said, lever_keys = _judged(settings, opened, draft)
    progress("writing the draft")
    xml, lengths = written(request, settings, opened, draft)
    proofread(request, xml, draft, settings, errors)
    figures = summary(draft, errors)
    if len(opened.parts) > 1:
        figures["written_shorter"] = sum(lengths.get(n.id, n.source.duration) < n.source.duration
                                         for n in draft.notes)
    body = report(draft, heading(command, request, opened, more_told(request, settings, opened)),
                  said, figures, opened.doubled, lengths, opened.struck_again,
                  settings.player.span_steps)
    if "levers" in body:
        body["levers"] |= lever_keys
    if remarks := (*_added_words(draft), *opened.remarks):
        body["remarks"] = list(remarks)
    choices = fared(chosen, opened, draft)
    body |= ({"choices": choices} if choices else {}) | dict(more)
    files = {"draft.musicxml": xml,
             "draft.mid": midi_bytes([(n.onset, n.source.duration, n.pitch.midi)
                                      for n in draft.notes if not n.source.grace],
                                     draft.source.tempo),
             **choices_file(chosen, request), **more_files}
    if request.page:
        files["report.html"] = page_of(body, xml, opened, progress)
    if request.pdf:
        progress("printing the part")
        files |= _printed(body, xml)
    if request.wav:
        progress("playing the draft")
        files["draft.wav"] = wav_bytes(files["draft.mid"], *synthesiser())
    if request.verify:
        progress("arranging the draft again")
        stable(request, xml, replace(settings, pins=Pins()), draft)
    if request.bundle:
        files["bundle.zip"] = bundle(request.source, body, files)
    result = delivered(body, files, errors, folder)
    missing = choices.get("not_kept") or (request.pdf and "part.pdf" not in files)
    return replace(result, incomplete=True) if missing else result


def _added_words(draft: Draft) -> tuple[str, ...]:
    """Say how many notes were added to the source, if any."""
    count = sum(isinstance(e.edit, Add) for e in draft.ledger.entries)
    notes = "note" if count == 1 else "notes"
    return (f"{count} {notes} added: the chord symbols are played by the left hand.",) * bool(count)


def _printed(body: dict[str, Any], xml: bytes) -> dict[str, bytes]:
    """Print the part; where it cannot be engraved, say so in the report."""
    from arranger.report.part_pdf import part_pdf  # reportlab: 0.15 s to import
    try:
        return {"part.pdf": part_pdf(body, xml)}
    except EngravingError as error:
        body["not_engraved"] = [*body.get("not_engraved", ()),
                                f"The part was not printed. {error}"]
        return {}


def written(request: Request, settings: Settings, opened: Opened,
            draft: Draft) -> tuple[bytes, Mapping[NoteId, Fraction]]:
    """Write the draft and read it back; return it with the length of each note as written.

    Several parts are written as one player reads them only where that changes no note.
    """
    if request.damping == "none":
        draft = replace(draft, damps=())
    signed = {bar.fifths for bar in draft.source.measures}
    keys_read = {fifths: written_key(fifths, settings.harp) for fifths in signed}
    for gathered in (True, False) if len(opened.parts) > 1 else (False,):
        xml = write(opened.document, draft, diagrams_at(opened, draft), request.fingering,
                    request.pedals, gathered=gathered, keys=keys_read,
                    span=settings.player.span_steps)
        try:
            lengths = read_back(request, xml, draft)
        except SelfCheckError:
            if not gathered:
                raise
        else:
            break
    return xml, lengths


def _accounted(request: Request, opened: Opened, draft: Draft) -> Draft:
    """Return the draft with the ledger that is told, which must account for it."""
    if len(opened.parts) > 1:  # which staff a part was laid on says nothing about its hand
        kept = tuple(e for e in draft.ledger.entries if not isinstance(e.edit, GiveToHand))
        draft = replace(draft, ledger=Ledger(kept))
    accounted(request, draft)
    return draft


def _judged(settings: Settings, opened: Opened, draft: Draft) -> tuple[
        tuple[Diagnostic, ...], tuple[Diagnostic, ...], dict[str, Any]]:
    """Return the errors, everything said, and what keys are told of a harp with levers."""
    score = opened.document.score
    costless = keys.free(score, draft.part, settings)
    least = None if costless else keys.least_loss(draft, settings)
    levers = keys.advised(lever_findings(draft, settings.harp, settings.player), costless, least)
    errors = (*findings(draft, settings.harp, settings.player),
              *(d for d in levers if d.severity == "error"))
    said = (*errors, *(d for d in levers if d.severity != "error"),
            *notices(draft, opened.harp_part.removed, settings))
    told = {} if draft.levers is None else keys.reported(score, draft.part, settings, costless,
                                                         least)
    return errors, said, told


def more_told(request: Request, settings: Settings, opened: Opened) -> dict[str, Any]:
    """What is said of the settings only where it is not the usual."""
    told: dict[str, Any] = {"transpose": opened.semitones} if opened.semitones else {}
    if request.limits:
        told["limits"] = ", ".join(request.limits)
    if request.part_is_harp:
        told["part_is_harp"] = True
    if not settings.harp.hands_judged:
        told["hands"] = "not judged on this harp"
    return told


def summary(draft: Draft, errors: Sequence[Diagnostic]) -> dict[str, float | int | str]:
    """Return the figures of a draft: notes, alterations, moves, errors."""
    source = [n for n in draft.source.source_notes(draft.part) if not n.grace]
    kept = {(n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace}
    same = sum((n.onset, n.midi) in kept for n in source)
    return {"source_notes": len(source), "draft_notes": len(kept),
            "notes_kept": round(same / len(source), 4) if source else 1.0,
            "alterations": len(draft.ledger.entries),
            **({"pedal_moves": len(draft.plan.moves)} if draft.levers is None
               else {"lever_moves": len(draft.levers.moves)}),
            "errors": len(errors)}
