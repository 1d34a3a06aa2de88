"""A written file read again in a way of its own: which notes stand in it, what the pedals do.

Nothing of the reader, the planner or the writer is used here, nor their library: what they have in
common with this page is the MusicXML standard alone.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree import ElementTree as ET

#: A place: index of the bar from 0, and quarter notes from its beginning.
Place = tuple[int, Fraction]
_PEDAL_WORDS = re.compile(r"[A-G][♯♮♭](?: [A-G][♯♮♭])*")
_ALTERS = {"♯": 1, "♮": 0, "♭": -1}
_SIGNS = {alter: sign for sign, alter in _ALTERS.items()}


@dataclass(frozen=True, slots=True)
class Plucked:
    """A written note: where, which string (step, alter, octave), on which staff.

    ``grace``: it takes no time, whether it says so or has a length of 0.
    """

    place: Place
    step: str
    alter: int
    octave: int
    staff: int
    grace: bool = False
    tied: bool = False  #: it goes on sounding and is not plucked again


@dataclass(frozen=True, slots=True)
class Proof:
    """A part as it stands on paper: its notes, and (place, letter, position) of the pedals.

    A whole setting gives seven entries, in which ``known`` is true: nothing moves there.
    """

    notes: tuple[Plucked, ...]
    pedals: tuple[tuple[Place, str, int, bool], ...]


@dataclass(slots=True)
class _Walk:
    """The cursor through one part."""

    divisions: Fraction = Fraction(1)
    notes: list[Plucked] = field(default_factory=list)
    pedals: list[tuple[Place, str, int, bool]] = field(default_factory=list)

    def bar(self, index: int, measure: ET.Element) -> None:
        """Go through one bar."""
        at = begun = Fraction(0)
        for item in measure:
            if item.tag == "attributes":
                self.divisions = _number(item.findtext("divisions"), self.divisions)
            elif item.tag == "backup":
                at = max(at - self._length(item), Fraction(0))
            elif item.tag == "forward":
                at += self._length(item)
            elif item.tag == "direction":
                self._direction(item, (index, at + _number(
                    item.findtext("offset"), Fraction(0)) / self.divisions))
            elif item.tag == "note":
                if item.find("chord") is None:
                    begun = at
                    at += self._length(item) if item.find("grace") is None else 0
                self._note(item, (index, begun))

    def _length(self, item: ET.Element) -> Fraction:
        return _number(item.findtext("duration"), Fraction(0)) / self.divisions

    def _note(self, item: ET.Element, place: Place) -> None:
        pitch = item.find("pitch")
        if pitch is None or item.find("cue") is not None:
            return
        ties = item.findall("tie") or item.findall("notations/tied")
        self.notes.append(Plucked(
            place, pitch.findtext("step", "").strip(),
            int(_number(pitch.findtext("alter"), Fraction(0))),
            int(pitch.findtext("octave", "")), int(item.findtext("staff") or 1),
            item.find("grace") is not None or not self._length(item),
            any(tie.get("type") == "stop" for tie in ties)))

    def _direction(self, item: ET.Element, place: Place) -> None:
        for sign in item.iterfind("direction-type/*"):
            if sign.tag == "harp-pedals":
                self.pedals += [(place, tuning.findtext("pedal-step", ""),
                                 int(tuning.findtext("pedal-alter", "0")), True)
                                for tuning in sign.iterfind("pedal-tuning")]
            elif sign.tag == "words" and _PEDAL_WORDS.fullmatch(sign.text or ""):
                self.pedals += [(place, word[0], _ALTERS[word[1]], False)
                                for word in (sign.text or "").split()]


def proofs(xml: bytes) -> dict[str, Proof]:
    """Read all parts of a score-partwise file by their ids."""
    found = {}
    for part in ET.fromstring(xml).iterfind("part"):
        walk = _Walk()
        for index, measure in enumerate(part.iterfind("measure")):
            walk.bar(index, measure)
        found[part.get("id", "")] = Proof(tuple(walk.notes), tuple(walk.pedals))
    return found


def note_faults(proof: Proof, meant: Sequence[Plucked]) -> Iterator[tuple[Place, str]]:
    """Yield where the paper has another note than was meant; grace notes are not compared.

    A note that is tied from the one before need not be meant, but may be: not all ties hold.
    """
    wanted = {(n.place, n.step, n.alter, n.octave, n.staff) for n in meant if not n.grace}
    there = {(n.place, n.step, n.alter, n.octave, n.staff): n.tied
             for n in proof.notes if not n.grace}
    for key in wanted - there.keys():
        yield key[0], f"{_name(*key[1:4])} is missing"
    for key, tied in there.items():
        if key not in wanted and not tied:
            yield key[0], f"{_name(*key[1:4])} was not meant"


def pedal_faults(proof: Proof, notes: Sequence[Plucked], order: Sequence[int],
                 without: frozenset[tuple[str, int]] = frozenset()) -> Iterator[tuple[Place, str]]:
    """Yield where the pedals, moved as they are marked, do not give a note or a printed setting.

    Parameters
    ----------
    notes : what is plucked.
    order : indices of the bars as they are played, repeats unfolded.
    without : strings without discs, by step and octave, which no pedal moves.
    """
    stands: dict[str, int] = {}
    events = _by_bar(proof, notes)
    for bar in order:
        for place, what in events.get(bar, ()):
            if isinstance(what, Plucked):
                if (what.step, what.octave) not in without and stands.get(
                        what.step) != what.alter:
                    yield place, (f"{_name(what.step, what.alter, what.octave)} with the pedal at "
                                  f"{_SIGNS.get(stands.get(what.step, 9), 'nothing')}")
                continue
            letter, position, known = what
            if known and stands.get(letter, position) != position:
                yield place, f"the setting shows {letter}{_SIGNS.get(position, '?')}"
            stands[letter] = position


def _by_bar(proof: Proof, notes: Sequence[Plucked]) -> Mapping[
        int, list[tuple[Place, Plucked | tuple[str, int, bool]]]]:
    """Signs and notes of each bar in order of time, at one moment the signs first."""
    bars: dict[int, list[tuple[Place, Plucked | tuple[str, int, bool]]]] = {}
    for place, letter, position, known in proof.pedals:
        bars.setdefault(place[0], []).append((place, (letter, position, known)))
    for events in bars.values():
        events.sort(key=lambda event: event[0][1])
    for note in sorted(notes, key=lambda n: n.place):
        events = bars.setdefault(note.place[0], [])
        events.insert(bisect_right(events, note.place, key=lambda event: event[0]),
                      (note.place, note))
    return bars


def _name(step: str, alter: int, octave: int) -> str:
    return f"{step}{_SIGNS.get(alter, alter)}{octave}".replace("♮", "")


def _number(text: str | None, otherwise: Fraction) -> Fraction:
    return Fraction(text.strip()) if text and text.strip() else otherwise
