"""Grips: the strings one hand plucks at one moment, and the finger on each.

1 is the thumb and takes the highest string, in both hands; fingers rise from the lowest string's
to the thumb without crossing (HARP: hand orientation, common practice).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise

from arranger.rulebook.players import Player

#: Steps between two fingers so many fingers apart that lie easily: up to a fourth for
#: neighbours, an octave for thumb and fourth (common practice).
_EASY = {1: (1, 3), 2: (3, 5), 3: (5, 9)}


@dataclass(frozen=True, slots=True)
class Grip:
    """Positions of the strings from the lowest up, the finger on each, and if it is rolled.

    ``exposed``: the texture is thin, so that what goes wrong is heard; ``loud``: wire strings of
    it are plucked loudly, so that they swing far.
    """

    strings: tuple[int, ...]
    fingers: tuple[int, ...]
    rolled: bool = False
    exposed: bool = False
    loud: bool = False


@lru_cache(maxsize=16)
def finger_sets(count: int, most: int) -> tuple[tuple[int, ...], ...]:
    """Fingers for ``count`` strings from the lowest up, of the first ``most``, thumbs preferred."""
    return tuple(sorted((tuple(reversed(c)) for c in combinations(range(1, most + 1), count)),
                        key=lambda f: (f[-1], f)))


def grips(strings: tuple[int, ...], rolled: bool, exposed: bool, loud: bool,
          most: int) -> tuple[Grip, ...]:
    """All grips of one hand on these strings with its first ``most`` fingers."""
    return tuple(Grip(strings, f, rolled, exposed, loud)
                 for f in finger_sets(len(strings), most))


def uneasy(fingers: int, steps: int, close: bool = False) -> int:
    """Strings by which two fingers so many fingers apart lie off what is easy.

    ``close``: those between may lie on strings too, as in a line where they have just played.
    """
    least, most = _EASY[fingers]
    return max(0, (fingers if close else least) - steps, steps - most)


def beyond(player: Player, one: int, other: int, steps: int) -> int:
    """Strings between two fingers beyond what they span."""
    low, high = sorted((one, other))
    return max(0, steps - sum(player.finger_pairs[low - 1:high - 1]))


def grip_price(grip: Grip, player: Player, prices: Mapping[str, int]) -> int:
    """Price of a grip in itself: reach, stretch between fingers, shape, thumb left idle."""
    strings, fingers = grip.strings, grip.fingers
    price = prices["reach"] * max(0, strings[-1] - strings[0] - player.comfortable_span_steps)
    for (a, b), (low, high) in zip(pairwise(strings), pairwise(fingers), strict=True):
        step = b - a
        price += prices["stretch"] * beyond(player, low, high, step)
        price += prices["shape"] * uneasy(low - high, step)
        if step >= 4 and high != 1:
            price += prices["gap_below"]  # the widest gap belongs next to the thumb (Kuntz)
    if len(fingers) > 1:
        price += prices["no_thumb"] * (fingers[-1] - 1)
        price += prices["shape"] * (fingers[0] - len(fingers))
    return price
