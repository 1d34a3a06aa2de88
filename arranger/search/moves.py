"""From the prices before a node to those after it, and back: what the movers may do in a gap.

A transition costs 27 x 27 + 81 x 81 table rows instead of 2187 x 2187, as the two movers' prices
add (Felzenszwalb & Huttenlocher 2012, Theory of Computing 8:415-428, on separable min-plus
transitions). The loops over the tables stand in ``move_loops``.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from arranger.search.board import INFINITE, Board, Gap, Movers, State, Table
from arranger.search.move_loops import before_long, before_short, over_long, over_short


def start(node: Table) -> tuple[Table, int]:
    """Table of the first node, less its least, and that."""
    least = min(int(node.min()), INFINITE)
    return np.where(node < INFINITE, node - least, INFINITE).astype(np.int32), least


@lru_cache(maxsize=512)
def _moves(ranges: tuple[tuple[int, int], ...], mover: int, work: int,
           movers: Movers) -> tuple[Table, Table]:
    """Price and time of all moves of one mover within ``work``, from setting to setting."""
    shape = Board(ranges).shapes[mover]
    distance = np.abs(shape[:, None, :] - shape[None, :, :])
    count = (distance > 0).sum(axis=2)
    time = (np.array([0, movers.notch, movers.double])[distance]).sum(axis=2)
    extra = np.clip(count - max(1, work // movers.calm), 0, None)
    price = distance.sum(axis=2) * movers.price + extra * movers.crowd
    return price.astype(np.int32), time.astype(np.int32)


def _enough(work: int, movers: Movers) -> int:
    """The time of a gap, as far as it matters."""
    return min(work, 4 * max(movers.calm, movers.double))


def step(values: Table, node: Table, gap: Gap, movers: Movers, clocked: bool,
         board: Board) -> tuple[Table, int]:
    """Table of a node less its least, and that. ``clocked``: the gap after it is a short one."""
    node = node.reshape(board.size)
    if gap.work < movers.notch:
        return over_short(values, node, gap.leave, *board.positions, movers.price, gap.look_back,
                          gap.work > 0)
    work = _enough(gap.work, movers)
    prices, times = zip(*(_moves(board.ranges, mover, work, movers) for mover in (0, 1)),
                        strict=True)
    return over_long(values, node, prices, times, gap.leave, board.shapes, work,
                     min(gap.work - movers.notch, work), clocked)


def unravel(index: int, table: Table) -> State:
    """Return the state that a flat index of a table means."""
    a, b, i, j = (int(x) for x in np.unravel_index(index, table.shape))
    return a, b, i, j


def before(earlier: Table, gap: Gap, movers: Movers, state: State,
           value: int, clocked: bool, board: Board) -> State:
    """Find the predecessor of ``state`` from which it is reached at ``value``."""
    if gap.work < movers.notch:
        found = before_short(earlier, gap.leave, board.shapes, movers.price, gap.look_back, state,
                             value)
        assert found >= 0, "no predecessor: the tables disagree"
        return unravel(found, earlier)
    work, early = _enough(gap.work, movers), gap.work - movers.notch
    prices, times = zip(*(_moves(board.ranges, mover, work, movers) for mover in (0, 1)),
                        strict=True)
    ours, theirs = (min(early, work) if clocked and clock == 0 else work for clock in state[:2])
    return unravel(before_long(earlier, gap.leave, board.shapes, prices, times, (ours, theirs),
                               *state[2:]), earlier)
