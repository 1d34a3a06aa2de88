"""The commands as plain functions. Nothing is written unless all of it can be written."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.checks.account import faults
from arranger.checks.playable import findings
from arranger.io.document import Document
from arranger.io.doubled import doubled
from arranger.io.files import publish
from arranger.io.harp_part import HarpPart, as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_choice import choose_parts
from arranger.io.source import open_source, sha256
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.model.errors import ArrangerError, ChoiceError, SourceError
from arranger.model.harp import PedalSetting
from arranger.model.ledger import GiveToHand, Ledger
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId
from arranger.passes.notice import notices
from arranger.passes.pipeline import Arranged, arrange, mark_pedals
from arranger.passes.sections import sections
from arranger.passes.settings import Settings
from arranger.plan.settings import chord_settings, glissando_settings
from arranger.report.json_report import Heading, dumps, report
from arranger.report.midi import midi_bytes
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices

Progress = Callable[[str], None]


class SelfCheckError(ArrangerError):
    """The draft does not agree with its own ledger or written form: a fault of this program."""

    exit_status = 3


@dataclass(frozen=True, slots=True)
class Request:
    """What to arrange and for whom. ``tempo`` in quarter notes a minute for the opening."""

    source: Path
    parts: tuple[str, ...] = ()
    harp: str = "pedal-47"
    player: str = "average"
    tempo: Fraction | None = None
    fingering: str = "all"
    pedals: str = "all"
    page: bool = True
    verify: bool = False


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
    progress("reading the score")
    opened = _open(request)
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
    progress("reading the part")
    opened = _open(request, keep_fingering=True)
    arranged = mark_pedals(opened.document.score, opened.harp_part.part_id, settings, progress)
    result = _finish("pedals", request, settings, opened, arranged, progress)
    if folder is not None:
        publish(folder, result.files)
    return result


def _settings(request: Request) -> Settings:
    return Settings(load_harp(request.harp), load_player(request.player), load_prices())


@dataclass(frozen=True, slots=True)
class _Opened:
    """A source made ready: its document with a harp part in it, and what the report needs."""

    document: Document
    harp_part: HarpPart
    parts: tuple[str, ...]
    kept_parts: tuple[str, ...]
    doubled: tuple[tuple[Note, NoteId], ...]


def _open(request: Request, keep_fingering: bool = False) -> _Opened:
    root = open_source(request.source)
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
                   doubled(root, chosen, document, harp_part.part_id))


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
    errors = findings(draft, settings.harp, settings.player)
    said = (*errors, *notices(draft, opened.harp_part.removed, settings))
    heading = Heading(command, request.source.name, sha256(request.source), opened.parts,
                      opened.kept_parts, _settings_told(request, document))
    progress("writing the draft")
    keep = command == "pedals"
    xml = write(document, draft, sections(draft), "none" if keep else request.fingering,
                request.pedals)
    body = report(draft, heading, said, _summary(draft, errors), opened.doubled)
    name = "marked.musicxml" if keep else "draft.musicxml"
    files = {name: xml, "report.json": dumps(body)}
    if not keep:
        files["draft.mid"] = midi_bytes([(n.onset, n.source.duration, n.pitch.midi)
                                         for n in draft.notes if not n.source.grace],
                                        draft.source.tempo)
    if request.page:
        from arranger.report.html import page  # verovio: 0.05 s to import
        progress("engraving the page")
        files["report.html"] = page(body, xml).encode()
    if request.verify:
        progress("arranging the draft again")
        _verify(xml, request, settings, draft)
    return Result(body, files, bool(errors), errors)


def _settings_told(request: Request, document: Document) -> dict[str, Any]:
    tempo = document.score.tempo
    return {"harp": request.harp, "player": request.player,
            "tempo": str(tempo.marks[0].bpm), "tempo_assumed": tempo.assumed,
            "tempo_from": tempo.marks[0].origin,
            "fingering": request.fingering, "pedals": request.pedals}


def _summary(draft: Draft, errors: Sequence[Diagnostic]) -> dict[str, float | int | str]:
    source = [n for n in draft.source.part_notes(draft.part) if not n.grace]
    kept = {(n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace}
    same = sum((n.onset, n.midi) in kept for n in source)
    return {"source_notes": len(source), "draft_notes": len(kept),
            "notes_kept": round(same / len(source), 4) if source else 1.0,
            "alterations": len(draft.ledger.entries), "pedal_moves": len(draft.plan.moves),
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
