"""Strings wanted twice, by two pitches or two hands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from arranger.checks.case import HAND, OTHER, Case
from arranger.checks.chords import playable_together, spelled_clashes
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import HarpString
from arranger.model.ledger import Drop, GiveToHand, Merge, Respell
from arranger.model.score import Note
from arranger.plan.hand_faults import handed_over


def two_pitches(case: Case) -> Iterator[Diagnostic]:
    """S1: one letter in two positions, or one string for two pitches, at one moment."""
    for attack in case.attacks:
        notes = [n for n in attack.notes if HarpString.of(n.pitch) not in case.harp.fixed
                 and abs(n.pitch.alter) <= 1]
        clashes = [(low, high) for low, high in spelled_clashes([n.pitch for n in notes])
                   if case.harp.mechanism == "pedal" or low.octave == high.octave]
        if not clashes:
            continue
        letters = {low.step for low, _ in clashes}
        mine = [n for n in notes if n.pitch.step in letters]
        low, high = clashes[0]
        if low.octave == high.octave:
            told = f"{low.label} and {high.label} share the string {low.step}{low.octave}"
        else:
            told = (f"{low.label} and {high.label} want the {low.step} pedal in two positions at "
                    f"once")
        remedies = [*_spelled_apart(case, notes), *(case.dropped(n, attack.notes) for n in mine)]
        if not _other_ways(case, mine, [n.midi for n in notes]):
            told += "; no other spelling helps"
        yield case.say("S1", "error", told, mine, remedies=remedies)


def _other_ways(case: Case, mine: Sequence[Note], midis: Sequence[int]) -> bool:
    """Tell whether other strings may serve; on a harp with levers each string is apart."""
    if case.harp.mechanism == "pedal":
        return playable_together(sorted(set(midis)), harp=case.harp) is not None
    return any(len(case.harp.spellings(n.midi)) > 1 for n in mine)


def _spelled_apart(case: Case, notes: Sequence[Note]) -> Iterator[Remedy]:
    """Other strings for as few notes of the attack as will do."""
    for note in notes:
        yield from case.respelled(note)
    midis = sorted({n.midi for n in notes})
    found = (playable_together(midis, harp=case.harp) if case.harp.mechanism == "pedal" else None)
    if found is None:
        return
    spelled = dict(zip(midis, found, strict=True))
    changed = [n for n in notes if spelled[n.midi] != n.pitch]
    if len(changed) > 1:
        title = ", ".join(f"{spelled[n.midi].label} for {n.pitch.label}" for n in changed)
        yield Remedy(f"write {title}", "same-sound", case.judge.prices["respell"] * len(changed),
                     tuple(Respell(n.id, spelled[n.midi]) for n in changed))


def both_hands(case: Case) -> Iterator[Diagnostic]:
    """S2: the same pitch on both staves; one finding a bar."""
    bars: dict[int, list[Note]] = {}
    for note in case.notes:
        if len(set(case.staves.get(note.id, ()))) > 1:
            bars.setdefault(note.measure, []).append(note)
    for notes in bars.values():
        names = ", ".join(dict.fromkeys(n.pitch.label for n in notes[:4]))
        more = " and others" if len({n.pitch for n in notes}) > 4 else ""
        once = tuple(Merge(double, n.id) for n in notes for double in n.source_ids[1:])
        stand = "stand" if len({n.pitch for n in notes}) > 1 else "stands"
        yield case.say("S2", "advice", f"{names}{more} {stand} on both staves: only one hand can "
                       f"pluck the string", notes,
                       remedies=[Remedy("write it once, the other note in brackets", "same-sound",
                                        0, once)])


def thumb_below(case: Case) -> Iterator[Diagnostic]:
    """S3: neighbouring strings with the written thumb below the other hand's finger."""
    for attack, grip in zip(case.attacks, case.grips, strict=True):
        for one, two in ((grip.left, grip.right), (grip.right, grip.left)):
            for low in one:
                for high in two:
                    if high.pitch.position - low.pitch.position == 1 and \
                            case.fingers.get(low.id) == 1 and case.fingers.get(high.id, 1) > 1:
                        yield case.say(
                            "S3", "warning", f"a thumb on {low.pitch.label} and a finger of the "
                            f"other hand on {high.pitch.label} meet between two neighbouring "
                            f"strings", (low, high), onset=attack.onset)


def just_left(case: Case) -> Iterator[Diagnostic]:
    """S4: a string passes from hand to hand too soon, as the part shares the strings."""
    limit = case.player.collision_seconds
    bars: dict[int, list[tuple[float, str, Note, Note]]] = {}
    glided = case.glided()
    for over in handed_over(case.attacks, case.grips, case.player):
        if {over.old.id, over.new.id} & glided:
            continue
        bars.setdefault(over.new.measure, []).append((over.have, over.hand, over.old, over.new))
    for found in bars.values():
        gap, which, _, note = min(found, key=lambda f: (f[0], f[3].onset, f[3].midi))
        edits = tuple(Drop(n.id) for _, _, _, n in found)
        price = case.judge.prices["drop_doubling"] * len(found)
        keeps = tuple(GiveToHand(n.id, OTHER[w]) for _, w, _, n in found)
        yield case.say("S4", "warning", f"the {HAND[which]} takes {note.pitch.label} {gap:.2f} s "
                       f"after the other hand has plucked it",
                       list(dict.fromkeys(n for _, _, *two in found for n in two)),
                       onset=found[0][3].onset, need=(gap, limit),
                       remedies=[Remedy(f"let the {HAND[OTHER[which]]} keep the string",
                                        "same-sound",
                                        case.judge.prices["other_hand"] * len(found), keeps),
                                 Remedy("leave out the second of each pair", "other-sound", price,
                                        edits)])


def neighbours_in_turn(case: Case) -> Iterator[Diagnostic]:
    """S5: a tremolo between unison strings that begins on the upper one."""
    runs: list[Note] = []
    for one, two in pairwise([*case.attacks, *case.attacks[-1:]]):
        note = one.notes[0] if len(one.notes) == 1 else None
        after = two.notes[0] if len(two.notes) == 1 else None
        if note is None:
            runs = []
            continue
        runs.append(note)
        unison = (after is not None and after is not note and after.midi == note.midi
                  and abs(after.pitch.position - note.pitch.position) == 1)
        if unison:
            continue
        if len(runs) >= 4 and runs[0].pitch.position > runs[1].pitch.position:
            yield case.say("S5", "advice", f"the tremolo begins on {runs[0].pitch.label}, the "
                           f"upper of the two unison strings: write the lower one first", runs[:1])
        runs = []


CHECKS = {"S1": two_pitches, "S2": both_hands, "S3": thumb_below, "S4": just_left,
          "S5": neighbours_in_turn}
