"""Give every note its string, with the pedals that allow it, at the least price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.draft import Draft
from arranger.passes.on_strings import pedal_words, put_on_strings
from arranger.passes.piece import Ground, lay_out, pinned
from arranger.passes.settings import Settings
from arranger.plan.pedal_path import pedal_path
from arranger.plan.recall import Recall
from arranger.plan.timing import Use


@dataclass(frozen=True, slots=True)
class Strung:
    """The draft on strings, the settings pinned at barlines, and the price of the path.

    ``ornaments``: what these ask of the pedals and get.
    """

    draft: Draft
    pins: Mapping[Fraction, tuple[int, ...]]
    ornaments: tuple[Use, ...]
    total: int
    notes_price: int


def give_strings(draft: Draft, settings: Settings) -> Strung:
    """Choose strings, stand-ins and omissions exactly (see ``plan.pedal_path``).

    Where the piece repeats, the setting at the entry of a repeated section is taken from the
    unconstrained run, pinned at every barline from which or to which the music jumps, and the
    piece is solved again.
    """
    ground, recall = Ground.of(draft), Recall()
    piece = lay_out(ground, settings, recall)
    pins = pinned(draft, piece, settings, recall)
    path = pedal_path(piece.parts, piece.ways, piece.ends, settings.player, settings.prices,
                      piece.by_slice(pins), piece.wishes)
    strung = put_on_strings(draft, piece.parts, path.taken,
                            pedal_words(draft, piece.parts, path, ground.roles))
    return Strung(strung, pins, piece.met(path.states), path.total, piece.price(path))
