"""Slow, obvious judges of the examples of the lever rules, on a harp of 34 strings in E flat."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise, product

from arranger.model.harp import Harp, HarpString
from arranger.model.pitch import Pitch
from arranger.rulebook.examples import Example
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.rules import Rule

PLAYER = load_player("average")
HARP: Harp = load_harp("lever-34")


def flips(example: Example) -> Iterator[tuple[float, float]]:
    """Times of the last pluck at the old pitch and the first at the new, for every string."""
    assert example.seconds is not None
    strings: dict[int, list[tuple[float, int]]] = {}
    for at, attack in enumerate(example.attacks):
        for pluck in attack:
            strings.setdefault(pluck.pitch.position, []).append(
                (at * example.seconds, pluck.pitch.alter))
    for uses in strings.values():
        yield from ((a, b) for (a, one), (b, two) in pairwise(uses) if one != two)


def no_lever_in_time(rule: Rule, example: Example) -> bool:
    left = [at * (example.seconds or 0) for at, attack in enumerate(example.attacks)
            if any(p.hand == "L" for p in attack)]

    def free(start: float, end: float) -> bool:
        inside = [start, *(t for t in left if start < t < end), end]
        back = [t - PLAYER.placing_lead_seconds if t in left else t for t in inside]
        return any(b - a >= PLAYER.lever_move_seconds
                   for a, b in zip(inside, back[1:], strict=False))
    return any(not free(a, b) for a, b in flips(example))


def pitches(example: Example) -> list[Pitch]:
    return [p.pitch for attack in example.attacks for p in attack]


def beyond_levers(rule: Rule, example: Example) -> bool:
    """No choice of strings and levers gives all pitches at once."""
    midis = sorted({p.midi for p in pitches(example)})
    ways = [[(s.position, a) for s in HARP.strings for a in HARP.alters(s)
             if s.pitch(a).midi == midi] for midi in midis]
    return not any(len({s for s, _ in choice}) == len(set(choice)) for choice in product(*ways))


def cuts_ring(rule: Rule, example: Example) -> bool:
    assert example.seconds is not None
    held = example.hold * example.seconds
    return any(b - a < rule.number("seconds") or held > b - a - PLAYER.lever_move_seconds
               for a, b in flips(example))


def string_of(name: str) -> HarpString:
    return HarpString.of(Pitch.parse(name))


def written(example: Example) -> list[tuple[float, list[tuple[int | None, str, int]]]]:
    """Marks as (attack from 0, [(octave or None, letter, alter)])."""
    found = []
    for text in example.marks:
        at, _, *words = text.replace(" but", "").split()
        signs = [re.fullmatch(r"([A-G])([#b]?)(\d?)", w) for w in words]
        found.append((float(at) - 1, [(int(s[3]) if s[3] else None, s[1],
                                       {"#": 1, "b": -1, "": 0}[s[2]]) for s in signs if s]))
    return found


def followed(example: Example) -> Iterator[tuple[float, int, int, int | None]]:
    """What a player sets who follows the marks: when, string, alter, how it stood (if known)."""
    stands: dict[int, int] = {}
    for at, signs in written(example):
        named = {HarpString.of(Pitch(s, a, o)).position: a for o, s, a in signs if o is not None}
        for octave, letter, alter in signs:
            mine = [h.position for h in HARP.strings if h.step == letter] if octave is None else [
                HarpString.of(Pitch(letter, alter, octave)).position]
            for place in mine:
                if octave is not None or place not in named:
                    yield at, place, alter, stands.get(place)
                    stands[place] = alter


def plucked(example: Example) -> Iterator[tuple[int, int, int, str]]:
    """Attack, string, alter and hand of every note."""
    for at, attack in enumerate(example.attacks):
        for p in attack:
            yield at, p.pitch.position, p.pitch.alter, p.hand


def not_marked(rule: Rule, example: Example) -> bool:
    changes = any(at > 0 for at, *_ in followed(example))

    def wrong(at: int, place: int, alter: int) -> bool:
        signs = [a for t, p, a, _ in followed(example) if p == place and t <= at]
        before = [a for t, p, a, _ in plucked(example) if p == place and t < at]
        if before and not changes:
            return False
        stands = signs[-1] if signs else (before[0] if before else alter)
        return alter != stands
    return any(wrong(at, place, alter) for at, place, alter, _ in plucked(example))


def marked_without_time(rule: Rule, example: Example) -> bool:
    gap, move, lead = example.seconds or 0, PLAYER.lever_move_seconds, PLAYER.placing_lead_seconds
    free = 0.0
    for at, place, alter, stood in sorted((f for f in followed(example) if f[0] > 0),
                                          key=lambda f: f[:2]):
        earlier = [a for t, p, a, _ in plucked(example) if p == place and t < at]
        before = earlier[-1] if stood is None and earlier else stood
        if before is None or before == alter:
            continue
        begin = max(at * gap, free)
        free = begin + move
        for t, string, _, hand in plucked(example):
            if string == place and begin <= t * gap < free and t >= at:
                return True
            if hand == "L" and begin < t * gap < free + lead:
                return True
    return False


def idle_mark(rule: Rule, example: Example) -> bool:
    given = {s.position: HARP.alters(s) for s in HARP.strings}
    return any(alter not in given.get(place, ()) or (at > 0 and alter == before)
               for at, place, alter, before in followed(example))


JUDGED_AS_MARKED = {"K4": not_marked, "K5": marked_without_time, "K6": idle_mark}
