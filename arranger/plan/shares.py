"""Who plays what in an ensemble: the lines of the music, and their cheapest sharing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, groupby

import numpy as np
from numpy.typing import NDArray

from arranger.model.ensemble import Ensemble
from arranger.model.score import Note, NoteId

#: What parts of a score for one player are called, from the top down.
TOP, UPPER, LOWER, BASS = "top", "upper", "lower", "bass"
_NEVER = 1 << 40
#: Points, as in rules/prices.toml, for each moment at which two lines of a seat strike (assumption:
#: half a notch of a pedal).
_TOGETHER = 10


@dataclass(frozen=True, slots=True)
class Line:
    """Notes that stay with one player."""

    name: str
    notes: frozenset[NoteId]


def lines_of(notes: Sequence[Note], ensemble: Ensemble | None) -> tuple[Line, ...]:
    """Return the lines there are: the parts behind a score of several, else four of two staves.

    Those are what lies on top of the upper staff and at the bottom of the lower one, moment by
    moment, and the rest of each. A note that several parts strike belongs to the line of each.
    """
    found: dict[str, set[NoteId]] = {}
    if ensemble is not None:
        for part, name in ensemble.names.items():
            mine = {i for i, parts in ensemble.lines.items() if part in parts}
            if mine:
                found.setdefault(name if name not in found else f"{name} ({part})", set()).update(
                    mine)
        return tuple(Line(name, frozenset(mine)) for name, mine in found.items())
    ordered = sorted(notes, key=lambda n: (n.onset, n.midi))
    for _, group in groupby(ordered, key=lambda n: n.onset):
        struck = list(group)
        right = [n for n in struck if n.staff == 1]
        left = [n for n in struck if n.staff != 1]
        for name, some in ((TOP, right[-1:]), (UPPER, right[:-1]), (LOWER, left[1:]),
                           (BASS, left[:1])):
            found.setdefault(name, set()).update(n.id for n in some)
    return tuple(Line(name, frozenset(found[name])) for name in (TOP, UPPER, LOWER, BASS)
                 if found.get(name))


def crowding(lines: Sequence[Line], notes: Sequence[Note]) -> NDArray[np.int64]:
    """Return what it costs to have each two lines at one seat, lines by lines.

    They crowd each other wherever both strike, but in unison, which is one stroke.
    """
    by_onset: dict[Fraction, dict[int, set[int]]] = {}
    for note in notes:
        for at, line in enumerate(lines):
            if note.id in line.notes:
                by_onset.setdefault(note.onset, {}).setdefault(at, set()).add(note.midi)
    found = np.zeros((len(lines), len(lines)), dtype=np.int64)
    for struck in by_onset.values():
        for one, two in combinations(struck, 2):
            if struck[one] != struck[two]:
                found[one, two] += _TOGETHER
                found[two, one] += _TOGETHER
    return found


def shares(costs: Sequence[Sequence[int]], given: Mapping[int, int],
           crowds: NDArray[np.int64] | None = None) -> tuple[int, ...]:
    """Return the player of every line, at the least cost of all.

    Nobody has more lines than another by more than one, but for what is ``given`` (line to player).
    With ``crowds`` lines are then exchanged as long as that makes it cheaper.

    Parameters
    ----------
    costs : of every line, what it costs each player.
    crowds : what each two lines cost at one seat, as ``crowding`` returns it.
    """
    from scipy.optimize import linear_sum_assignment  # 0.3 s to import

    players, count = len(costs[0]), len(costs)
    most, least = -(-count // players), count // players
    has = Counter(given.values())
    slots = [(player, rank) for player in range(players)
             for rank in range(has[player], max(most, has[player]))]
    open_ = [line for line in range(count) if line not in given]
    table = np.zeros((len(slots), len(slots)), dtype=np.int64)  # rows beyond the lines: nothing
    for column, (player, rank) in enumerate(slots):
        for row, line in enumerate(open_):
            table[row, column] = costs[line][player]
        table[len(open_):, column] = _NEVER * (rank < least)
    rows, columns = linear_sum_assignment(table)
    chosen = {open_[r]: slots[c][0] for r, c in zip(rows, columns, strict=True) if r < len(open_)}
    taken = [(chosen | dict(given))[line] for line in range(count)]
    if crowds is not None:
        _exchange(taken, open_, costs, crowds)
    return tuple(taken)


def _exchange(taken: list[int], open_: Sequence[int], costs: Sequence[Sequence[int]],
              crowds: NDArray[np.int64]) -> None:
    """Let two lines change seats, in place, while that saves anything; the best exchange first."""
    def saved(one: int, two: int) -> int:
        before = _total(taken, costs, crowds)
        taken[one], taken[two] = taken[two], taken[one]
        after = _total(taken, costs, crowds)
        taken[one], taken[two] = taken[two], taken[one]
        return before - after

    pairs = list(combinations(open_, 2))
    while pairs:
        best = max(pairs, key=lambda pair: saved(*pair))
        if saved(*best) <= 0:
            return
        one, two = best
        taken[one], taken[two] = taken[two], taken[one]


def _total(taken: Sequence[int], costs: Sequence[Sequence[int]],
           crowds: NDArray[np.int64]) -> int:
    seats = np.array(taken)
    return sum(costs[line][seat] for line, seat in enumerate(taken)) + int(
        crowds[seats[:, None] == seats[None, :]].sum()) // 2
