"""Load the planner's prices from ``rules/prices.toml``: whole numbers, each with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from arranger.model.errors import RuleError
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder

#: Prices are added over a whole piece in int32 tables, whose sums must stay below 2^30.
HIGHEST_PRICE = 1_000_000


@cache
def load_prices(path: Path | None = None) -> Mapping[str, int]:
    """Return name -> price from ``[price.NAME]`` tables with ``value`` and ``source``.

    Raises
    ------
    RuleError
        If a price is missing its value or source, is no whole number from 0 to
        ``HIGHEST_PRICE``, or has an unknown key; names the file and the key.
    """
    path = path or rules_folder() / "prices.toml"
    table = read_toml(path)
    refuse_unknown(table, ("price",), path)
    prices: dict[str, int] = {}
    for name in need(table, "price", dict, path):
        entry = need(table["price"], name, dict, path, "price.")
        refuse_unknown(entry, ("value", "source"), path, f"price.{name}.")
        value = need(entry, "value", int, path, f"price.{name}.")
        need(entry, "source", str, path, f"price.{name}.")
        if not 0 <= value <= HIGHEST_PRICE:
            raise RuleError(f"{path}: price.{name}.value must be 0 to {HIGHEST_PRICE}, not {value}")
        prices[name] = value
    return MappingProxyType(prices)
