"""Put a draft on the strings that a path chose, with a reason for every change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import PEDALS, HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, Repitch, Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.plan.pedal_path import PedalPath, Way
from arranger.plan.roles import Role
from arranger.plan.slices import Slice, in_order

#: Seconds within which another pluck is the cause of a change (assumption).
_LATELY = 0.5
_NEARBY = 24  # slices on either side in which the cause of a change is looked for


@dataclass(frozen=True, slots=True)
class Words:
    """What is said of a note that a path changed.

    ``rule`` is that of a note left out; ``why`` says why a note cannot be had, and ``respelled``
    why it stands on another string, from the note and the index of its slice.
    """

    stage: str
    rule: str
    why: Callable[[HarpNote, int], str]
    respelled: Callable[[HarpNote, Pitch, int], str]


def put_on_strings(draft: Draft, parts: Sequence[Slice],
                   taken: Sequence[Sequence[Way | None]], words: Words,
                   losses: Mapping[NoteId, Alteration] | None = None) -> Draft:
    """Apply the taken ways. ``losses``: entries of notes that are left out for other reasons."""
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for at, (here, row) in enumerate(zip(parts, taken, strict=True)):
        struck: dict[HarpString, NoteId] = {}
        for note, way in zip(here.notes, row, strict=True):
            if way is None:
                made.append((losses or {}).get(note.id) or Alteration(
                    Drop(note.id), words.rule, words.stage, words.why(note, at)))
                continue
            string = HarpString.of(way.pitch)
            if string in struck and not note.source.grace:
                made.append(Alteration(Merge(note.id, struck[string]), "T3", words.stage,
                                       f"{way.pitch.label} is plucked already"))
                continue
            if not note.source.grace:
                struck[string] = note.id
            made += _change(note, way.pitch, at, words)
            kept.append(note if note.pitch == way.pitch else replace(note, pitch=way.pitch))
    return replace(draft, notes=tuple(in_order(kept)), ledger=draft.ledger.plus(*made))


def _change(note: HarpNote, pitch: Pitch, at: int, words: Words) -> Iterator[Alteration]:
    if pitch.midi != note.pitch.midi:
        yield Alteration(Repitch(note.id, pitch), "T2", words.stage, words.why(note, at))
    elif pitch != note.pitch:
        yield Alteration(Respell(note.id, pitch), "N1", words.stage,
                         words.respelled(note, pitch, at))


def nearest(at: int, count: int) -> list[int]:
    """Slices about ``at``, nearest first, itself too."""
    return sorted(range(max(0, at - _NEARBY), min(count, at + _NEARBY + 1)),
                  key=lambda i: (abs(i - at), i))


def pedal_words(draft: Draft, parts: Sequence[Slice], path: PedalPath,
                part_roles: Mapping[NoteId, Role]) -> Words:
    """Say it of pedals: which one is not free, and for which note near by."""
    def stands(step: str, at: int) -> str:
        position = path.states[at][PEDALS.index(step)] - 1
        return f"the {step} pedal stands at {pedal_word(step, position)}"

    def why(note: HarpNote, at: int) -> str:
        step = note.pitch.step
        position = path.states[at][PEDALS.index(step)] - 1
        told = f"{part_roles[note.id].word} {note.pitch.label}: {stands(step, at)}"
        for other in nearest(at, len(parts)):
            for way in path.taken[other]:
                if way and way.pitch.step == step and way.pitch.alter == position:
                    where = draft.source.locate(parts[other].onset)
                    return f"{told} for {way.pitch.label} in {where}"
        return f"{told} and cannot be moved in time"

    def respelled(note: HarpNote, pitch: Pitch, at: int) -> str:
        if abs(note.pitch.alter) > 1:
            return f"no string gives {note.pitch.label}; {pitch.label} is the string to pluck"
        step = note.pitch.step
        free = path.states[at][PEDALS.index(step)] - 1 == note.pitch.alter
        because = for_the_hands(note, at) if free else stands(step, at)
        return f"plucked on the {pitch.step} string: {because}"

    def for_the_hands(note: HarpNote, at: int) -> str:
        """The pedal would give the note: say whose string, near in time, is its own or beside."""
        own, step = note.pitch.position, note.pitch.step
        for steps in (0, 1):
            for other in nearest(at, len(parts)):
                gap = parts[other].seconds - parts[at].seconds
                found = next((w.pitch for w in path.taken[other] if w is not None
                              and abs(w.pitch.position - own) == steps), None)
                if found is not None and abs(gap) <= _LATELY:
                    when = f"{abs(gap):.2f} s {'after' if gap > 0 else 'before'}" if gap else \
                        "at once"
                    return (f"the {step} string is plucked {when}" if steps == 0 else
                            f"the {step} string lies beside {found.label}, plucked {when}")
        return f"it lies better in the hand than the {step} string"

    return Words("strings", "P1", why, respelled)
