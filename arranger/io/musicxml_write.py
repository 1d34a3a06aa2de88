"""A draft to MusicXML 4.0: the source tree with the harp part patched, all else as it was."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from copy import deepcopy
from fractions import Fraction

from lxml import etree

from arranger.io.document import Document
from arranger.io.harp_signs import join_fermatas
from arranger.io.note_values import beat_of
from arranger.io.rung_on import LeftOut, strokes_left_out
from arranger.io.write_accidentals import needs, write_accidentals
from arranger.io.write_beams import repair_beams
from arranger.io.write_clefs import write_clefs
from arranger.io.write_damps import write_damps
from arranger.io.write_directions import clear_pedal_rows
from arranger.io.write_divisions import divisions_by_measure, duration
from arranger.io.write_events import STAFF, Patch, staff_of
from arranger.io.write_keys import SAME, signatures, write_keys
from arranger.io.write_levers import write_levers
from arranger.io.write_marks import Elements, write_fingers, write_ids, write_rolls
from arranger.io.write_notes import patch_measure
from arranger.io.write_order import forget
from arranger.io.write_pedals import write_pedals
from arranger.io.write_phrase_signs import (
    hairpins,
    keep_hairpins,
    keep_slurs,
    one_line_of_dynamics,
    one_line_of_words,
)
from arranger.io.write_rests import fill_blank_staves, hide_rests, hide_spare_rests
from arranger.io.write_slurs import drop_broken_slides, pairs, repair_slurs
from arranger.io.write_tempo import write_tempo
from arranger.io.write_two_voices import write_two_voices
from arranger.io.write_voices import Voices, place, remove_doomed
from arranger.model.draft import Draft, HarpNote
from arranger.model.placed_groups import TENTH
from arranger.model.score import Measure, NoteId, Score

HEADER = ('<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n'
          '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
          '"http://www.musicxml.org/dtds/partwise.dtd">\n')


def write(document: Document, draft: Draft, diagrams_at: tuple[Fraction, ...] = (),
          fingering: str = "all", pedals: str = "all", layout: bool = True,
          gathered: bool = False, keys: Mapping[int, int] = SAME,
          span: int = TENTH) -> bytes:
    """Return the draft as MusicXML 4.0.

    Parameters
    ----------
    document : read from the tree that ``as_harp_part`` made; not changed.
    draft : its notes come from ``document.score``.
    diagrams_at : onsets, in quarter notes, at which the full setting stands again.
    fingering : ``all``, ``hints`` or ``none``.
    pedals : ``all``; ``changes`` (and the opening setting); ``diagrams`` only; ``none``.
    layout : let clefs and key signatures follow what is written, and words leave room for pedals;
        else they stay.
    gathered : write two voices a staff, as where several parts became one.
    keys : signatures that this harp does not read, with those that stand for them.
    span : string steps of the player's hand, within which fingers are placed together.

    Only the part ``draft.part`` is changed. Notes not in the draft become rests or leave their
    chord; the rest get the draft's pitch, hand (staff 1 is the right), roll and finger.
    """
    root, copied = _copy(document)
    part = _part(root, draft.part)
    spare = set() if gathered else _spare_twins(draft, copied)
    patch = Patch(_fates(document, draft, copied, spare))
    elements: Elements = {i: chain for i, chain in copied.items() if i not in spare}
    tied = {note for chain in elements.values() for note in chain[1:]}
    before = needs(part, tied)
    drop_broken_slides(part, patch)
    voices = Voices(part)
    leans_on = _leaning(draft, elements)
    measures = document.score.measures
    for index, (measure, divisions) in enumerate(divisions_by_measure(part)):
        moved = patch_measure(measure, patch)
        onset = measures[index].onset
        place(measure, moved, patch, voices, {
            note: (at - onset) * divisions for group in moved for note in group.notes
            if (at := leans_on.get(note)) is not None})
        repair_beams(measure, patch, measures[index], divisions)
        hide_rests(measure, patch, beat_of(measures[index]) * divisions)
        hide_spare_rests(measure)
    repair_slurs(part, patch)
    remove_doomed(patch)
    if gathered:
        elements = _as_one_player(part, measures, elements,
                                  strokes_left_out(document.score, draft))
        tied = {note for chain in elements.values() for note in chain[1:]}
    _show(part, measures)
    if layout:
        _lay_out(part, measures, signatures(draft, keys))
    write_accidentals(before, needs(part, tied, patch.repitched), part, patch.repitched)
    write_rolls(part, draft.notes, elements)
    write_fingers(part, draft.notes, elements, fingering, span)
    write_tempo(part, document.score)
    _write_moves(part, draft, document.score, diagrams_at, pedals)
    write_damps(root, draft, document.score)
    write_ids(root, draft.notes, elements)
    return serialise(root)


def _lay_out(part: etree._Element, measures: tuple[Measure, ...],
             wanted: tuple[int, ...]) -> None:
    """Let clefs, keys and what stands beside the notes follow what is written."""
    join_fermatas(part)
    clear_pedal_rows(part)
    write_clefs(part)
    write_keys(part, tuple(m.fifths for m in measures), wanted)


def _write_moves(part: etree._Element, draft: Draft, score: Score,
                 diagrams_at: tuple[Fraction, ...], pedals: str) -> None:
    """Write the marks of levers or pedals that are asked for."""
    if draft.levers is not None:
        write_levers(part, draft.levers, score, pedals)
    elif pedals != "none":
        write_pedals(part, draft.plan, score,
                     () if pedals == "changes" else diagrams_at, pedals != "diagrams")


def _as_one_player(part: etree._Element, measures: tuple[Measure, ...], elements: Elements,
                   left_out: Mapping[int, tuple[LeftOut, ...]]) -> Elements:
    """Write what several players had as one player reads it; return the notes that are left."""
    slurs, wedges = pairs(part, "slur"), hairpins(part)
    one_line_of_words(part)
    elements = write_two_voices(part, measures, elements, left_out)
    keep_slurs(part, slurs)
    keep_hairpins(part, wedges)
    one_line_of_dynamics(part)
    return elements


def _show(part: etree._Element, measures: tuple[Measure, ...]) -> None:
    """Show what is to be played, and a rest where a staff has nothing."""
    for note in part.iterfind("measure/note[pitch]"):
        forget(note, "print-object")
    for index, (measure, divisions) in enumerate(divisions_by_measure(part)):
        fill_blank_staves(measure, measures[index].duration * divisions)


def serialise(root: etree._Element) -> bytes:
    """Return a tree as a MusicXML 4.0 file, indented by two spaces."""
    root.set("version", "4.0")
    etree.indent(root, "  ")
    return (HEADER + etree.tostring(root, encoding="unicode", with_tail=False) + "\n").encode()


def _part(root: etree._Element, ident: str) -> etree._Element:
    part = next((p for p in root.findall("part") if p.get("id") == ident), None)
    if part is None:
        raise ValueError(f"the tree has no part {ident!r}")
    return part


def _copy(document: Document) -> tuple[etree._Element, Elements]:
    """Copy the tree; the note ids name the notes of the copy."""
    root = deepcopy(document.root)
    twin = dict(zip(document.root.iter("note"), root.iter("note"), strict=True))
    return root, {ident: tuple(twin[note] for note in chain)
                  for ident, chain in document.elements.items()}


def _fates(document: Document, draft: Draft, elements: Elements,
           spare: Collection[NoteId]) -> dict[etree._Element, HarpNote | None]:
    """Return for each written note of the part what it becomes; None for one left out."""
    planned: Mapping[NoteId, HarpNote] = {note.id: note for note in draft.notes}
    return {written: None if ident in spare else planned.get(note.id)
            for note in document.score.part_notes(draft.part)
            for ident in dict.fromkeys((note.id, *note.source_ids))
            for written in elements[ident]}


def _spare_twins(draft: Draft, elements: Elements) -> set[NoteId]:
    """Return notes that need not be written twice on one staff, as ids.

    Of a string that two voices strike at once the longest note is enough where the others would
    have to come from the other staff.
    """
    spare: set[NoteId] = set()
    for note in draft.notes:
        twins = {ident: elements[ident] for ident in dict.fromkeys((note.id,
                                                                    *note.source.source_ids))}
        if len(twins) < 2 or note.source.grace:
            continue
        moves = {ident for ident, chain in twins.items()
                 if any(staff_of(written) != STAFF[note.hand] for written in chain)}
        _, *shorter = sorted(twins, key=lambda ident: (
            -sum(duration(written) for written in twins[ident]), ident in moves))
        spare |= moves.intersection(shorter)
    return spare


def _leaning(draft: Draft, elements: Elements) -> dict[etree._Element, Fraction]:
    """Return the onset of the note each grace leans on."""
    return {written: note.onset for note in draft.notes if note.source.grace
            for written in elements[note.id]}
