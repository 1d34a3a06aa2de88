"""A whole score some semitones higher or lower: pitches, keys, chord symbols, accidentals."""

from __future__ import annotations

from lxml import etree

from arranger.io.transposition import Transposition
from arranger.io.write_order import detach, drop, element, forget, prune_notations, put, set_text

_SIGN = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
#: Steps of the two usual intervals of 0-11 semitones: the commoner one first.
_STEPS = ((0, 1), (1, 0), (1, 2), (2, 1), (2, 3), (3, 2), (3, 4), (4, 5), (5, 4), (5, 6), (6, 5),
          (6, 7))


def interval(semitones: int, fifths: list[int]) -> Transposition:
    """Return the interval whose worst resulting key signature has the fewest signs.

    Parameters
    ----------
    semitones : upwards, below 0 downwards.
    fifths : the key signatures of the score.
    """
    octaves, rest = divmod(semitones, 12)
    choices = [Transposition(7 * octaves + steps, semitones) for steps in _STEPS[rest]]
    return min(choices, key=lambda t: max((abs(f + t.fifths) for f in fifths), default=0))


def transpose(root: etree._Element, semitones: int) -> None:
    """Transpose every pitched part of a score-partwise tree, in place.

    Transposing instruments keep their ``<transpose>``: what is written moves like what sounds.
    Percussion stays. Chord diagrams, frets and strings of plucked instruments, which would be
    wrong, are taken out; figured bass needs no change.
    """
    if not semitones:
        return
    by = interval(semitones, [_fifths(key) for key in root.iter("key")] or [0])
    for part in root.findall("part"):
        if not _percussion(part):
            for measure in part.findall("measure"):
                _measure(measure, by)


def _percussion(part: etree._Element) -> bool:
    signs = {sign.text for sign in part.iterfind("measure/attributes/clef/sign")}
    return signs == {"percussion"}


def _fifths(key: etree._Element) -> int:
    return int(float(key.findtext("fifths") or 0))


def _measure(measure: etree._Element, by: Transposition) -> None:
    for key in measure.iter("key"):
        _key(key, by)
    for note in measure.iter("note"):
        pitch = note.find("pitch")
        if pitch is not None:
            _note(note, pitch, by)
    for harmony in measure.iter("harmony"):
        move_symbol(harmony, by)


def _key(key: etree._Element, by: Transposition) -> None:
    fifths = key.find("fifths")
    if fifths is not None:
        fifths.text = str(by.key(_fifths(key)))
        drop(key, "cancel")
    for step, alter in zip(key.findall("key-step"), key.findall("key-alter"), strict=False):
        moved = by.sounding(step.text or "C", round(float(alter.text or 0)), 4)
        step.text, alter.text = moved.step, str(moved.alter)


def _note(note: etree._Element, pitch: etree._Element, by: Transposition) -> None:
    alter = float(pitch.findtext("alter") or 0)
    whole = round(alter)
    moved = by.sounding(pitch.findtext("step") or "C", whole, int(pitch.findtext("octave") or 4))
    written = moved.alter + (alter - whole)
    drop(pitch, "alter")
    set_text(pitch, "step", moved.step)
    set_text(pitch, "octave", str(moved.octave))
    if written:
        put(pitch, element("alter", f"{written:g}"))
    sign = note.find("accidental")
    if sign is not None and alter == whole:
        sign.text = _SIGN[moved.alter]
    for technical in note.iterfind("notations/technical"):
        drop(technical, "fret", "string")
    prune_notations(note)


def move_symbol(harmony: etree._Element, by: Transposition) -> None:
    """Transpose root and bass of a chord symbol; its fretboard diagram goes."""
    for name in ("root", "bass"):
        for group in harmony.findall(name):
            _name(group, name, by)
    drop(harmony, "frame")


def _name(group: etree._Element, name: str, by: Transposition) -> None:
    """Move a root or a bass: ``<root-step>`` with its ``<root-alter>``."""
    step, alter = group.find(f"{name}-step"), group.find(f"{name}-alter")
    if step is None:
        return
    moved = by.sounding(step.text or "C", round(float(group.findtext(f"{name}-alter") or 0)), 4)
    step.text = moved.step
    forget(step, "text")
    if moved.alter and alter is None:
        alter = element(f"{name}-alter")
        step.addnext(alter)
    if alter is not None:
        alter.text = str(moved.alter)
        if not moved.alter:
            detach(alter)
