"""A transposing part turned to concert pitch."""

from __future__ import annotations

from lxml import etree

from arranger.io.transpose import move_symbol
from arranger.io.transposition import Transposition
from arranger.io.write_order import detach, drop, element, put, set_text


def to_concert(part: etree._Element) -> bool:
    """Write pitches, keys and chord symbols of the part as they sound; tell if that was needed.

    The part is changed in place. ``<transpose>`` goes, also the one of an octave. Accidentals of
    changed notes go too: the writer sets them anew. Spellings keep their interval.
    """
    if part.find("measure/attributes/transpose") is None:
        return False
    in_force: dict[str, Transposition] = {}
    for measure in part.findall("measure"):
        for child in measure:
            if child.tag == "attributes":
                _attributes(child, in_force)
            elif child.tag == "note":
                _note(child, _of_staff(in_force, child.findtext("staff") or "1"))
            elif child.tag == "harmony":
                moved = _of_staff(in_force, child.findtext("staff") or "1")
                if moved.steps % 7 or moved.semitones % 12:
                    move_symbol(child, moved)
    return True


def _of_staff(in_force: dict[str, Transposition], staff: str) -> Transposition:
    return in_force.get(staff) or in_force.get("") or Transposition()


def _attributes(attributes: etree._Element, in_force: dict[str, Transposition]) -> None:
    for transpose in attributes.findall("transpose"):
        staff = transpose.get("number", "")
        if not staff:
            in_force.clear()
        steps = transpose.findtext("diatonic")
        in_force[staff] = Transposition.of(
            round(float(transpose.findtext("chromatic") or 0)),
            None if steps is None else int(steps), int(transpose.findtext("octave-change") or 0))
        detach(transpose)
    for key in attributes.findall("key"):
        fifths = key.find("fifths")
        if fifths is not None:
            moved = _of_staff(in_force, key.get("number", "1"))
            fifths.text = str(moved.key(int(fifths.text or 0)))
            drop(key, "cancel")


def _note(note: etree._Element, by: Transposition) -> None:
    pitch = note.find("pitch")
    if pitch is None or (by.steps, by.semitones) == (0, 0):
        return
    alter = float(pitch.findtext("alter") or 0)
    if alter != int(alter):
        alter = round(alter)  # quarter tones are not for a harp
    sounding = by.sounding(pitch.findtext("step") or "C", int(alter),
                           int(pitch.findtext("octave") or 4))
    if by.steps % 7 or by.semitones % 12:
        drop(note, "accidental")
    drop(pitch, "alter")
    set_text(pitch, "step", sounding.step)
    set_text(pitch, "octave", str(sounding.octave))
    if sounding.alter:
        put(pitch, element("alter", str(sounding.alter)))
