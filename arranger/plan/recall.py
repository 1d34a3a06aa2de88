"""What the searches of a piece have found, for when it is asked a little otherwise.

A search remembers its last question and finds anew only what follows from what has changed. To
plan a piece again under one more demand, every search of the first plan is taken up where its
counterpart stood. The answer is the same with and without; only the time differs.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

T = TypeVar("T")


class Recall:
    """Things by name, made when first asked for; for one piece, one player, one set of prices.

    ``searches``: keep the searches of a plan, too, for the plans to come.
    """

    def __init__(self, searches: bool = True) -> None:
        self._searches = searches
        self._kept: dict[Hashable, Any] = {}
        self._common: dict[Hashable, Any] = {}

    def elsewhere(self) -> Recall:
        """For another piece of this player at these prices: what is kept here of any piece."""
        other = Recall(self._searches)
        other._common = self._common
        return other

    def common(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under this name for any piece."""
        if key not in self._common:
            self._common[key] = make()
        found: T = self._common[key]
        return found

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under this name."""
        if key not in self._kept:
            self._kept[key] = make()
        found: T = self._kept[key]
        return found

    def lasting(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under this name for the plans to come; if none are, a new one."""
        return self.get(key, make) if self._searches else make()

    def same(self, key: Hashable, thing: T) -> T:
        """Return what is kept under this name; this thing, from now on, if there is nothing."""
        found: T = self._kept.setdefault(key, thing)
        return found

    def find(self, key: Hashable) -> Any:
        """Return what is kept, or None."""
        return self._kept.get(key)

    def keep(self, key: Hashable, thing: object) -> None:
        """Keep a search in place of what was kept under this name."""
        if self._searches:
            self._kept[key] = thing
