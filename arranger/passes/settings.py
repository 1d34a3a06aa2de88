"""What every stage is given besides the draft."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from arranger.model.draft import Draft
from arranger.model.ensemble import Ensemble
from arranger.model.harp import Harp
from arranger.model.pins import Pins
from arranger.model.score import Note, NoteId
from arranger.rulebook.players import Player
from arranger.rulebook.universe import Universe, load_universe


@dataclass(frozen=True, slots=True)
class Settings:
    """Harp, player and prices of one run, and what was decided beforehand.

    ``ensemble``: the parts behind the harp part, if they are several; ``as_read``: the notes of a
    draft of theirs as they are read once it is written, by id. ``universe``: how much the planner
    weighs. ``proof``: work on proving how good the plan is, in shares of the usual;
    ``bounded``: also where a choice is pinned and no plan comes of it.
    ``looks``: how often a draft is looked at again, at most, until that changes nothing.
    """

    harp: Harp
    player: Player
    prices: Mapping[str, int]
    pins: Pins = field(default_factory=Pins)
    ensemble: Ensemble | None = None
    as_read: Callable[[Draft], Mapping[NoteId, Note]] | None = None
    universe: Universe = field(default_factory=load_universe)
    proof: int = 1
    bounded: bool = True
    looks: int = 6
