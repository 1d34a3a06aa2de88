"""Where the notes of a harp part come from when several players' parts are laid together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from arranger.model.score import NoteId

PartId = str


@dataclass(frozen=True, slots=True)
class Ensemble:
    """The source parts behind a harp part.

    ``lines`` gives for each note the parts that strike it, in score order; ``names`` the name of
    every part; ``tune``: the parts said to hold the tune; ``kept``: parts that other players go
    on playing above the harp.
    """

    lines: Mapping[NoteId, tuple[PartId, ...]]
    names: Mapping[PartId, str]
    tune: frozenset[PartId] = frozenset()
    kept: frozenset[PartId] = frozenset()
