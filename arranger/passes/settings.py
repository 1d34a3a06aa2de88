"""What every stage is given besides the draft."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from arranger.model.harp import Harp
from arranger.model.pins import Pins
from arranger.rulebook.players import Player


@dataclass(frozen=True, slots=True)
class Settings:
    """Harp, player and prices of one run, and what was decided beforehand."""

    harp: Harp
    player: Player
    prices: Mapping[str, int]
    pins: Pins = field(default_factory=Pins)
