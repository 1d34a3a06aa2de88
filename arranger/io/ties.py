"""Written notes to sounding notes: ties made one note, duplicates joined."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arranger.io.part_read import Ticks, Written


@dataclass(slots=True, eq=False)
class Sounding:
    """A struck note with what is tied to it; ``onset`` and ``end`` in ticks from the start."""

    written: list[Written]
    onset: Ticks
    end: Ticks
    marks: frozenset[str]
    joined: list[Sounding]

    @property
    def struck(self) -> Written:
        """The written note that is struck."""
        return self.written[0]


def sounding_notes(notes: Iterable[Written], starts: Sequence[Ticks],
                   filled: Sequence[Ticks]) -> list[Sounding]:
    """Join the notes of one part.

    Parameters
    ----------
    notes
        Notes of the part in document order.
    starts
        Onset of every bar, in ticks.
    filled
        How far the part's own content reaches in each bar: a note up to there is tied over the
        barline even if another part makes the bar longer.
    """
    return _without_duplicates(_chains(notes, starts, filled))


def _chains(notes: Iterable[Written], starts: Sequence[Ticks],
            filled: Sequence[Ticks]) -> list[Sounding]:
    """Tie notes by pitch and adjacency, the same voice and staff preferred."""
    found: list[Sounding] = []
    open_ties: dict[tuple[int, Ticks], list[Sounding]] = defaultdict(list)
    placed = [(starts[note.bar] + note.offset, note) for note in notes]
    placed.sort(key=lambda p: p[0])
    for onset, note in placed:
        end = onset + note.length
        if note.offset + note.length == filled[note.bar] and note.bar + 1 < len(starts):
            end = max(end, starts[note.bar + 1]) if note.starts_tie else end
        waiting = open_ties.get((note.pitch.midi, onset)) if note.stops_tie else None
        if waiting:
            chain = waiting.pop(_best(waiting, note))
            chain.written.append(note)
            chain.end = end
            chain.marks |= note.marks
        else:
            marks = note.marks | {"tie-only"} if note.stops_tie else note.marks
            chain = Sounding([note], onset, end, marks, [])
            found.append(chain)
        if note.starts_tie:
            open_ties[note.pitch.midi, end].append(chain)
    return found


def _best(waiting: Sequence[Sounding], note: Written) -> int:
    """Return the index of the chain that ``note`` goes on; of many, the last few are looked at."""
    def distance(index: int) -> tuple[bool, bool]:
        last = waiting[index].written[-1]
        return last.voice != note.voice, last.staff != note.staff

    return min(range(max(0, len(waiting) - 32), len(waiting)), key=distance)


def _without_duplicates(notes: list[Sounding]) -> list[Sounding]:
    """Join notes of one onset and pitch into the first of them, graces of two voices too."""
    first: dict[tuple[Ticks, int, int], Sounding] = {}
    kept: list[Sounding] = []
    back = _places_of_graces(notes)
    for note in notes:
        place = (note.onset, note.struck.pitch.midi, back.get(note, 0))
        other = first.setdefault(place, note)
        if other is note:
            kept.append(note)
        else:
            other.joined.append(note)
            other.end = max(other.end, note.end)
            other.marks |= note.marks
    return kept


def _places_of_graces(notes: Iterable[Sounding]) -> dict[Sounding, int]:
    """Return for each grace how many chords of its voice come from it on, up to its note.

    Graces of two voices are struck together, the last with the last.
    """
    voices: dict[tuple[Ticks, int, str], dict[int, list[Sounding]]] = defaultdict(
        lambda: defaultdict(list))
    for note in notes:
        if note.struck.grace:
            struck = note.struck
            voices[note.onset, struck.staff, struck.voice][struck.chord].append(note)
    return {note: len(chords) - rank for chords in voices.values()
            for rank, chord in enumerate(chords.values()) for note in chord}
