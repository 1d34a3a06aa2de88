"""Harmonics: written where they are played, on strings that speak, not too many at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.ledger import OctaveShift
from arranger.model.mark_edits import Unsign
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.rulebook.rules import rule


def _place(code: str, limit: str) -> int:
    return Pitch.parse(str(rule(code).limits[limit].value)).position


def _harmonics(case: Case) -> Iterator[tuple[tuple[Note, ...], list[Note]]]:
    for attack in case.attacks:
        mine = [n for n in attack.notes if "harmonic" in n.marks]
        if mine:
            yield attack.notes, mine


def _plain(case: Case, notes: Sequence[Note]) -> Remedy:
    return Remedy("play plain notes", "other-sound", case.judge.prices["drop_inner"],
                  tuple(Unsign(n.id, "harmonic") for n in notes))


def dull(case: Case) -> Iterator[Diagnostic]:
    """O1: a harmonic on a string on which no source calls it good; one finding a bar."""
    low, high = _place("O1", "lowest"), _place("O1", "highest")
    bars: dict[int, list[Note]] = {}
    for _, mine in _harmonics(case):
        for note in mine:
            at_sound = low <= note.pitch.position - 7 <= high
            if not low <= note.pitch.position <= high and not at_sound:
                bars.setdefault(note.measure, []).append(note)
    for notes in bars.values():
        yield case.say("O1", "warning", f"a harmonic on {notes[0].pitch.label} hardly speaks",
                       notes, remedies=[_plain(case, notes)])


def too_many(case: Case) -> Iterator[Diagnostic]:
    """O2: more harmonics at once than two hands can make."""
    found = rule("O2")
    most, strings = int(found.number("left_hand")), int(found.number("left_hand_strings"))
    right = int(found.number("right_hand"))
    for _, mine in _harmonics(case):
        ordered = sorted(mine, key=lambda n: n.pitch.position)
        if not any(_fits(ordered[:cut], most, strings) and len(ordered) - cut <= right
                   for cut in range(len(ordered) + 1)):
            yield case.say("O2", "error", f"{len(mine)} harmonics at once: the left hand makes at "
                           f"most {most} within {strings} strings, the right hand {right}", mine,
                           remedies=[_plain(case, mine)])


def _fits(notes: Sequence[Note], most: int, strings: int) -> bool:
    return not notes or (len(notes) <= most and
                         notes[-1].pitch.position - notes[0].pitch.position < strings)


def written_at_sound(case: Case) -> Iterator[Diagnostic]:
    """O3: harmonics so high that they are probably written where they sound."""
    low, high = _place("O1", "lowest"), _place("O1", "highest")
    mine = [n for _, notes in _harmonics(case) for n in notes
            if n.pitch.position > high and low <= n.pitch.position - 7 <= high]
    if mine:
        edits = tuple(OctaveShift(n.id, n.pitch.shifted(-1)) for n in mine)
        yield case.say("O3", "advice", f"harmonics such as {mine[0].pitch.label} are probably "
                       f"written where they sound: say so, or write the string to pluck", mine,
                       remedies=[Remedy("write them an octave lower, on the string to pluck",
                                        "same-sound", case.judge.prices["respell"], edits)])


CHECKS = {"O1": dull, "O2": too_many, "O3": written_at_sound}
