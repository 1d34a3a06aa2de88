"""Where the texture is thin, so that what goes wrong is heard, and where a hand rests."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from arranger.plan.slices import Slice

#: Notes that sound together at most, as written, in a texture that is thin (assumption).
_THIN = 2
#: Seconds before and after which a hand has nothing to pluck, where it rests (assumption).
_REST = 1.0
#: Slices that the other hand takes across a leap, at most (assumption).
_FEW = 8


def exposed(parts: Sequence[Slice]) -> list[bool]:
    """Tell of every slice whether at most two notes sound in it, those held from before included.

    A soloist's accompaniment is exposed; the same risk weighs more there, where nothing is struck
    loudly (common practice).
    """
    found = []
    sounding: list[Fraction] = []
    for part in parts:
        sounding = [end for end in sounding if end > part.onset]
        sounding += [n.source.end for n in part.notes if not n.source.grace]
        loud = any("loud" in n.source.marks for n in part.notes)
        found.append(len(sounding) <= _THIN and not loud)
    return found


def resting(parts: Sequence[Slice]) -> list[str]:
    """The hand (L or R) that by the staves rests about the time of every slice; "" for none."""
    struck = {hand: [p.seconds for p in parts if any(
        n.hand == hand and not n.source.grace for n in p.notes)] for hand in "LR"}

    def busy(hand: str, seconds: float) -> bool:
        at = bisect_left(struck[hand], seconds - _REST)
        return at < len(struck[hand]) and struck[hand][at] <= seconds + _REST
    return [next((h for h in "LR" if not busy(h, p.seconds)), "") for p in parts]


def beyond_leaps(parts: Sequence[Slice], rests: Sequence[str], span: int) -> list[str]:
    """The resting hand on whose side of a leap a few slices lie; "" where it is no use.

    What one hand would have to leap to, farther than it spans, is as well the other's, if that has
    nothing to do: up to the next leap, or a pause.
    """
    found = [""] * len(parts)
    first, side = 0, ""
    places = [[n.pitch.position for n in p.notes if not n.source.grace] for p in parts]
    for at in range(1, len(parts) + 1):
        way = _leap(places[at - 1], places[at], span) if at < len(parts) else ""
        if at < len(parts) and not way and parts[at].seconds - parts[at - 1].seconds <= _REST:
            continue
        here = side or {"L": "R", "R": "L"}.get(way, "")
        if at - first <= _FEW and here and all(h == here for h in rests[first:at]):
            found[first:at] = [here] * (at - first)
        first, side = at, way
    return found


def _leap(here: Sequence[int], there: Sequence[int], span: int) -> str:
    """The hand on whose side the next strings lie, if a hand cannot span both; "" if it can."""
    if not here or not there or max(*here, *there) - min(*here, *there) <= span:
        return ""
    return "L" if max(there) < min(here) else "R" if min(there) > max(here) else ""
