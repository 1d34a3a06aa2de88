"""What every stage is given besides the draft."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from arranger.model.harp import Harp
from arranger.rulebook.players import Player


@dataclass(frozen=True, slots=True)
class Settings:
    """Harp, player and prices of one run."""

    harp: Harp
    player: Player
    prices: Mapping[str, int]
