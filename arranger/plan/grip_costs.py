"""What one grip costs after another: travel, turning, repeats, and the other hand's strings."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from arranger.plan.grips import Grip
from arranger.rulebook.players import Player
from arranger.search.two_hands import FREE, Ids, Table, Times

#: Price of what no finger can do: dear enough to lose a note for, and finite.
IMPOSSIBLE = 1 << 16
#: Strings beyond which a hand is carried over rather than stretched or turned (assumption).
_FAR = 6
_EPS = 1e-6


class GripCosts:
    """Numbers of grips and the price tables between them (implements ``search.Costs``)."""

    def __init__(self, player: Player, prices: Mapping[str, int]) -> None:
        self._player = player
        self._prices = prices
        self._numbers: dict[Grip, int] = {}
        self.grips: list[Grip] = []
        self._rows: list[tuple[int, int, int, int, int]] = []
        self._places: list[tuple[int, ...]] = []
        self._arrays: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]] | None = None

    @property
    def horizon(self) -> float:
        """Seconds after which a grip is forgotten."""
        return self._player.grip_memory_seconds

    def number(self, grip: Grip) -> int:
        """Number by which the search knows this grip."""
        found = self._numbers.get(grip)
        if found is None:
            found = self._numbers[grip] = len(self.grips)
            self.grips.append(grip)
            mask = sum(1 << s for s in grip.strings)
            single = grip.fingers[0] if len(grip.fingers) == 1 else 0
            self._rows.append((grip.strings[0], grip.strings[-1], mask, mask << 1 | mask >> 1,
                               single))
            where = dict(zip(grip.fingers, grip.strings, strict=True))
            self._places.append(tuple(where.get(f, -f * 100) for f in range(1, 5)))
            self._arrays = None
        return found

    def _of(self, ids: Ids) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        if self._arrays is None:
            self._arrays = (np.array(self._rows, dtype=np.int64).reshape(-1, 5),
                            np.array(self._places, dtype=np.int64).reshape(-1, 4))
        rows, places = self._arrays
        return rows[ids], places[ids]

    def own(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Travel, turning, the same finger or string again (old x new)."""
        if not len(new) or (len(old) == 1 and old[0] == FREE):
            return np.zeros((len(old), len(new)), dtype=np.int32)
        (a, fa), (b, fb) = self._of(old), self._of(new)
        gap = age[:, None]
        player = self._player
        width = np.maximum(a[:, None, 1], b[None, :, 1]) - np.minimum(a[:, None, 0], b[None, :, 0])
        free = player.span_steps + player.travel_steps_per_second * gap
        price = self._prices["travel"] * np.maximum(width - free, 0.0)
        price += self._repeats(a, b, gap)
        price += self._fingers(a, b, fa, fb, gap)
        return np.asarray(price, dtype=np.int32)

    def _repeats(self, a: npt.NDArray[np.int64], b: npt.NDArray[np.int64],
                 gap: Times) -> Times:
        """Strings struck again by the same hand."""
        player = self._player
        if gap.min() >= player.restrike_free_seconds:
            return np.zeros((len(a), len(b)))
        same = np.bitwise_count(a[:, None, 2] & b[None, :, 2])
        each = np.select([gap < player.restrike_error_seconds - _EPS,
                          gap < player.restrike_warning_seconds - _EPS,
                          gap < player.restrike_free_seconds - _EPS],
                         [IMPOSSIBLE, self._prices["restrike"], self._prices["restrike_easy"]], 0)
        return np.asarray(same * each, dtype=np.float64)

    def _fingers(self, a: npt.NDArray[np.int64], b: npt.NDArray[np.int64],
                 fa: npt.NDArray[np.int64], fb: npt.NDArray[np.int64], gap: Times) -> Times:
        """One finger hopping, and turning from single note to single note."""
        prices = self._prices
        hop = ((fa[:, None, :] >= 0) & (fb[None, :, :] >= 0)).sum(axis=2)
        price = np.where(gap < self._player.same_finger_seconds - _EPS, prices["hop"] * hop, 0)
        before, after = a[:, None, 4], b[None, :, 4]
        way = b[None, :, 0] - a[:, None, 0]
        rising = np.where(way > 0, before - after, after - before)
        turn = np.where(way > 0, (before == 1) & (after >= 3), (before >= 3) & (after == 1))
        single = np.select(
            [way == 0, rising > 0, turn],
            [0, prices["shape"] * np.minimum(np.abs(np.abs(way) - rising), _FAR),
             prices["turn"] + prices["turn_string"] * np.minimum(np.abs(way), _FAR)],
            prices["cross_fingers"])
        both = (before > 0) & (after > 0) & (gap <= self._player.afresh_seconds)
        return np.asarray(np.where(both, single, 0) + price, dtype=np.float64)

    def across(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Strings the other hand takes just after this one (old x new)."""
        player, prices = self._player, self._prices
        if not len(new) or age.min() >= player.collision_seconds or (
                len(old) == 1 and old[0] == FREE):
            return np.zeros((len(old), len(new)), dtype=np.int32)
        a, b = self._of(old)[0], self._of(new)[0]
        gap = age[:, None]
        same = np.bitwise_count(a[:, None, 2] & b[None, :, 2])
        near = np.bitwise_count(a[:, None, 3] & b[None, :, 2])
        each = np.select([gap < player.restrike_error_seconds - _EPS,
                          gap < player.collision_seconds - _EPS],
                         [IMPOSSIBLE, prices["collision"]], 0)
        close = np.where(gap < player.placing_lead_seconds - _EPS, prices["near_after"], 0)
        return np.asarray(same * each + near * close, dtype=np.int32)


def together(left: Grip, right: Grip, prices: Mapping[str, int]) -> int:
    """Price of both hands at one moment: neighbouring strings, and the left above the right.

    Thumb on the lower string and a finger on the upper one is the bad way round: both sneak in
    between the strings (common practice).
    """
    price = prices["crossing"] * (left.strings[-1] > right.strings[0])
    fingers = dict(zip(right.strings, right.fingers, strict=True))
    for string, finger in zip(left.strings, left.fingers, strict=True):
        for beside in (string - 1, string + 1):
            if beside in fingers:
                low, high = (finger, fingers[beside]) if beside > string else (fingers[beside],
                                                                               finger)
                price += prices["neighbours"] * (2 if low == 1 and high != 1 else 1)
    return price
