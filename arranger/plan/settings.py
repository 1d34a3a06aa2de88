"""Pedal settings: of a key, for a chord, for a glissando, and as other notations write them.

All 2187 settings are looked through, so nothing here depends on a table of known answers.

References
----------
Gotham and Gunn, "Pitch Properties of the Pedal Harp", Music Theory Online 22.4 (2016).
LilyPond Notation Reference, "Harp pedals". W3C SMuFL, U+E680 to U+E683. MEI, ``harpPedal``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import cache
from itertools import product

from arranger.model.harp import LEFT_FOOT, PEDALS, PedalSetting
from arranger.model.pitch import Pitch

#: Letters in the order in which sharps come in; flats come in backwards.
FIFTHS = "FCGDAEB"
#: Chords and scales by what is written after the root, as semitones above it.
QUALITIES: Mapping[str, tuple[int, ...]] = {
    "": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "aug": (0, 4, 8), "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9), "7": (0, 4, 7, 10), "m7": (0, 3, 7, 10), "maj7": (0, 4, 7, 11),
    "m7b5": (0, 3, 6, 10), "dim7": (0, 3, 6, 9), "aug7": (0, 4, 8, 10), "9": (0, 2, 4, 7, 10),
    "7b9": (0, 1, 4, 7, 10), "69": (0, 2, 4, 7, 9), "pentatonic": (0, 2, 4, 7, 9),
    "wholetone": (0, 2, 4, 6, 8, 10)}
_CHORD = re.compile(r"([A-G][#b]?)(.*)")
_NOTES = re.compile(r"[A-G](?:bb|b|##|#|)-?\d*(?:[\s,-]+[A-G](?:bb|b|##|#|)-?\d*)*")
_LILYPOND = {"^": -1, "-": 0, "v": 1}
_SMUFL = {"\ue680": -1, "\ue681": 0, "\ue682": 1}
_SMUFL_DIVIDER = "\ue683"
_MEI = {"f": -1, "n": 0, "s": 1}


@cache
def all_settings() -> tuple[tuple[PedalSetting, int], ...]:
    """Every setting in canonical order, with its sounding pitch classes as a mask of 12 bits."""
    settings = (PedalSetting((d, c, b, e, f, g, a))
                for d, c, b, e, f, g, a in product((-1, 0, 1), repeat=7))
    return tuple((s, pitch_class_mask(s.pitch_classes)) for s in settings)


def pitch_class_mask(pitch_classes: Iterable[int]) -> int:
    """Pack pitch classes (or MIDI numbers) into 12 bits, bit 0 = C."""
    mask = 0
    for pitch_class in pitch_classes:
        mask |= 1 << pitch_class % 12
    return mask


def chord_settings(pitch_classes: Iterable[int],
                   start: PedalSetting | None = None) -> tuple[PedalSetting, ...]:
    """Settings in which these pitch classes can be plucked together, each on its own letter.

    A letter sounds one pitch class at a time, so it is enough that the setting sounds them all.
    Nearest to ``start`` first, counted in notches, and among equals those with fewer moves of two
    notches; the rest, or all without ``start``, in canonical order. Empty if there is none, as
    for G, G sharp and A.
    """
    mask = pitch_class_mask(pitch_classes)
    return _ranked((s for s, sounding in all_settings() if sounding & mask == mask), start)


def glissando_settings(pitch_classes: Iterable[int],
                       start: PedalSetting | None = None) -> tuple[PedalSetting, ...]:
    """Settings whose seven strings sound these pitch classes, all of them and no other.

    Ordered as in ``chord_settings``. Empty for every plain triad.
    """
    mask = pitch_class_mask(pitch_classes)
    return _ranked((s for s, sounding in all_settings() if sounding == mask), start)


def _ranked(settings: Iterable[PedalSetting],
            start: PedalSetting | None) -> tuple[PedalSetting, ...]:
    if start is None:
        return tuple(settings)
    return tuple(sorted(settings, key=lambda s: (start.notches_to(s), -start.pedals_to(s), s)))


def pitch_classes_of(text: str) -> frozenset[int]:
    """Read ``C E G``, ``Bb3 D4 F4`` or a chord such as ``Cdim7``, ``F#m7b5``, ``Gpentatonic``.

    Raises
    ------
    ValueError
        If it is neither notes nor a known chord; names the chords that are known.
    """
    text = text.strip().replace("♯", "#").replace("♭", "b")
    chord = _CHORD.fullmatch(text)
    if chord and chord[2].strip() in QUALITIES:
        root = Pitch.parse(f"{chord[1]}4").midi
        return frozenset((root + above) % 12 for above in QUALITIES[chord[2].strip()])
    if _NOTES.fullmatch(text):
        names = re.findall(r"[A-G][b#]*", text)
        return frozenset(Pitch.parse(f"{name}4").pitch_class for name in names)
    known = " ".join(quality or "(major)" for quality in QUALITIES)
    raise ValueError(f"{text!r} is neither notes such as 'C E G' nor a root with one of: {known}")


def key_setting(fifths: int) -> PedalSetting:
    """Setting of a key signature: sharps counted up, flats down, from -7 to 7.

    Raises
    ------
    ValueError
        Outside -7 to 7.
    """
    if not -7 <= fifths <= 7:
        raise ValueError(f"a key has at most seven sharps or flats, not {fifths}")
    if fifths >= 0:
        return PedalSetting.of(dict.fromkeys(FIFTHS[:fifths], 1))
    return PedalSetting.of(dict.fromkeys(FIFTHS[fifths:], -1))


def harmonic_minor_setting(fifths: int) -> PedalSetting:
    """Setting of the harmonic minor of a key signature: its leading note one notch higher.

    Raises
    ------
    ValueError
        Outside -7 to 7, or where the leading note would be a double sharp.
    """
    leading = FIFTHS[(fifths + 2) % 7]
    setting = key_setting(fifths)
    if setting.alter(leading) == 1:
        raise ValueError(f"the leading note is {leading} double sharp, which no pedal gives")
    return setting.with_pedal(leading, setting.alter(leading) + 1)


def parse_lilypond(text: str) -> tuple[PedalSetting, frozenset[str]]:
    """Read ``^v-|vv-^``: flat, natural, sharp in pedal order; ``o`` circles a changed pedal.

    Returns
    -------
    setting, circled
        The setting and the letters of the circled pedals.

    Raises
    ------
    ValueError
        If it is not seven pedals with the divider after the third.
    """
    circled = frozenset(PEDALS[len(re.findall(r"[v^-]", text[:at.start()])) % 7]
                        for at in re.finditer("o", text))
    if re.search(r"o(?![v^-])", text):
        raise ValueError(f"not a LilyPond pedal diagram: {text!r}: o stands before a pedal")
    return _diagram(text.replace("o", ""), _LILYPOND, "|", "LilyPond"), circled


def to_lilypond(setting: PedalSetting, circled: Collection[str] = ()) -> str:
    """Write a setting as LilyPond does, the pedals named in ``circled`` with their circle."""
    sign = {alter: mark for mark, alter in _LILYPOND.items()}
    return _written(lambda p: ("o" if p in circled else "") + sign[setting.alter(p)], "|")


def parse_smufl(text: str) -> PedalSetting:
    """Read the SMuFL characters U+E680 (flat), U+E681, U+E682 (sharp) and U+E683 (divider).

    Raises
    ------
    ValueError
        If it is not seven pedals with the divider after the third.
    """
    return _diagram(text, _SMUFL, _SMUFL_DIVIDER, "SMuFL")


def to_smufl(setting: PedalSetting) -> str:
    """Write a setting in SMuFL characters."""
    sign = {alter: mark for mark, alter in _SMUFL.items()}
    return _written(lambda p: sign[setting.alter(p)], _SMUFL_DIVIDER)


def from_alters(alters: Mapping[str, int]) -> PedalSetting:
    """Setting from letters and alters, as in the ``pedal-tuning`` of MusicXML.

    Raises
    ------
    ValueError
        If a letter is no pedal or an alter is not -1, 0 or 1.
    """
    for step, alter in alters.items():
        if step not in PEDALS or len(step) != 1 or alter not in (-1, 0, 1):
            raise ValueError(f"no pedal {step!r} at {alter!r}")
    return PedalSetting.of(alters)


def from_mei(attributes: Mapping[str, str]) -> PedalSetting:
    """Setting from the attributes c d e f g a b of MEI's ``harpPedal``: f, n or s, else n.

    Other attributes are passed over.

    Raises
    ------
    ValueError
        If a pedal has another value.
    """
    pedals = {key.upper(): value for key, value in attributes.items() if key in set("cdefgab")}
    for step, value in pedals.items():
        if value not in _MEI:
            raise ValueError(f"harpPedal {step.lower()}={value!r} is not f, n or s")
    return PedalSetting.of({step: _MEI[value] for step, value in pedals.items()})


def _diagram(text: str, signs: Mapping[str, int], divider: str, what: str) -> PedalSetting:
    left, found, right = text.partition(divider)
    marks = left + right
    if not found or len(left) != len(LEFT_FOOT) or len(marks) != 7 or set(marks) - set(signs):
        raise ValueError(f"not a {what} pedal diagram: {text!r}")
    return PedalSetting.of({p: signs[m] for p, m in zip(PEDALS, marks, strict=True)})


def _written(mark: Callable[[str], str], divider: str) -> str:
    feet = PEDALS.partition(LEFT_FOOT)
    return "".join(map(mark, LEFT_FOOT)) + divider + "".join(map(mark, feet[2]))
