"""What one grip costs after another: travel, turning, repeats, and the other hand's strings."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
import numpy.typing as npt

from arranger.plan.grips import Grip
from arranger.rulebook.players import Player
from arranger.search.two_hands import FREE, Ids, Table, Times

#: Price of what no finger can do: dear enough to lose a note for, and finite.
IMPOSSIBLE = 1 << 16
#: Strings beyond which a hand is carried over rather than stretched or turned (assumption).
_FAR = 6
#: Strings on a harp, at most.
_WIDEST = 63
_EPS = 1e-6


class GripCosts:
    """Numbers of grips and the price tables between them (implements ``search.Costs``)."""

    def __init__(self, player: Player, prices: Mapping[str, int],
                 impossible: int = IMPOSSIBLE) -> None:
        self._impossible = impossible
        self._player = player
        self._prices = prices
        self._numbers: dict[Grip, int] = {}
        self.grips: list[Grip] = []
        self._rows: list[tuple[int, ...]] = []
        self._array: npt.NDArray[np.int64] | None = None
        self._turns = _turns(prices)

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
                               single, sum(1 << f for f in grip.fingers),
                               100 + self._prices["exposure"] * grip.exposed))
            self._array = None
        return found

    def _of(self, ids: Ids) -> Ids:
        """Columns of these grips.

        Lowest and highest string, set of strings, of their neighbours, finger of a single note,
        set of fingers, per cent by which clumsiness towards it weighs.
        """
        if self._array is None:
            self._array = np.array(self._rows, dtype=np.int64).reshape(-1, 7).T
        return np.asarray(self._array[:, ids])

    def own(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Travel, turning, the same finger or string again (old x new).

        A finger is quick to another string where the time is less than a pluck takes.
        """
        if not len(new) or (len(old) == 1 and old[0] == FREE):
            return np.zeros((len(old), len(new)), dtype=np.int32)
        a, b = self._of(old)[:, :, None], self._of(new)[:, None, :]
        player, prices = self._player, self._prices
        fingers = np.bitwise_count(a[5] & b[5])
        width = np.maximum(a[1], b[1]) - np.minimum(a[0], b[0])
        free = player.span_steps + player.travel_steps_per_second * age
        price = np.maximum(width - free[:, None], 0.0)
        price *= prices["travel"]
        if age.min() < player.restrike_free_seconds:
            each = np.where(age < player.restrike_error_seconds - _EPS, self._impossible,
                            np.where(age < player.restrike_warning_seconds - _EPS,
                                     prices["restrike"],
                                     np.where(age < player.restrike_free_seconds - _EPS,
                                              prices["restrike_easy"], 0)))
            price += np.bitwise_count(a[2] & b[2]) * each[:, None] * b[6] // 100
        hops = np.where(age < player.same_finger_seconds - _EPS, prices["hop"], 0)
        price += fingers * hops[:, None]
        if age.min() < player.placing_lead_seconds - _EPS:
            quick = np.where(age < player.placing_lead_seconds - _EPS, prices["hop_quick"], 0)
            again = fingers.astype(np.int64) - np.bitwise_count(a[2] & b[2])
            price += np.maximum(again, 0) * quick[:, None]
        singly = np.where(age <= player.afresh_seconds, a[4, :, 0], 0)
        price += self._turns[singly[:, None], b[4], np.clip(b[0] - a[0], -_WIDEST, _WIDEST)]
        return np.asarray(price, dtype=np.int32)

    def across(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Strings the other hand takes just after this one (old x new)."""
        player, prices = self._player, self._prices
        if not len(new) or age.min() >= player.collision_seconds or (
                len(old) == 1 and old[0] == FREE):
            return np.zeros((len(old), len(new)), dtype=np.int32)
        a, b = self._of(old)[:, :, None], self._of(new)[:, None, :]
        each = np.where(age < player.restrike_error_seconds - _EPS, self._impossible, np.where(
            age < player.collision_seconds - _EPS, prices["collision"], 0))
        close = np.where(age < player.placing_lead_seconds - _EPS, prices["near_after"], 0)
        price = np.bitwise_count(a[2] & b[2]) * each[:, None]
        price += np.bitwise_count(a[3] & b[2]) * close[:, None]
        return np.asarray(price * b[6] // 100, dtype=np.int32)


def _turns(prices: Mapping[str, int]) -> npt.NDArray[np.int64]:
    """Price from one single note to the next, by fingers (0: no single note) and strings between.

    The last axis is indexed from -_WIDEST to _WIDEST.
    """
    table = np.zeros((5, 5, 2 * _WIDEST + 1), dtype=np.int64)
    for before, after in product(range(1, 5), repeat=2):
        for way in range(-_WIDEST, _WIDEST + 1):
            far = min(abs(way), _FAR)
            rising = before - after if way > 0 else after - before
            turn = before == 1 and after >= 3 if way > 0 else before >= 3 and after == 1
            if way == 0:
                price = 0
            elif rising > 0:
                price = prices["shape"] * min(abs(abs(way) - rising), _FAR)
            elif turn:
                price = prices["turn"] + prices["turn_string"] * far
            else:
                price = prices["cross_fingers"]
            table[before, after, way] = price
    return table


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
