"""The commands as plain functions. Nothing is written unless all of it can be written."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.checks.account import faults
from arranger.checks.case import Judge, open_case
from arranger.checks.levers import lever_findings
from arranger.checks.playable import findings
from arranger.io.document import Document
from arranger.io.doubled import doubled
from arranger.io.files import publish
from arranger.io.harp_part import HarpPart, as_harp_part
from arranger.io.landmarks import double_bars, rehearsal_marks
from arranger.io.mark_part import mark_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_choice import choose_parts
from arranger.io.part_fingers import written_fingers, written_staves
from arranger.io.part_marks import read_marks
from arranger.io.source import open_source, sha256, text_of
from arranger.io.source_part import source_part
from arranger.io.transpose import transpose
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.model.errors import ArrangerError, ChoiceError, SourceError
from arranger.model.harp import PedalSetting
from arranger.model.ledger import GiveToHand, Ledger
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId
from arranger.passes import keys
from arranger.passes.inspect import inspect
from arranger.passes.notice import notices
from arranger.passes.part_plan import planned
from arranger.passes.pipeline import Arranged, arrange, mark_pedals
from arranger.passes.sections import sections
from arranger.passes.settings import Settings
from arranger.plan.settings import chord_settings, glissando_settings
from arranger.report.check_report import Looked, check_report
from arranger.report.json_report import Heading, dumps, report
from arranger.report.midi import midi_bytes
from arranger.report.page_time import source_of
from arranger.report.wav import synthesiser, wav_bytes
from arranger.rulebook.harps import load_harp
from arranger.rulebook.levels import load_levels
from arranger.rulebook.players import load_player, with_limits
from arranger.rulebook.prices import load_prices

Progress = Callable[[str], None]


class SelfCheckError(ArrangerError):
    """The draft does not agree with its own ledger or written form: a fault of this program."""

    exit_status = 3


@dataclass(frozen=True, slots=True)
class Request:
    """What to arrange or check, and for whom. ``tempo`` in quarter notes a minute at the start.

    ``transpose``: semitones, or ``best`` for the transposition within a fourth that suits the harp.
    ``limits`` (``span_steps=8``) set single limits of the player. ``rules`` (``P3=off``) and
    ``rules_file`` say how severe a check is to be.
    """

    source: Path
    parts: tuple[str, ...] = ()
    harp: str = "pedal-47"
    player: str = "average"
    tempo: Fraction | None = None
    transpose: str = ""
    limits: tuple[str, ...] = ()
    fingering: str = "all"
    pedals: str = "all"
    page: bool = True
    pdf: bool = False
    wav: bool = False
    verify: bool = False
    rules: tuple[str, ...] = ()
    rules_file: Path | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """Report object and the files as they would be (or were) written."""

    report: Mapping[str, Any]
    files: Mapping[str, bytes]
    incomplete: bool = False
    errors: tuple[Diagnostic, ...] = field(default=())


def convert(request: Request, folder: Path | None = None,
            progress: Progress = lambda _: None) -> Result:
    """Arrange the chosen part of a score as a harp draft.

    Parameters
    ----------
    folder : where draft.musicxml, report.json, report.html and draft.mid go; None writes nothing.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.
    """
    settings = _settings(request)
    if request.wav:
        synthesiser()  # before any work: is it there?
    progress("reading the score")
    opened = _open(request)
    if request.transpose:
        progress("looking for the key")
        opened = _open(request, semitones=_semitones(request, settings, opened))
    arranged = arrange(opened.document.score, opened.harp_part.part_id, settings, progress)
    result = _finish("convert", request, settings, opened, arranged, progress)
    if folder is not None:
        publish(folder, result.files)
    return result


def pedals(request: Request, folder: Path | None = None,
           progress: Progress = lambda _: None) -> Result:
    """Mark the pedals into a harp part as it is; no note, string or hand is changed.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.
    """
    settings = _settings(request)
    _with_pedals(settings, "pedals")
    progress("reading the part")
    opened = _open(request, keep_fingering=True)
    arranged = mark_pedals(opened.document.score, opened.harp_part.part_id, settings, progress)
    result = _finish("pedals", request, settings, opened, arranged, progress)
    if folder is not None:
        publish(folder, result.files)
    return result


def check(request: Request, folder: Path | None = None,
          progress: Progress = lambda _: None) -> Result:
    """Examine a harp part as it is written: findings with remedies, nothing changed.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp, player or rule setting; one line each.
    """
    settings, levels = _settings(request), load_levels(request.rules_file, request.rules)
    _with_pedals(settings, "check")
    progress("reading the part")
    opened = _open_as_written(request)
    document, part = opened.document, opened.harp_part.part_id
    judge = Judge(settings.harp, settings.player, settings.prices)
    case = open_case(document.score, part, judge, read_marks(document.root, part, document.score),
                     written_fingers(document, part), written_staves(document, part))
    progress("checking every rule")
    found = inspect(case, levels)
    told = _settings_told(request, document)
    if levels:
        told["rules"] = ", ".join(f"{code}={level}" for code, level in sorted(levels.items()))
    heading = Heading("check", request.source.name, sha256(request.source), opened.parts,
                      opened.kept_parts, told)
    plan = planned(case, found, settings)
    body = check_report(plan, heading, found.findings,
                        Looked(found.attacks, found.chords, found.moves, found.marks))
    progress("marking the part")
    text = text_of(request.source) if len(opened.parts) == 1 else None
    marked = mark_part(text, document, plan, case.marks.pedals, findings=found.findings,
                       diagrams_at=_sections(document, plan), pedals=request.pedals)
    errors = tuple(d for d in found.findings if d.severity == "error")
    result = Result(body, {"marked.musicxml": marked, "report.json": dumps(body)}, bool(errors),
                    errors)
    if folder is not None:
        publish(folder, result.files)
    return result


def _open_as_written(request: Request) -> _Opened:
    """Open a harp part with its signs; two parts of one harp are laid together first."""
    root = open_source(request.source)
    chosen = choose_parts(root, request.parts, harp_first=True)
    labels = {p.get("id", ""): (p.findtext("part-name") or p.get("id") or "").strip()
              for p in root.iterfind("part-list/score-part")}
    harp_part = (HarpPart(root, chosen[0]) if len(chosen) == 1
                 else as_harp_part(root, chosen, keep_fingering=True))
    document = read(harp_part.root, str(request.source), (harp_part.part_id,))
    if request.tempo is not None:
        score = replace(document.score, tempo=document.score.tempo.scaled(request.tempo))
        document = replace(document, score=score)
    return _Opened(document, harp_part, tuple(labels[i] for i in chosen),
                   tuple(label for i, label in labels.items() if i not in chosen), ())


def _settings(request: Request) -> Settings:
    player = with_limits(load_player(request.player), request.limits)
    return Settings(load_harp(request.harp), player, load_prices())


def _with_pedals(settings: Settings, command: str) -> None:
    if settings.harp.mechanism != "pedal":
        raise ChoiceError(f"the harp {settings.harp.name} has no pedals; {command} is for harps "
                          f"with pedals, convert for all")


@dataclass(frozen=True, slots=True)
class _Opened:
    """A source made ready: its document with a harp part in it, and what the report needs."""

    document: Document
    harp_part: HarpPart
    parts: tuple[str, ...]
    kept_parts: tuple[str, ...]
    doubled: tuple[tuple[Note, NoteId], ...]
    semitones: int = 0


def keys_of(request: Request) -> list[str]:
    """What each transposition within a fourth costs on this harp, best first, a line each.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.
    """
    settings, opened = _settings(request), _open(request)
    return keys.told(keys.advice(opened.document.score, opened.harp_part.part_id, settings))


def _semitones(request: Request, settings: Settings, opened: _Opened) -> int:
    if request.transpose == "best":
        return keys.advice(opened.document.score, opened.harp_part.part_id, settings)[0].semitones
    if not re.fullmatch(r"[+-]?\d{1,2}", request.transpose) or abs(int(request.transpose)) > 24:
        raise ChoiceError(f"cannot transpose by {request.transpose!r}; give semitones from -24 to "
                          f"24, or best")
    return int(request.transpose)


def _open(request: Request, keep_fingering: bool = False, semitones: int = 0) -> _Opened:
    root = open_source(request.source)
    transpose(root, semitones)
    chosen = choose_parts(root, request.parts)
    labels = {p.get("id", ""): (p.findtext("part-name") or p.get("id") or "").strip()
              for p in root.iterfind("part-list/score-part")}
    harp_part = as_harp_part(root, chosen, keep_fingering)
    document = read(harp_part.root, str(request.source))
    if not document.score.part_notes(harp_part.part_id):
        raise SourceError(f"{request.source}: the chosen part has no notes; choose another "
                          f"with --part")
    if request.tempo is not None:
        score = replace(document.score, tempo=document.score.tempo.scaled(request.tempo))
        document = replace(document, score=score)
    return _Opened(document, harp_part, tuple(labels[i] for i in chosen),
                   tuple(label for i, label in labels.items() if i not in chosen),
                   doubled(root, chosen, document, harp_part.part_id), semitones)


def _finish(command: str, request: Request, settings: Settings, opened: _Opened,
            arranged: Arranged, progress: Progress) -> Result:
    document, draft = opened.document, arranged.draft
    if len(opened.parts) > 1:  # which staff a part was laid on says nothing about its hand
        kept = tuple(e for e in draft.ledger.entries if not isinstance(e.edit, GiveToHand))
        draft = replace(draft, ledger=Ledger(kept))
    wrong = faults(draft)
    if wrong:
        raise SelfCheckError(f"{request.source}: the ledger does not account for the draft "
                             f"({wrong[0]}); please report this with the file")
    costless = keys.free(document.score, draft.part, settings)
    levers = keys.advised(lever_findings(draft, settings.harp, settings.player), costless)
    errors = (*findings(draft, settings.harp, settings.player),
              *(d for d in levers if d.severity == "error"))
    said = (*errors, *(d for d in levers if d.severity != "error"),
            *notices(draft, opened.harp_part.removed, settings))
    heading = Heading(command, request.source.name, sha256(request.source), opened.parts,
                      opened.kept_parts, {**_settings_told(request, document),
                                          **_more_told(request, settings, opened)})
    progress("writing the draft")
    keep = command == "pedals"
    xml = write(document, draft, _sections(document, draft),
                "none" if keep else request.fingering, request.pedals, layout=not keep)
    body = report(draft, heading, said, _summary(draft, errors), opened.doubled)
    if "levers" in body:
        body["levers"] |= keys.reported(document.score, draft.part, settings, costless)
    name = "marked.musicxml" if keep else "draft.musicxml"
    files = {name: xml, "report.json": dumps(body)}
    if not keep:
        files["draft.mid"] = midi_bytes([(n.onset, n.source.duration, n.pitch.midi)
                                         for n in draft.notes if not n.source.grace],
                                        draft.source.tempo)
    if request.page:
        from arranger.report.html import page  # verovio: 0.05 s to import
        progress("engraving the page")
        source = source_of(source_part(document, draft.part), document.score.part_notes(draft.part))
        files["report.html"] = page(body, xml, source).encode()
    if request.pdf:
        from arranger.report.part_pdf import part_pdf  # reportlab: 0.15 s to import
        progress("printing the part")
        files["part.pdf"] = part_pdf(body, xml)
    if request.wav:
        progress("playing the draft")
        files["draft.wav"] = wav_bytes(files["draft.mid"], *synthesiser())
    if request.verify:
        progress("arranging the draft again")
        _verify(xml, request, settings, draft)
    return Result(body, files, bool(errors), errors)


def _sections(document: Document, draft: Draft) -> tuple[Fraction, ...]:
    return sections(draft, rehearsal_marks(document.root, document.score),
                    double_bars(document.root, document.score))


def _settings_told(request: Request, document: Document) -> dict[str, Any]:
    tempo = document.score.tempo
    return {"harp": request.harp, "player": request.player,
            "tempo": str(tempo.marks[0].bpm), "tempo_assumed": tempo.assumed,
            "tempo_from": tempo.marks[0].origin,
            "fingering": request.fingering, "pedals": request.pedals}


def _more_told(request: Request, settings: Settings, opened: _Opened) -> dict[str, Any]:
    """What is said of the settings only where it is not the usual."""
    told: dict[str, Any] = {"transpose": opened.semitones} if opened.semitones else {}
    if request.limits:
        told["limits"] = ", ".join(request.limits)
    if not settings.harp.hands_judged:
        told["hands"] = "not judged on this harp"
    return told


def _summary(draft: Draft, errors: Sequence[Diagnostic]) -> dict[str, float | int | str]:
    source = [n for n in draft.source.part_notes(draft.part) if not n.grace]
    kept = {(n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace}
    same = sum((n.onset, n.midi) in kept for n in source)
    return {"source_notes": len(source), "draft_notes": len(kept),
            "notes_kept": round(same / len(source), 4) if source else 1.0,
            "alterations": len(draft.ledger.entries),
            **({"pedal_moves": len(draft.plan.moves)} if draft.levers is None
               else {"lever_moves": len(draft.levers.moves)}),
            "errors": len(errors)}


def _verify(xml: bytes, request: Request, settings: Settings, draft: Draft) -> None:
    """Read the written draft and arrange it again: nothing may change."""
    from arranger.io.musicxml_tree import parse
    root = parse(xml, "draft.musicxml")
    again = as_harp_part(root, (root.findall("part")[-1].get("id", ""),))
    document = read(again.root, "draft.musicxml")
    second = arrange(document.score, again.part_id, settings).draft
    if second.ledger.entries or len(second.notes) != len(draft.notes):
        raise SelfCheckError(f"{request.source}: arranging the draft again would change it; "
                             f"please report this with the file")


def settings_for(notes: Sequence[str], start: str = "", glissando: bool = False) -> list[str]:
    """Pedal settings in which the named notes (``C# E G``) can be plucked, nearest first.

    Raises
    ------
    ChoiceError
        A name is no note, or no setting gives them.
    """
    classes = [_pitch_class(name) for name in notes]
    begin = _setting(start)
    if glissando:
        found = sorted(glissando_settings(classes), key=lambda s: (s.notches_to(begin), s))
    else:
        found = list(chord_settings(classes, begin))
    if not found:
        raise ChoiceError(f"no pedal setting gives {' '.join(notes)} "
                          f"{'as a glissando' if glissando else 'together'}")
    return [f"{s}   pedals {s.pedals_to(begin)}, notches {s.notches_to(begin)}" for s in found]


def _pitch_class(name: str) -> int:
    try:
        return Pitch.parse(f"{name}4").pitch_class
    except ValueError as error:
        raise ChoiceError(f"not a note name: {name!r}; write notes as C, F# or Bb") from error


def _setting(text: str) -> PedalSetting:
    """Read a setting; every sign of it must be a letter D C B E F G A, flat, sharp or plain."""
    for sign in text.replace("|", " ").split():
        if not re.fullmatch("[A-G][#b♯♭♮]?", sign):
            raise ChoiceError(f"not a pedal: {sign!r}; write a setting as D C Bb | Eb F G Ab")
    return PedalSetting.parse(text)
