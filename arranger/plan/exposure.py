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


def exposed(parts: Sequence[Slice]) -> list[bool]:
    """Tell of every slice whether at most two notes sound in it, those held from before included.

    A soloist's accompaniment is exposed; the same risk weighs more there (common practice).
    """
    found = []
    sounding: list[Fraction] = []
    for part in parts:
        sounding = [end for end in sounding if end > part.onset]
        sounding += [n.source.end for n in part.notes if not n.source.grace]
        found.append(len(sounding) <= _THIN)
    return found


def resting(parts: Sequence[Slice], span: int) -> list[str]:
    """The hand (L or R) that by the staves rests and could help at every slice; "" for none.

    It helps with what is struck at once, and with what lies on its side of a leap wider than the
    other hand's ``span`` (steps), up to the next such leap.
    """
    struck = {hand: [p.seconds for p in parts if any(
        n.hand == hand and not n.source.grace for n in p.notes)] for hand in "LR"}

    def busy(hand: str, seconds: float) -> bool:
        at = bisect_left(struck[hand], seconds - _REST)
        return at < len(struck[hand]) and struck[hand][at] <= seconds + _REST

    free = [next((h for h in "LR" if not busy(h, p.seconds)), "") for p in parts]
    sides = _sides(parts, span)
    return [hand if len(part.notes) > 1 or side == hand else ""
            for part, hand, side in zip(parts, free, sides, strict=True)]


def _sides(parts: Sequence[Slice], span: int) -> list[str]:
    """On which side of the last leap, or of the next, every slice lies; "" where none is near."""
    found = [""] * len(parts)
    for order in (range(len(parts)), range(len(parts) - 1, -1, -1)):
        side, last = "", None
        for at in order:
            places = [n.pitch.position for n in parts[at].notes if not n.source.grace]
            if last is None or abs(parts[at].seconds - last[0]) > _REST:
                side = ""
            elif places and max(places) - last[1] < -span:
                side = "L"
            elif places and min(places) - last[2] > span:
                side = "R"
            if places:
                last = parts[at].seconds, min(places), max(places)
            found[at] = found[at] or side
    return found
