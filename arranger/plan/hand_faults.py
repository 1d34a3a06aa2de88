"""Where a hand has no time as a part shares the strings: leaps, strings passed on, runs, chords."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from arranger.model.score import Note
from arranger.plan.part_hands import Attack, Grip
from arranger.rulebook.players import Player
from arranger.rulebook.rules import rule

_EPS = 1e-6
#: Strings for which a hand is set; a single finger is quicker.
_CHORD = 2


@dataclass(frozen=True, slots=True)
class Leap:
    """A hand goes from ``old`` to ``new`` (attack ``at``); seconds it has, and needs (rule H9)."""

    at: int
    hand: str
    old: tuple[Note, ...]
    new: tuple[Note, ...]
    have: float
    need: float

    @property
    def late(self) -> bool:
        """Tell whether there is too little time."""
        return self.have < self.need - _EPS


@dataclass(frozen=True, slots=True)
class Anew:
    """A hand plucks ``old``, and then ``new``, for which it has to be placed again (rule H12)."""

    at: int
    hand: str
    old: tuple[Note, ...]
    new: tuple[Note, ...]
    have: float


@dataclass(frozen=True, slots=True)
class HandOver:
    """``hand`` takes the string of ``old``, which the other hand has just plucked (rule S4)."""

    at: int
    hand: str
    old: Note
    new: Note
    have: float


@dataclass(frozen=True, slots=True)
class Run:
    """Quick single notes in one direction that lie in one hand, up to attack ``at`` (rule H6)."""

    at: int
    hand: str
    notes: tuple[Note, ...]
    gap: float


def leaps(attacks: Sequence[Attack], grips: Sequence[Grip], player: Player) -> Iterator[Leap]:
    """Every way of a hand beyond what it spans and stretches to; what no hand holds counts not."""
    pace, lead = rule("H9").number("strings_per_second"), player.placing_lead_seconds
    last: dict[str, tuple[float, tuple[Note, ...]]] = {}
    for at, (attack, grip) in enumerate(zip(attacks, grips, strict=True)):
        for hand in "" if grip.fault else "LR":
            new = grip.hand(hand)
            before = last.get(hand)
            if new:
                last[hand] = attack.seconds, new
            if not new or before is None or attack.seconds <= before[0]:
                continue
            old = before[1]
            way = max(new[-1].pitch.position, old[-1].pitch.position) - min(
                new[0].pitch.position, old[0].pitch.position) - player.span_steps
            if way > player.comfortable_span_steps:
                yield Leap(at, hand, old, new, attack.seconds - before[0], way / pace + lead)


def placed_anew(attacks: Sequence[Attack], grips: Sequence[Grip],
                player: Player) -> Iterator[Anew]:
    """Grips of two strings or more that a hand cannot have set together with those before them.

    Single notes between them are not looked at; strings that stand are a matter of rule R1.
    """
    for hand in "LR":
        placed: frozenset[int] = frozenset()
        last: tuple[float, tuple[Note, ...]] | None = None
        for at, (attack, grip) in enumerate(zip(attacks, grips, strict=True)):
            new = grip.hand(hand)
            if grip.fault or len(new) < _CHORD:
                continue
            strings = frozenset(n.pitch.position for n in new)
            both = placed | strings
            together = not placed & strings and _held(both, player)
            if last is not None and not together and not strings <= placed and len(
                    strings - {n.pitch.position for n in last[1]}) >= _CHORD:
                yield Anew(at, hand, last[1], new, attack.seconds - last[0])
            placed = both if together else placed if strings <= placed else strings
            last = attack.seconds, new


def _held(strings: frozenset[int], player: Player) -> bool:
    """Tell whether a hand can stand on all of these at once, thumb on the highest."""
    places = sorted(strings, reverse=True)
    return (len(places) <= player.fingers_per_hand and places[0] - places[-1] <= player.span_steps
            and all(a - b <= most for (a, b), most in zip(pairwise(places), player.finger_pairs,
                                                          strict=False)))


def handed_over(attacks: Sequence[Attack], grips: Sequence[Grip],
                player: Player) -> Iterator[HandOver]:
    """Strings that pass from hand to hand sooner than the player's ``collision_seconds``."""
    last: dict[int, tuple[float, str, Note]] = {}
    for at, (attack, grip) in enumerate(zip(attacks, grips, strict=True)):
        for hand, note in [(h, n) for h in "LR" for n in grip.hand(h)]:
            before = last.get(note.pitch.position)
            last[note.pitch.position] = (attack.seconds, hand, note)
            if before is None or before[1] == hand or before[2].pitch != note.pitch:
                continue
            gap = attack.seconds - before[0]
            if 0 < gap < player.collision_seconds - _EPS:
                yield HandOver(at, hand, before[2], note, gap)


def long_runs(attacks: Sequence[Attack], grips: Sequence[Grip], player: Player) -> Iterator[Run]:
    """Runs of more notes than a hand takes in two placings."""
    limit = rule("H6").number("moderate_seconds")
    runs: list[list[tuple[int, float, str, Note]]] = [[]]
    for at, (attack, grip) in enumerate(zip(attacks, grips, strict=True)):
        single = [(h, n) for h in "LR" for n in grip.hand(h)]
        here = (at, attack.seconds, *single[0]) if len(single) == 1 else None
        if here is None or not _goes_on(runs[-1], here, limit):
            runs.append([])
        if here is not None:
            runs[-1].append(here)
    for run in runs:
        if len(run) > 2 * player.one_hand_run_notes:
            yield Run(run[-1][0], run[0][2], tuple(note for *_, note in run),
                      (run[-1][1] - run[0][1]) / (len(run) - 1))


def _goes_on(run: Sequence[tuple[int, float, str, Note]], here: tuple[int, float, str, Note],
             limit: float) -> bool:
    if not run:
        return True
    _, seconds, hand, note = run[-1]
    if here[2] != hand or here[1] - seconds > limit - _EPS:
        return False
    way = here[3].midi - note.midi
    return way != 0 and (len(run) == 1 or (way > 0) == (note.midi > run[-2][3].midi))
