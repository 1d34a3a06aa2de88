"""``settings``: which pedal settings give a chord or a glissando."""

from __future__ import annotations

import re
from collections.abc import Sequence

from arranger.model.errors import ChoiceError
from arranger.model.harp import PEDALS, PedalSetting
from arranger.model.pitch import Pitch
from arranger.plan.settings import chord_settings, glissando_settings

#: Settings that are listed at most.
_NEAREST = 12


def settings_for(notes: Sequence[str], start: str = "", glissando: bool = False) -> list[str]:
    """Pedal settings in which the named notes (``C# E G``) can be plucked, nearest first.

    Parameters
    ----------
    notes : names without octave.
    start : the setting to start from, such as ``D C Bb | Eb F G Ab``; all natural if empty.
    glissando : all seven strings must sound only these notes.

    Raises
    ------
    ChoiceError
        A name is no note, or no setting gives them.

    Examples
    --------
    >>> settings_for(["C", "E", "G", "Bb"])[0]
    'D C Bb | E F G A   pedals 1, notches 1'
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


def nearest(found: Sequence[str]) -> list[str]:
    """The nearest dozen of the settings found, and how many more there are."""
    more = len(found) - _NEAREST
    return [*found[:_NEAREST], *([f"and {more} more, farther away; name more notes to have fewer"]
                                 if more > 0 else [])]


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
    named = [sign[0] for sign in text.replace("|", " ").split()]
    missing = [letter for letter in PEDALS if letter not in named]
    if named and (missing or len(named) > len(PEDALS)):
        raise ChoiceError(f"{text!r} is no setting: "
                          + (f"{' and '.join(missing)} missing" if missing else "a letter twice")
                          + "; name each of D C B E F G A once")
    return PedalSetting.parse(text)
