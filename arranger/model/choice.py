"""A choice of the arranger: one decision about one sounding note or one pedal move, and why."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.harp import PEDALS, pedal_word
from arranger.model.pitch import Pitch
from arranger.model.score import bar_name, beat_name

#: What can be decided of a note, in the order in which a file names it.
KINDS = ("string", "hand", "line", "trill", "finger", "octave", "pitch", "keep", "drop", "roll",
         "still")
HANDS = {"right": "R", "left": "L"}
#: Kinds whose value is a hand.
OF_HANDS = ("hand", "line", "trill")
#: Kinds whose value is a name, and what it looks like.
_NAMED = {"string": r"[A-G]", "pitch": r"[A-G](bb|b|##|#|)-?\d", "pedal": r"[A-G][#b]?"}
_SIGN = {"": 0, "#": 1, "b": -1}
_ID = re.compile(r"(?P<bar>[^:@]+)(?:@(?P<index>\d+))?:(?P<beat>\d+(?:/\d+)?)"
                 r":(?P<note>[A-G](?:bb|b|##|#|)-?\d+|pedal):(?P<kind>[a-z]+)(?:-(?P<value>.+))?")


@dataclass(frozen=True, slots=True)
class Around:
    """What is struck before, with and after the note: by which it is found in a later edition.

    Attacks in order of time, each as the names of its sounding pitches from the lowest up.
    """

    before: tuple[str, ...] = ()
    beside: str = ""
    after: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.before or self.beside or self.after)


@dataclass(frozen=True, slots=True)
class Choice:
    """One decision.

    ``bar`` as printed; ``beat`` from 1 in units of the metre's denominator. ``note``: the sounding
    note it is about (any spelling). ``kind`` is one of KINDS, with ``value`` a letter, R or L
    (``line``: for the single notes from this one on; ``trill``: for its string in the trill that
    begins with it), a finger, octaves up, a pitch name, or a
    truth value (``still``: no pedal moves in this bar, its altered notes become others). For a
    pedal move ``kind`` is ``pedal`` and ``value`` the letter with its sign
    (``F#``, ``Fb``, ``F``); ``note`` is None, and bar and beat are where the foot moves.
    ``index``: number of the bar counted from 1, where the printed number does not tell it.
    """

    bar: str
    beat: Fraction
    note: Pitch | None
    kind: str
    value: str | int | bool
    why: str = ""
    around: Around = Around()
    index: int | None = None

    @property
    def id(self) -> str:
        """Name made from content, the same in every run: ``12:3:C#5:string-D``."""
        place = f"{self.bar}@{self.index}" if self.index is not None else self.bar
        what = self.note.name if self.note else "pedal"
        return f"{place}:{self.beat}:{what}:{self.outcome}"

    @property
    def outcome(self) -> str:
        """What is decided, in one word: ``string-D``, ``hand-left``, ``drop``, ``keep``."""
        if self.kind in OF_HANDS:
            return f"{self.kind}-{'right' if self.value == 'R' else 'left'}"
        if self.value is True:
            return self.kind
        return f"{self.kind}-{'no' if self.value is False else self.value}"

    @property
    def words(self) -> str:
        """The choice for a reader: ``C♯5 in bar 12, beat 3, as D♭5 on the D string``."""
        where = f"in {bar_name(self.bar)}, beat {beat_name(self.beat)}"
        if self.note is None:
            letter, sign = str(self.value)[0], str(self.value)[1:]
            return f"pedal {pedal_word(letter, _SIGN[sign])} moved {where}"
        told = {"string": f"{_read_as(self.note, str(self.value))}on the {self.value} string",
                "hand": f"in the {'right' if self.value == 'R' else 'left'} hand",
                "line": f"with the line that follows in the "
                        f"{'right' if self.value == 'R' else 'left'} hand",
                "trill": f"and every second note of its trill in the "
                         f"{'right' if self.value == 'R' else 'left'} hand",
                "finger": f"with finger {self.value}",
                "pitch": f"sounded as {self.value}".replace("#", "♯").replace("b", "♭"),
                "octave": _octaves(self.value) if self.kind == "octave" else "",
                "keep": "kept", "drop": "left out",
                "still": "with the pedals still in this bar",
                "roll": "rolled" if self.value else "not rolled"}
        return f"{self.note.label} {where}, {told[self.kind]}"

    @classmethod
    def parse(cls, text: str) -> Choice:
        """Read an id back.

        Raises
        ------
        ValueError
            It is no id of a choice.
        """
        found = _ID.fullmatch(text)
        if not found:
            raise ValueError(f"not the id of an option: {text!r}")
        kind, value = found["kind"], found["value"]
        made: str | int | bool
        if kind in ("keep", "drop", "roll", "still") and value in (None, "no"):
            made = value is None
        elif kind in ("finger", "octave") and re.fullmatch(r"-?\d", value or ""):
            made = int(value)
        elif kind in OF_HANDS and value in HANDS:
            made = HANDS[value]
        elif kind in _NAMED and re.fullmatch(_NAMED[kind], value or "") and (kind == "pedal") == (
                found["note"] == "pedal"):
            made = str(value)
        else:
            raise ValueError(f"not the id of an option: {text!r}")
        return cls(found["bar"], Fraction(found["beat"]),
                   None if found["note"] == "pedal" else Pitch.parse(found["note"]), kind, made,
                   index=int(found["index"]) if found["index"] else None)


def _read_as(note: Pitch, letter: str) -> str:
    """Say how a note is read on the string of a letter, where it has another name there."""
    names = (Pitch(letter, alter, octave) for octave in range(note.octave - 1, note.octave + 2)
             for alter in _SIGN.values() if letter in PEDALS)
    found = next((name for name in names if name.midi == note.midi), note)
    return "" if found == note else f"as {found.label} "


def _octaves(value: str | int | bool) -> str:
    count = abs(int(value))
    return (f"{'an octave' if count == 1 else f'{count} octaves'} "
            f"{'higher' if int(value) > 0 else 'lower'}")
