"""Harps and players by the titles of their files, as every page and text calls them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from arranger.rulebook.files import read_toml, rules_folder

_USUAL = {"harps": "pedal-47", "players": "average"}


@cache
def titles(folder: str) -> Mapping[str, str]:
    """Names of the files in ``rules/harps`` or ``rules/players`` with their titles.

    The usual one stands first.
    """
    found = {p.stem: str(read_toml(p).get("title", p.stem))
             for p in sorted((rules_folder() / folder).glob("*.toml"))}
    usual = _USUAL[folder]
    return {usual: found.pop(usual), **found}


def titled(folder: str, name: str) -> str:
    """Title of a harp or player; a file of the reader's own goes by the name that was given."""
    return titles(folder).get(name, name)
