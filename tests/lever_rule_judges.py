"""Slow, obvious judges of the examples of the lever rules, on a harp of 34 strings in E flat."""

from __future__ import annotations

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
