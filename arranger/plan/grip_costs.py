"""What one grip costs after another: travel, turning, repeats, and the other hand's strings."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
import numpy.typing as npt

from arranger.plan.grip_loops import WIDEST, Fees, Grips, across_prices, own_prices
from arranger.plan.grips import Grip, beyond, uneasy
from arranger.rulebook.players import Player
from arranger.search.board import Table
from arranger.search.pair_loops import Ids
from arranger.search.two_hands import Times

#: Price of what no finger can do: dear enough to lose a note for, and finite.
IMPOSSIBLE = 1 << 16
#: Strings beyond which a stretch or a turn becomes no dearer (assumption).
_FAR = 6
#: Strings from which on a late finger is felt: the lowest is placed first (as in ``hand_risks``).
_CHORD = 3


class GripCosts:
    """Numbers of grips and the price tables between them (implements ``search.Costs``)."""

    def __init__(self, player: Player, prices: Mapping[str, int],
                 impossible: int = IMPOSSIBLE, wire_top: int = -1) -> None:
        """``wire_top``: position of the highest wire string; -1: there is none."""
        self._wires = (1 << wire_top + 1) - 1
        self._player = player
        self._fees = _fees(player, prices, impossible)
        self._prices = prices
        self._numbers: dict[Grip, int] = {}
        self.grips: list[Grip] = []
        self._rows: list[tuple[int, ...]] = []
        self._array: Grips | None = None
        self._turns = _turns(player, prices)

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
            wires = mask & self._wires
            self._rows.append((grip.strings[0], grip.strings[-1], mask, mask << 1 | mask >> 1,
                               single, sum(1 << f for f in grip.fingers),
                               100 + self._prices["exposure"] * grip.exposed,
                               1 << grip.fingers[0] if len(grip.fingers) >= _CHORD else 0,
                               wires, grip.fingers[0], grip.fingers[-1],
                               (wires << 1 | wires >> 1) & self._wires if grip.loud else 0))
            self._array = None
        return found

    def _columns(self) -> Grips:
        """Of every grip, by its number.

        Lowest and highest string, set of strings, of their neighbours, finger of a single note,
        set of fingers, per cent by which clumsiness towards it weighs, finger under a chord,
        set of wire strings, finger on the lowest and on the highest string, wire strings that
        others of the grip swing into.
        """
        if self._array is None:
            rows = np.array(self._rows, dtype=np.int64).reshape(-1, 12)
            self._array = np.array(rows.T, order="C")
        return self._array

    def own(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Travel, turning, the same finger or string again (old x new).

        A finger is quick to another string where the time is less than a pluck takes; of a chord
        the lowest should not wait for it.
        """
        return own_prices(self._columns(), self._turns, self._fees, old, age, new)

    def across(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Strings the other hand takes just after this one (old x new)."""
        return across_prices(self._columns(), self._fees, old, age, new)


def _fees(player: Player, prices: Mapping[str, int], impossible: int) -> Fees:
    return Fees(
        span=float(player.span_steps), travel_speed=float(player.travel_steps_per_second),
        wire_factor=float(player.wire_restrike_factor),
        restrike_error=float(player.restrike_error_seconds),
        restrike_warning=float(player.restrike_warning_seconds),
        restrike_free=float(player.restrike_free_seconds),
        same_finger=float(player.same_finger_seconds), lead=float(player.placing_lead_seconds),
        afresh=float(player.afresh_seconds), collision_time=float(player.collision_seconds),
        impossible=impossible, lowest=player.fingers_per_hand,
        **{name: int(prices[name]) for name in (
            "travel", "leap", "replace", "apart", "restrike", "restrike_easy", "restrike_wire",
            "hop", "hop_quick", "late_bottom", "under", "collision", "near_after", "swing")})


def _turns(player: Player, prices: Mapping[str, int]) -> npt.NDArray[np.int64]:
    """Price from one single note to the next, by fingers (0: no single note) and strings between.

    The last axis is indexed from -WIDEST to WIDEST. Over more than it spans the hand is carried,
    and it is all one which finger was there and which comes: as dear as the farthest turn.
    """
    table = np.zeros((5, 5, 2 * WIDEST + 1), dtype=np.int64)
    for before, after in product(range(1, 5), repeat=2):
        for way in range(-WIDEST, WIDEST + 1):
            far = min(abs(way), _FAR)
            rising = before - after if way > 0 else after - before
            turn = before == 1 and after >= 3 if way > 0 else before >= 3 and after == 1
            if way == 0:
                price = 0
            elif abs(way) > player.span_steps:
                price = prices["turn"] + prices["turn_string"] * _FAR
            elif before == after == 1 and way == -1:
                price = prices["slide"]
            elif rising > 0:
                price = prices["shape"] * min(uneasy(rising, abs(way), close=True), _FAR)
                price += prices["stretch"] * min(beyond(player, before, after, abs(way)), _FAR)
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
