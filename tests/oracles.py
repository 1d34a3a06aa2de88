"""Slow, obvious twins of the fast code: brute force, replay and an integer programme.

Nothing here calls the code under test. A path is a sequence of indices into ``POSITIONS``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise, product
from math import ceil
from typing import TypeVar

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from arranger.model.harp import PEDALS
from arranger.model.pitch import Pitch
from arranger.plan.pedal_path import Ways
from arranger.plan.ring import AUDIBLE, T60
from arranger.rulebook.players import Player
from arranger.search.board import INFINITE, Gap, Movers

T = TypeVar("T")
POSITIONS = tuple(product(range(3), repeat=7))
SWITCHES = ((0, 1, 2), (3, 4, 5, 6))
#: A note: ways (switch, position, price) and the price of leaving it out.
NoteWays = tuple[tuple[tuple[int, int, int], ...], int]
Ended = tuple[frozenset[int], frozenset[int]]
NEVER: Ended = (frozenset(), frozenset())


def note_price(note: NoteWays, setting: Sequence[int]) -> int:
    """Least price of a note at a setting."""
    ways, drop = note
    return min([drop, *(price for p, q, price in ways if setting[p] == q)])


def node_table(notes: Iterable[NoteWays]) -> np.ndarray:
    """Prices of all settings for the notes of one node."""
    notes = list(notes)
    return np.array([sum(note_price(n, s) for n in notes) for s in POSITIONS], dtype=np.int32)


def step(t: int, old: int, new: int, gap: Gap, movers: Movers,
         ended: Ended) -> tuple[int, Ended] | None:
    """Price of the moves before node ``t`` and the nodes at which each mover has ended a move.

    None if the rules of ``positions`` forbid them.
    """
    before, after = POSITIONS[old], POSITIONS[new]
    price, ends = 0, list(ended)
    for mover, switches in enumerate(SWITCHES):
        moved = [p for p in switches if before[p] != after[p]]
        notches = [abs(before[p] - after[p]) for p in moved]
        time = sum(movers.notch if n == 1 else movers.double for n in notches)
        price += sum(int(gap.leave[p, before[p]]) for p in moved) + movers.price * sum(notches)
        if gap.work >= movers.notch:
            if time > gap.work:
                return None
            price += movers.crowd * max(0, len(moved) - max(1, gap.work // movers.calm))
            late = time > gap.work - movers.notch
        else:
            busy = any(t - gap.look_back <= end < t for end in ended[mover])
            if moved and (gap.work == 0 or notches != [1] or busy):
                return None
            late = bool(moved)
        if late:
            ends[mover] |= {t}
    return (price, (ends[0], ends[1])) if price < INFINITE else None


def replay(path: Sequence[int], nodes: Sequence[np.ndarray], gaps: Sequence[Gap],
           movers: Movers) -> int | None:
    """Price of a path, move by move; None if a move is forbidden."""
    total, ended = int(nodes[0][path[0]]), NEVER
    for t, (old, new) in enumerate(pairwise(path), start=1):
        taken = step(t, old, new, gaps[t], movers, ended)
        if taken is None:
            return None
        total, ended = total + taken[0] + int(nodes[t][new]), taken[1]
    return total if total < INFINITE else None


def brute_force(nodes: Sequence[np.ndarray], gaps: Sequence[Gap], movers: Movers) -> int:
    """Least total over all paths through settings that are open (finite) at every node.

    Every path is tried, but for those that cost more than the best one before their end.
    """
    best = INFINITE
    opened = [[int(s) for s in np.argsort(node, kind="stable") if node[s] < INFINITE]
              for node in nodes]

    def follow(t: int, old: int, total: int, ended: Ended) -> None:
        nonlocal best
        if total >= best:
            return
        if t == len(nodes):
            best = total
            return
        for new in opened[t]:
            taken = step(t, old, new, gaps[t], movers, ended)
            if taken is not None:
                follow(t + 1, new, total + taken[0] + int(nodes[t][new]), taken[1])

    for first in opened[0]:
        follow(1, first, int(nodes[0][first]), NEVER)
    return best


class _Programme:
    """Rows and columns of an integer programme."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.whole: list[int] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []

    def column(self, cost: float = 0, whole: bool = True) -> int:
        self.cost.append(cost)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, terms: Mapping[int, float], low: float, high: float) -> None:
        self.rows.append((dict(terms), low, high))

    def solve(self, top: Mapping[int, float]) -> int:
        places = [(r, c, v) for r, (terms, _, _) in enumerate(self.rows) for c, v in terms.items()]
        r, c, v = zip(*places, strict=True)
        matrix = coo_array((v, (r, c)), shape=(len(self.rows), len(self.cost))).tocsr()
        upper = np.array([top.get(i, 1.0) for i in range(len(self.cost))])
        done = milp(self.cost, integrality=self.whole, bounds=Bounds(0, upper),
                    constraints=LinearConstraint(matrix, [low for _, low, _ in self.rows],
                                                 [high for _, _, high in self.rows]),
                    options={"mip_rel_gap": 0})
        assert done.success, done.message
        return round(done.fun)


def integer_programme(notes: Sequence[Sequence[NoteWays]], gaps: Sequence[Gap],
                      movers: Movers) -> int:
    """Optimum of the model of ``positions``, nodes priced by notes, as a MILP (HiGHS).

    x[t, p, q]: switch p stands at q; y[t, p, q, r]: it goes from q to r before node t; one choice
    for every note; crowding counted over the gap; a mover that moves in a short gap must not have
    ended a move at any node looked back to.
    """
    lp, top = _Programme(), {}
    x = {(t, p, q): lp.column() for t in range(len(notes)) for p in range(7) for q in range(3)}
    for t, p in product(range(len(notes)), range(7)):
        lp.row({x[t, p, q]: 1 for q in range(3)}, 1, 1)
    for t, here in enumerate(notes):
        for ways, drop in here:
            kept = {lp.column(price, False): (p, q) for p, q, price in ways if price < drop}
            lp.row({lp.column(drop, False): 1} | dict.fromkeys(kept, 1), 1, 1)
            for way, (p, q) in kept.items():
                lp.row({way: 1, x[t, p, q]: -1}, -1, 0)
    ended: list[dict[int, int]] = [{}, {}]  # node -> column: 1 if the mover ended a move there
    for t in range(1, len(notes)):
        gap, long = gaps[t], gaps[t].work >= movers.notch
        for mover, switches in enumerate(SWITCHES):
            moves = _moves(lp, x, t, switches, gap, movers)
            time = {y: float(movers.double if n == 2 else movers.notch) for y, n in moves}
            late = lp.column()
            if long:
                extra = lp.column(movers.crowd, False)
                top[extra] = 4.0
                lp.row(time, 0, gap.work)
                lp.row({**dict.fromkeys(time, 1.0), extra: -1.0}, -np.inf,
                       max(1, gap.work // movers.calm))
                lp.row({**time, late: -float(movers.notch)}, -np.inf, gap.work - movers.notch)
            else:
                lp.row({**dict.fromkeys(time, 1.0), late: -1.0}, 0, 0)
                for back in range(1, gap.look_back + 1):
                    if t - back in ended[mover]:
                        lp.row({late: 1, ended[mover][t - back]: 1}, 0, 1)
            ended[mover][t] = late
    return lp.solve(top)


def _moves(lp: _Programme, x: Mapping[tuple[int, int, int], int], t: int, switches: Sequence[int],
           gap: Gap, movers: Movers) -> list[tuple[int, int]]:
    """Columns and notches of all moves of one mover before node ``t``, tied to ``x``."""
    moves = []
    most = 2 if gap.work >= movers.notch else min(gap.work, 1)
    for p in switches:
        out: dict[int, list[int]] = defaultdict(list)
        into: dict[int, list[int]] = defaultdict(list)
        for q, r in product(range(3), repeat=2):
            leave = int(gap.leave[p, q]) if q != r else 0
            if abs(q - r) <= most and leave < INFINITE:
                y = lp.column(leave + movers.price * abs(q - r))
                out[q].append(y)
                into[r].append(y)
                if q != r:
                    moves.append((y, abs(q - r)))
        for q in range(3):
            lp.row(dict.fromkeys(out[q], 1) | {x[t - 1, p, q]: -1}, 0, 0)
            lp.row(dict.fromkeys(into[q], 1) | {x[t, p, q]: -1}, 0, 0)
    return moves


def pedal_model(times: Sequence[float], ways: Sequence[Sequence[Ways]],
                ends: Sequence[Sequence[float]], player: Player, prices: Mapping[str, int],
                pins: Mapping[int, tuple[int, ...]]
                ) -> tuple[list[np.ndarray], list[Gap]]:
    """Nodes and gaps that ``pedal_path`` is to solve, number by number from its docstrings.

    Pinned settings are demanded here; where they cannot be met there is no path.
    """
    groups: list[list[int]] = []
    for at, time in enumerate(times):
        if groups and time - times[groups[-1][0]] < 0.08:
            groups[-1].append(at)
        else:
            groups.append([at])
    nodes, gaps = [], []
    for rank, group in enumerate(groups):
        arrive, last = times[group[0]], times[group[0] - 1]
        leave = np.zeros((7, 3), dtype=np.int32)
        work = near = 0
        if rank:
            start = max(arrive - player.foot_move_seconds, last)
            leave = np.array([[leave_price(p, q, start, arrive, _uses(times, ways, ends, group[0]),
                                           player, prices) for q in range(3)] for p in range(7)])
            work = int((arrive - last) * 16 + 1e-6)
            if work < ceil(player.foot_move_seconds * 16 - 1e-6):
                work = 1
                near = sum(arrive - times[g[0]] < player.foot_move_seconds - 1e-6
                           for g in groups[:rank])
        gaps.append(Gap(leave, work, near))
        notes = [(tuple((PEDALS.index(w.pitch.step), w.pitch.alter + 1, w.price) for w in n.ways),
                  n.drop) for at in group for n in ways[at] if not n.free]
        node = node_table(notes) + sum(min(n.drop, n.ways[0].price)
                                       for at in group for n in ways[at] if n.free)
        for at in set(group) & set(pins):
            node = np.where([s == tuple(pins[at]) for s in POSITIONS], node, INFINITE)
        nodes.append(node)
    return nodes, gaps


def _uses(times: Sequence[float], ways: Sequence[Sequence[Ways]], ends: Sequence[Sequence[float]],
          before: int) -> list[tuple[Pitch, float, float, bool]]:
    """Pitch, attack and end of every way to sound a note before a slice; whether it is spelled."""
    return [(w.pitch, times[at], end, rank < note.spelled) for at in range(before)
            for note, end in zip(ways[at], ends[at], strict=True) if not note.free
            for rank, w in enumerate(note.ways)]


def leave_price(p: int, q: int, start: float, arrive: float,
                uses: Sequence[tuple[Pitch, float, float, bool]], player: Player,
                prices: Mapping[str, int]) -> int:
    """Price of moving pedal ``p`` off position ``q``; INFINITE if it may be plucked just before."""
    mine = [u for u in uses if (PEDALS.index(u[0].step), u[0].alter + 1) == (p, q)]
    if any(arrive - struck < player.pedal_lead_seconds + 1e-6 for _, struck, _, _ in mine):
        return INFINITE
    mine = [u for u in mine if u[3]]
    last = max((struck for _, struck, _, _ in mine), default=-np.inf)
    rings, held = [0.0], [0.0]
    for string in {pitch for pitch, _, _, _ in mine}:
        age = max(start - max(u[1] for u in mine if u[0] == string), 0)
        rings.append(max(0, 10 ** (-3 * age / T60[string.midi]) - AUDIBLE))
        if any(u[2] > arrive - 1e-6 for u in mine if u[0] == string):
            held.append(rings[-1])
    price = prices["ring"] * max(rings) + prices["held"] * max(held)
    price += prices["hurry"] * (arrive - last < player.foot_sustained_seconds - 1e-6)
    haste = 1 - (arrive - last) / player.foot_move_seconds
    return round(price + prices["rush"] * (1 + 4 * haste if haste > 1e-6 else 0))
