"""Load the weightings of whole drafts from ``rules/drafts``: factors on the planner's prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from arranger.model.errors import RuleError
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder
from arranger.rulebook.prices import HIGHEST_PRICE, load_prices
from arranger.rulebook.reduction import HARDEST

_MOST = 100.0


@dataclass(frozen=True, slots=True)
class Weighting:
    """A whole draft's taste: which prices count more or less, and whose hands play.

    ``player`` is empty where the player of the run stays. ``ease`` is the level of ``--ease`` to
    which the usual draft is thinned first, 0 for none. ``unlike``: what a note pays that stays in
    the hand it has in the usual draft, in shares of ``other_hand``, tried in turn; none: the hands
    are those of the staves.
    """

    id: str
    title: str
    why: str
    factors: Mapping[str, float]
    player: str = ""
    ease: int = 0
    unlike: tuple[float, ...] = ()

    def prices(self, usual: Mapping[str, int]) -> Mapping[str, int]:
        """The usual prices times these factors, rounded."""
        return {name: min(HIGHEST_PRICE, round(price * self.factors.get(name, 1.0)))
                for name, price in usual.items()}


@cache
def load_weightings(folder: Path | None = None) -> tuple[Weighting, ...]:
    """Return all weightings in the order of their files.

    Raises
    ------
    RuleError
        A file has no title, why, source or factors, or a factor names no price; file and key.
    """
    folder = folder or rules_folder() / "drafts"
    return tuple(_read(path) for path in sorted(folder.glob("*.toml")))


def _read(path: Path) -> Weighting:
    table = read_toml(path)
    refuse_unknown(table, ("title", "why", "player", "ease", "unlike", "source", "factor"), path)
    need(table, "source", str, path)
    factors: dict[str, float] = {}
    for name in need(table, "factor", dict, path):
        if name not in load_prices():
            raise RuleError(f"{path}: factor.{name} is the name of no price")
        factors[name] = need(table["factor"], name, float, path, "factor.")
        if not 0 <= factors[name] <= _MOST:
            raise RuleError(f"{path}: factor.{name} must be 0 to {_MOST:.0f}")
    ease = table.get("ease", 0)
    if ease not in range(HARDEST + 1):
        raise RuleError(f"{path}: ease must be a whole number from 0 to {HARDEST}")
    unlike = tuple(table.get("unlike", ()))
    if not all(isinstance(share, float) and 0 <= share <= 1 for share in unlike):
        raise RuleError(f"{path}: unlike must be numbers from 0.0 to 1.0")
    _, _, name = path.stem.partition("-")  # the number before it is the order
    return Weighting(name, need(table, "title", str, path), need(table, "why", str, path),
                     MappingProxyType(factors), str(table.get("player", "")), ease, unlike)
