"""What is hard for the hands of a draft, found from the notes, hands and fingers alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString
from arranger.options.risk import FINGER, HAND, Risk, played, risk
from arranger.passes.settings import Settings
from arranger.plan.slices import Slice
from arranger.rulebook.players import Player

_EPS = 1e-6
#: Seconds within which single notes of one hand are one line (assumption).
_LINE = 0.4


def hand_risks(draft: Draft, settings: Settings) -> list[Risk]:
    """All risks of the hands, in no particular order."""
    here = played(draft)
    player, prices = settings.player, settings.prices
    found = [*_neighbours(here, prices), *_grips(here, player, prices)]
    for hand in "RL":
        mine = [(s.seconds, _grip(s, hand)) for s in here if _grip(s, hand)]
        found += [*_leaps(mine, player, prices), *_placing(mine, player, prices),
                  *_lines(mine, player, prices)]
    return [*found, *_strings(here, player, prices),
            *_swings(here, player, prices, settings.harp.wire_top)]


def _grip(here: Slice, hand: str) -> list[HarpNote]:
    return sorted((n for n in here.notes if n.hand == hand), key=lambda n: n.string)


def _named(note: HarpNote) -> str:
    """Hand and finger, as far as known."""
    return f"{HAND[note.hand]} {FINGER[note.finger] if note.finger else 'hand'}"


def _neighbours(here: Sequence[Slice], prices: Mapping[str, int]) -> Iterator[Risk]:
    """Neighbouring strings, one for each hand, at one moment.

    Thumb on the lower and a finger on the upper string is the bad way round (common practice).
    """
    for s in here:
        ordered = sorted(s.notes, key=lambda n: n.string)
        for low, high in pairwise(ordered):
            if low.hand == high.hand or high.string.position - low.string.position != 1:
                continue
            bad = low.finger == 1 and high.finger not in (None, 1)
            told = (f"{_named(low)} on {low.pitch.label} beside {_named(high)} on "
                    f"{high.pitch.label} at once")
            told += ": both sneak in between the two strings" if bad else ""
            yield risk("neighbours", prices["neighbours"] * (2 if bad else 1), high, (low, high),
                       told)


def _grips(here: Sequence[Slice], player: Player, prices: Mapping[str, int]) -> Iterator[Risk]:
    """Grips wider than is comfortable."""
    for s in here:
        for hand in "RL":
            grip = _grip(s, hand)
            if len(grip) < 2:
                continue
            steps = grip[-1].string.position - grip[0].string.position
            over = steps - player.comfortable_span_steps
            if over > 0 and not grip[0].rolled:
                yield risk("grip", prices["reach"] * over * len(grip), grip[-1],
                           (grip[-1], grip[0], *grip[1:-1]),
                           f"the {HAND[hand]} hand opens over {steps + 1} strings, "
                           f"{grip[0].pitch.label} to {grip[-1].pitch.label}, with "
                           f"{len(grip)} fingers")


def _leaps(mine: Sequence[tuple[float, list[HarpNote]]], player: Player,
           prices: Mapping[str, int]) -> Iterator[Risk]:
    """Ways that a hand can only make in a hurry."""
    for (before, old), (now, new) in pairwise(mine):
        strings = [n.string.position for n in (*old, *new)]
        way = max(strings) - min(strings) - player.span_steps
        over = way - player.travel_steps_per_second * (now - before)
        if over > 0:
            yield risk("leap", prices["travel"] * over, new[0], (*new, *old),
                       f"the {HAND[new[0].hand]} hand leaps from {old[0].pitch.label} to "
                       f"{new[0].pitch.label} in {now - before:.2f} s")


def _placing(mine: Sequence[tuple[float, list[HarpNote]]], player: Player,
             prices: Mapping[str, int]) -> Iterator[Risk]:
    """Chords that come before the hand can be placed on all their strings."""
    for (before, old), (now, new) in pairwise(mine):
        fresh = {n.string for n in new} - {n.string for n in old}
        late = player.placing_lead_seconds + player.restrike_error_seconds - (now - before)
        if len(new) >= 3 and len(fresh) >= 3 and late > _EPS and not new[0].rolled:
            yield risk("placing", prices["collision"] * len(fresh) / 2, new[0], new,
                       f"the {HAND[new[0].hand]} hand has {now - before:.2f} s to place "
                       f"{len(fresh)} new strings: a finger may come late to the chord")


def _lines(mine: Sequence[tuple[float, list[HarpNote]]], player: Player,
           prices: Mapping[str, int]) -> Iterator[Risk]:
    """Lines of one hand longer than it places at once, and turns that skip strings."""
    line: list[HarpNote] = []
    way, last, first = 0, 0.0, 0.0
    for now, grip in [*mine, (1e9, [])]:
        note = grip[0] if len(grip) == 1 else None
        step = note.string.position - line[-1].string.position if note and line else 0
        goes_on = (note is not None and line and now - last <= _LINE and step
                   and (not way or (step > 0) == (way > 0)))
        if goes_on and note:
            line.append(note)
            way = step
        else:
            yield from _line(line, last - first, player, prices)
            chained = note is not None and line and now - last <= _LINE and step
            first = last if chained else now
            line = [line[-1], note] if chained and note else [note] if note else []
            way = step if chained else 0
        last = now


def _line(line: Sequence[HarpNote], seconds: float, player: Player,
          prices: Mapping[str, int]) -> Iterator[Risk]:
    """``seconds``: from the first note to the last."""
    if len(line) <= player.one_hand_run_notes:
        return
    if len(line) == player.one_hand_run_notes + 1 and (
            seconds < player.placing_lead_seconds * (len(line) - 1) / 2 - _EPS):
        yield risk("fifth", prices["collision"], line[-1], (line[-1],),
                   f"{len(line)} quick notes are one more than the {HAND[line[0].hand]} hand "
                   f"places: the last, {line[-1].pitch.label}, is commonly left out")
        return
    steps = [abs(b.string.position - a.string.position) for a, b in pairwise(line)]
    skips = [i + 1 for i, s in enumerate(steps)
             if s >= 2 and (line[i].finger == 1) != (line[i + 1].finger == 1)
             and abs((line[i].finger or 0) - (line[i + 1].finger or 0)) >= 2]
    wide = sum(steps) > player.span_steps
    if not wide and not skips:
        return
    turn = skips[0] if skips else player.one_hand_run_notes
    hand = HAND[line[0].hand]
    told = (f"a line of {len(line)} notes in the {hand} hand turns over {steps[turn - 1] + 1} "
            f"strings at its note {turn + 1}" if skips else
            f"a line of {len(line)} notes in the {hand} hand, {sum(steps) + 1} strings wide, "
            f"needs the hand to turn or be placed anew")
    yield risk("turn", prices["collision"] + 2 * sum(steps[i - 1] for i in skips),
               line[turn], (line[turn], *line[turn + 1:]), told)


def _strings(here: Sequence[Slice], player: Player, prices: Mapping[str, int]) -> Iterator[Risk]:
    """Strings needed again: by the other hand too early, by the same one too quickly."""
    last: dict[int, tuple[float, HarpNote]] = {}
    for s in here:
        for note in s.notes:
            place = note.string.position
            if place in last:
                yield from _again(*last[place], s.seconds, note, player, prices)
            for beside in (place - 1, place + 1):
                if beside in last:
                    yield from _close(*last[beside], s.seconds, note, player, prices)
        last |= {n.string.position: (s.seconds, n) for n in s.notes}


def _again(before: float, old: HarpNote, now: float, new: HarpNote, player: Player,
           prices: Mapping[str, int]) -> Iterator[Risk]:
    gap = now - before
    if old.hand != new.hand and _EPS < gap < player.collision_seconds - _EPS:
        pressing = 2 - gap / player.collision_seconds
        yield risk("collision", prices["collision"] * pressing, new, (new, old),
                   f"the {HAND[new.hand]} hand needs the string of {new.pitch.label} "
                   f"{gap:.2f} s after the {HAND[old.hand]} hand plucked it")
    elif old.hand == new.hand and _EPS < gap < player.restrike_warning_seconds - _EPS:
        yield risk("repeat", prices["neighbours"] * 2, new, (new, old),
                   f"the {HAND[new.hand]} hand plucks {new.pitch.label} again after {gap:.2f} s")


def _close(before: float, old: HarpNote, now: float, new: HarpNote, player: Player,
           prices: Mapping[str, int]) -> Iterator[Risk]:
    """A string beside the one that the other hand has just plucked, and has not left."""
    if old.hand != new.hand and _EPS < now - before < player.placing_lead_seconds - _EPS:
        yield risk("neighbours", prices["neighbours"] / 2, new, (new, old),
                   f"the {HAND[new.hand]} hand comes to {new.pitch.label} beside "
                   f"{old.pitch.label}, which the {HAND[old.hand]} hand plucked "
                   f"{now - before:.2f} s before")


def _swings(here: Sequence[Slice], player: Player, prices: Mapping[str, int],
            wire_top: HarpString) -> Iterator[Risk]:
    """Wire strings plucked while one plucked loudly beside them swings far (common practice)."""
    last: dict[int, tuple[float, HarpNote]] = {}
    for s in here:
        for note in s.notes:
            place = note.string.position
            for beside in (place - 1, place + 1):
                if beside in last and place <= wire_top.position:
                    before, old = last[beside]
                    if _EPS < s.seconds - before < player.collision_seconds - _EPS:
                        yield risk("swing", prices["swing"], note, (note, old),
                                   f"{old.pitch.label} is plucked loudly and may still swing into "
                                   f"the string of {note.pitch.label} "
                                   f"{s.seconds - before:.2f} s after")
        last |= {n.string.position: (s.seconds, n) for n in s.notes
                 if "loud" in n.source.marks and n.string <= wire_top}
