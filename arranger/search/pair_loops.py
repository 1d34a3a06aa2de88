"""The inner loop of the search of two workers: prices by last grips, from one step to the next."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from arranger.search.board import END, FAR, Table
from arranger.search.compiled import compiled

Ids = npt.NDArray[np.int64]


@compiled
def advanced(values: Table, own: tuple[Table, Table], across: tuple[Table, Table],
             prices: Table) -> tuple[Table, Ids, Ids, int]:
    """Prices after a step, by the old grips of both workers followed by the new ones.

    ``own``: what each worker pays for a new grip after his old one; ``across``: what the other one
    pays for his new grip after it; ``prices``: of the options, rest last (see ``two_hands.Step``).
    Grips that no path ends in are left out, but for the first of either. Returns the prices less
    their least, the grips that are left of either, and the least.
    """
    olds, old = values.shape
    ours, theirs = prices.shape[0] - 1, prices.shape[1] - 1
    after = np.full((olds + ours, old + theirs), END, dtype=np.int32)
    if prices[ours, theirs] < END:
        for k in range(olds):
            for m in range(old):
                after[k, m] = values[k, m] + prices[ours, theirs]
    through = _through(values, own[0])
    mine, other = _turned(own[1]), _turned(across[1])  # so that the inner loops run along rows
    for i in range(ours):
        if prices[i, theirs] < END:
            for m in range(old):
                after[olds + i, m] = through[i, m] + other[i, m] + prices[i, theirs]
    column = np.empty((olds, old), dtype=np.int32)
    for j in range(theirs):
        if prices[ours, j] < END:
            for k in range(olds):
                least = FAR
                for m in range(old):
                    least = min(least, np.int32(values[k, m] + mine[j, m]))
                after[k, old + j] = least + across[0][k, j] + prices[ours, j]
        if not (prices[:ours, j] < END).any():
            continue
        first = through
        if across[0][:, j].any():
            for k in range(olds):
                for m in range(old):
                    column[k, m] = values[k, m] + across[0][k, j]
            first = _through(column, own[0])
        for i in range(ours):
            if prices[i, j] < END:
                least = FAR
                for m in range(old):
                    least = min(least, np.int32(first[i, m] + other[i, m] + mine[j, m]))
                after[olds + i, old + j] = least + prices[i, j]
    return _slim(after)


@compiled
def _through(values: Table, own: Table) -> Table:
    """Cheapest way to every new grip of the first worker, by the old grip of the second."""
    olds, old = values.shape
    ours = own.shape[1]
    out = np.full((ours, old), FAR, dtype=np.int32)
    for i in range(ours):
        for k in range(olds):
            fee = own[k, i]
            for m in range(old):
                out[i, m] = min(out[i, m], np.int32(values[k, m] + fee))
    return out


@compiled
def _turned(table: Table) -> Table:
    """Rows as columns."""
    out = np.empty((table.shape[1], table.shape[0]), dtype=np.int32)
    for k in range(table.shape[0]):
        for i in range(table.shape[1]):
            out[i, k] = table[k, i]
    return out


@compiled
def _slim(after: Table) -> tuple[Table, Ids, Ids, int]:
    """Leave out grips that no path ends in, but for the first of either worker."""
    rows, columns = np.zeros(after.shape[0], np.bool_), np.zeros(after.shape[1], np.bool_)
    rows[0] = columns[0] = True
    least = END
    for k in range(after.shape[0]):
        for m in range(after.shape[1]):
            if after[k, m] < END:
                rows[k] = columns[m] = True
                least = min(least, after[k, m])
    ours, theirs = np.nonzero(rows)[0], np.nonzero(columns)[0]
    out = np.empty((len(ours), len(theirs)), dtype=np.int32)
    for k in range(len(ours)):
        for m in range(len(theirs)):
            value = min(after[ours[k], theirs[m]], END)
            out[k, m] = value if value == END or least == END else np.int32(value - least)
    return out, ours, theirs, int(least)
