"""Plant one fault into a clean stretch of a harp part; the check must find it in its bar.

Each planter takes a case and a random source and returns the case with one fault and the bar in
which it must be found, or None where the place does not suit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from arranger.checks.case import Case, setting_at, with_notes
from arranger.model.harp import PEDALS, HarpString
from arranger.model.marks import PedalMark
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.part_hands import Attack


@dataclass(frozen=True, slots=True)
class Plant:
    """A case with a fault of ``code`` in the bar of index ``bar`` (from 1)."""

    code: str
    case: Case
    bar: int


Planted = tuple[Case, int] | None
Planter = Callable[[Case, Random], Planted]


def plant(code: str, case: Case, random: Random) -> Plant | None:
    """Try to plant a fault of this rule."""
    done = PLANTERS[code](case, random)
    return None if done is None else Plant(code, done[0], done[1] + 1)


def _attack(case: Case, random: Random) -> Attack:
    return random.choice(case.attacks)


def _with(case: Case, *more: Note, without: tuple[Note, ...] = ()) -> Case:
    gone = {n.id for n in without}
    return with_notes(case, [*(n for n in case.notes if n.id not in gone), *more])


def _new(like: Note, rank: int, pitch: Pitch, onset: Fraction | None = None) -> Note:
    return replace(like, id=f"planted{rank}", pitch=pitch, source_ids=(f"planted{rank}",),
                   onset=like.onset if onset is None else onset, marks=frozenset(),
                   duration=min(like.duration, Fraction(1, 4)))


def _quarters(case: Case, onset: Fraction, seconds: float) -> Fraction:
    return Fraction(seconds * case.bpm(onset) / 60).limit_denominator(960)


def _other(case: Case, note: Note, random: Random) -> Pitch | None:
    """Another position of the note's letter, on a string with discs."""
    if abs(note.pitch.alter) > 1 or HarpString.of(note.pitch) in case.harp.fixed:
        return None
    alters = [a for a in (-1, 0, 1) if a != note.pitch.alter]
    return replace(note.pitch, alter=random.choice(alters))


def too_soon(case: Case, random: Random) -> Planted:
    """P1: the same letter in another position less than a tenth of a second later."""
    attack = _attack(case, random)
    note = random.choice(attack.notes)
    pitch = _other(case, note, random)
    onset = attack.onset + _quarters(case, attack.onset, 0.08)
    bar = case.score.measures[note.measure]
    if pitch is None or onset >= bar.onset + bar.duration:
        return None
    return _with(case, _new(note, 1, pitch, onset)), note.measure


def foot(case: Case, random: Random) -> Planted:
    """P3: three pedals of one foot within less than half a second."""
    letters = random.choice(["DCB", "EFG", "FGA"])
    attack = _attack(case, random)
    like = attack.notes[0]
    gap = _quarters(case, attack.onset, 0.45)
    start, stop = attack.onset, attack.onset + gap
    bar = case.score.measures[like.measure]
    margin = _quarters(case, attack.onset, 3.0)
    if stop >= bar.onset + bar.duration:
        return None
    if any(start - margin < n.onset < stop + margin and n.pitch.step in letters
           for n in case.notes):
        return None
    stands = {}
    for letter in letters:
        before = [n for n in case.notes if n.pitch.step == letter and n.onset < start]
        stands[letter] = before[-1].pitch.alter if before else 0
    if any(abs(a) > 1 for a in stands.values()):
        return None
    more = []
    for rank, letter in enumerate(letters):
        now = Pitch(letter, stands[letter], 4)
        then = Pitch(letter, 0 if stands[letter] else random.choice([-1, 1]), 4)
        more += [_new(like, 2 * rank, now), _new(like, 2 * rank + 1, then, stop)]
    return _with(case, *more, without=attack.notes), like.measure


def clash(case: Case, random: Random) -> Planted:
    """S1: the same letter in two positions at once."""
    attack = _attack(case, random)
    note = random.choice(attack.notes)
    pitch = _other(case, note, random)
    if pitch is None:
        return None
    pitch = pitch.shifted(random.choice([-1, 0, 1]))
    if not case.harp.has(HarpString.of(pitch)) or HarpString.of(pitch) in case.harp.fixed:
        return None
    return _with(case, _new(note, 1, pitch)), note.measure


def twice(case: Case, random: Random) -> Planted:
    """S2: a note on both staves."""
    note = random.choice(case.notes)
    both = replace(note, source_ids=(note.id, f"{note.id}-double"))
    doubled = _with(case, both, without=(note,))
    return replace(doubled, staves={**case.staves, note.id: (1, 2)}), note.measure


def ninth_string(case: Case, random: Random) -> Planted:
    """H1: strings added until two hands have too few fingers."""
    attack = _attack(case, random)
    taken = {n.pitch.position for n in attack.notes}
    steps = {n.pitch.step: n.pitch.alter for n in attack.notes}
    middle = attack.notes[0].pitch.position
    free = [p for p in range(middle - 9, middle + 20) if p not in taken
            and case.harp.has(HarpString(p)) and HarpString(p) not in case.harp.fixed]
    random.shuffle(free)
    more = [HarpString(p) for p in free[:9 - len(taken)]]
    if len(more) + len(taken) < 9 or any(abs(a) > 1 for a in steps.values()):
        return None
    like = attack.notes[0]
    added = [_new(like, i, s.pitch(steps.get(s.step, 0))) for i, s in enumerate(more)]
    return _with(case, *added), like.measure


def too_wide(case: Case, random: Random) -> Planted:
    """H2: three notes, each farther from the next than a hand reaches."""
    attack = _attack(case, random)
    like = attack.notes[0]
    low = random.randrange(Pitch.parse("F2").position, Pitch.parse("G2").position + 1)
    strings = [HarpString(low + k) for k in (0, 12, 24)]
    added = [_new(like, i, s.pitch(0)) for i, s in enumerate(strings)]
    return _with(case, *added, without=attack.notes), like.measure


def below_the_right_hand(case: Case, random: Random) -> Planted:
    """H3: five strings below what the right hand reaches."""
    attack = _attack(case, random)
    like = attack.notes[0]
    names = random.choice(["E1 G1 B1 C2 E2", "F1 A1 C2 D2 F2", "E1 F1 A1 C2 F2"])
    added = [_new(like, i, Pitch.parse(n)) for i, n in enumerate(names.split())]
    return _with(case, *added, without=attack.notes), like.measure


def crossed(case: Case, random: Random) -> Planted:
    """H4: written fingers that cross inside one chord of one hand."""
    grips = [g for g in case.grips if not g.fault
             and any(len(h) > 1 and h[0].chord == h[1].chord for h in (g.left, g.right))]
    if not grips:
        return None
    grip = random.choice(grips)
    low, high = next(h for h in (grip.left, grip.right)
                     if len(h) > 1 and h[0].chord == h[1].chord)[:2]
    return replace(case, fingers={low.id: 1, high.id: 2}), low.measure


def at_once_again(case: Case, random: Random) -> Planted:
    """R1: a note again after less than a tenth of a second."""
    attack = _attack(case, random)
    note = random.choice(attack.notes)
    onset = attack.onset + _quarters(case, attack.onset, 0.07)
    bar = case.score.measures[note.measure]
    if onset >= bar.onset + bar.duration or any(
            n.pitch.position == note.pitch.position and attack.onset < n.onset <= onset
            for n in case.notes):
        return None
    return _with(case, _new(note, 1, note.pitch, onset)), note.measure


def no_string(case: Case, random: Random) -> Planted:
    """C1: a note beyond the ends of the harp."""
    note = random.choice(case.notes)
    pitch = Pitch.parse(random.choice(["A0", "B0", "C8", "B7", "A7"]))
    return _with(case, replace(note, pitch=pitch), without=(note,)), note.measure


def untunable(case: Case, random: Random) -> Planted:
    """C2: the lowest string wanted at two pitches."""
    one, two = sorted((_attack(case, random), _attack(case, random)), key=lambda a: a.onset)
    if one is two:
        return None
    string = random.choice(sorted(case.harp.fixed))
    first, second = random.sample([-1, 0, 1], 2)
    notes = (_new(one.notes[0], 1, string.pitch(first)), _new(two.notes[0], 2,
                                                              string.pitch(second)))
    if any(n.pitch.position == string.position for n in case.notes):
        return None
    return _with(case, *notes), two.notes[0].measure


def harmonics(case: Case, random: Random) -> Planted:
    """O2: five harmonics at once."""
    many = [a for a in case.attacks if len(a.notes) >= 5]
    if not many:
        return None
    attack = random.choice(many)
    signed = [replace(n, marks=n.marks | {"harmonic"}) for n in attack.notes]
    return _with(case, *signed, without=attack.notes), attack.notes[0].measure


# marks

def _changes(case: Case) -> list[tuple[PedalMark, str]]:
    """Single marks, each with a letter that moves."""
    return [(m, p) for m in case.marks.pedals if not m.full for p in m.alters]


def _letter(case: Case, letter: str) -> list[Note]:
    return [n for n in case.notes if n.pitch.step == letter
            and HarpString.of(n.pitch) not in case.harp.fixed]


def _marks(case: Case, pedals: list[PedalMark]) -> Case:
    ordered = tuple(sorted(pedals, key=lambda m: m.onset))
    return replace(case, marks=replace(case.marks, pedals=ordered))


def _without(case: Case, mark: PedalMark, letter: str) -> list[PedalMark]:
    alters = {p: a for p, a in mark.alters.items() if p != letter}
    others = [m for m in case.marks.pedals if m is not mark]
    return [*others, replace(mark, alters=alters)] if alters else others


def _next_use(case: Case, mark: PedalMark, letter: str) -> Note | None:
    after = [m.onset for m, p in _changes(case) if p == letter and m.onset > mark.onset]
    notes = [n for n in _letter(case, letter) if n.onset >= mark.onset
             and (not after or n.onset < after[0])]
    return notes[0] if notes else None


def forgotten(case: Case, random: Random) -> Planted:
    """P6: a mark taken away that a note needs, and no other string gives the pitch."""
    changes = _changes(case)
    if len(changes) < 2:
        return None
    mark, letter = random.choice(changes)
    note = _next_use(case, mark, letter)
    if note is None:
        return None
    planted = _marks(case, _without(case, mark, letter))
    known = setting_at(planted, note.onset)
    if any(known.get(p.step) == p.alter for p in case.harp.spellings(note.midi)):
        return None
    return planted, note.measure


def behind(case: Case, random: Random) -> Planted:
    """P7: a mark moved behind the note it is for."""
    changes = _changes(case)
    if not changes:
        return None
    mark, letter = random.choice(changes)
    note = _next_use(case, mark, letter)
    if note is None:
        return None
    onset = note.onset + Fraction(1, 8)
    if any(p == letter and mark.onset < m.onset <= onset + 1 for m, p in changes):
        return None
    moved = replace(mark, onset=onset, measure=note.measure, alters={letter: mark.alters[letter]})
    return _marks(case, [*_without(case, mark, letter), moved]), note.measure


def ahead(case: Case, random: Random) -> Planted:
    """P8: a mark moved before the last note of the old position."""
    changes = _changes(case)
    if not changes:
        return None
    mark, letter = random.choice(changes)
    old = [n for n in _letter(case, letter) if n.onset < mark.onset]
    if not old or old[-1].pitch.alter == mark.alters[letter]:
        return None
    last = old[-1]
    onset = last.onset - Fraction(1, 16)
    earlier = [m for m in case.marks.pedals if letter in m.alters and m.onset < mark.onset]
    if onset < 0 or not earlier or earlier[-1].onset >= onset or any(
            n.onset >= onset and n.onset < last.onset for n in old):
        return None
    moved = replace(mark, onset=onset, measure=last.measure, alters={letter: mark.alters[letter]})
    return _marks(case, [*_without(case, mark, letter), moved]), last.measure


def wrong_setting(case: Case, random: Random) -> Planted:
    """P8: the opening setting shows a letter as it is not wanted."""
    if not case.marks.pedals or not case.marks.pedals[0].full:
        return None
    opening = case.marks.pedals[0]
    letter = random.choice(PEDALS)
    notes = _letter(case, letter)
    if not notes or any(p == letter and m.onset <= notes[0].onset for m, p in _changes(case)):
        return None
    alter = random.choice([a for a in (-1, 0, 1) if a != opening.alters[letter]])
    changed = replace(opening, alters={**opening.alters, letter: alter})
    return _marks(case, [changed, *case.marks.pedals[1:]]), notes[0].measure


def both_ways(case: Case, random: Random) -> Planted:
    """P10: the opposite marked at the same moment."""
    changes = _changes(case)
    if not changes:
        return None
    mark, letter = random.choice(changes)
    alter = random.choice([a for a in (-1, 0, 1) if a != mark.alters[letter]])
    return (_marks(case, [*case.marks.pedals, replace(mark, alters={letter: alter})]),
            case.score.measure_at(mark.onset).index)


def octaves_at_once(case: Case, random: Random) -> Planted:
    """H12: an octave in each hand, and the next ones a tenth of a second later."""
    attack = _attack(case, random)
    like = attack.notes[0]
    onset = attack.onset + _quarters(case, attack.onset, 0.1)
    bar = case.score.measures[like.measure]
    if onset >= bar.onset + bar.duration or any(
            attack.onset < n.onset <= onset + Fraction(1, 8) for n in case.notes):
        return None
    low = random.randrange(Pitch.parse("C3").position, Pitch.parse("G3").position)
    added = [_new(like, 4 * step + k, HarpString(low + step + 7 * k).pitch(0),
                  onset if step else None) for step in (0, 1) for k in range(4)]
    return _with(case, *added, without=attack.notes), like.measure


PLANTERS: Mapping[str, Planter] = {
    "P1": too_soon, "P3": foot, "S1": clash, "S2": twice, "H1": ninth_string, "H2": too_wide,
    "H3": below_the_right_hand, "H4": crossed, "H12": octaves_at_once, "R1": at_once_again,
    "C1": no_string, "C2": untunable, "O2": harmonics, "P6": forgotten, "P7": behind, "P8": ahead,
    "P10": both_ways}
#: A second way to break the rule of the same code.
OTHERS: Mapping[str, Planter] = {"P8": wrong_setting}
#: Rules about marks: planted into parts that carry the marks of their plan.
OF_MARKS = ("P6", "P7", "P8", "P10")
