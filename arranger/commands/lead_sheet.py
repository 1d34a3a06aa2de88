"""A tune with chord symbols: the left hand plays them, or it is said that it could."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.commands.request import Request
from arranger.io.chord_symbols import chord_symbols
from arranger.io.document import Document
from arranger.io.harp_part import HarpPart
from arranger.io.musicxml_read import read
from arranger.io.write_left_hand import Struck, plays_below, write_left_hand
from arranger.model.chord import ChordSymbol
from arranger.model.errors import ChoiceError
from arranger.model.score import Score, bar_name
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.plan.chord_hand import Stroke, left_hand
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player, with_limits
from arranger.rulebook.prices import load_prices

PRINTED_ONLY = "The chord symbols are printed only; --chords gives them to the left hand."
#: Places that a sentence names before it counts the others.
_NAMED = 3


@dataclass(frozen=True, slots=True)
class LeadSheet:
    """A document whose left hand plays the symbols if that is asked for, and what is to be said."""

    document: Document
    remarks: tuple[str, ...] = ()


def lead_sheet(request: Request, document: Document, harp_part: HarpPart,
               chosen: Sequence[str]) -> LeadSheet:
    """Give the chord symbols to the left hand, where the request says so.

    Raises
    ------
    ChoiceError
        It does, and there are no symbols, or the left hand has something to play.
    """
    symbols = chord_symbols(harp_part.part, document.score.measures)
    names_chords = any(s.tones for s in symbols)
    if not request.chords:
        only = names_chords and len(chosen) == 1 and _one_line(document.score, harp_part.part_id)
        return LeadSheet(document, (PRINTED_ONLY,) if only else ())
    if request.part_is_harp:
        raise ChoiceError("--chords does not go with --part-is-harp: no note may be added")
    if len(chosen) > 1 or plays_below(harp_part.part):
        raise ChoiceError(f"{request.source}: the left hand has notes to play; --chords is for one "
                          f"part that is a tune with chord symbols")
    if not names_chords:
        raise ChoiceError(f"{request.source}: the part has no chord symbols; --chords needs them")
    return _played(request, document, harp_part, symbols)


def _one_line(score: Score, part: str) -> bool:
    """Tell whether no two notes of a part are struck at once."""
    onsets = [n.onset for n in score.part_notes(part) if not n.grace]
    return len(set(onsets)) == len(onsets)


def _played(request: Request, document: Document, harp_part: HarpPart,
            symbols: Sequence[ChordSymbol]) -> LeadSheet:
    score = document.score
    player = with_limits(load_player(request.player), request.limits)
    settings = Settings(load_harp(request.harp), player, load_prices())
    alone = (arrange(score, harp_part.part_id, settings).draft
             if settings.harp.mechanism == "lever" else None)
    made = left_hand(score, harp_part.part_id, symbols, settings.harp, player, alone)
    if not made.strokes:
        raise ChoiceError(f"{request.source}: no chord fits under the tune on this harp")
    begun = write_left_hand(harp_part.part, score.measures,
                            [_struck(s, score) for s in made.strokes])
    again = read(harp_part.root, document.name)
    added = frozenset(i for i, chain in again.elements.items() if chain[0] in begun)
    return LeadSheet(replace(again, score=replace(again.score, added=added)),
                     (*_unknown(symbols, score), *_silent(made.silent)))


def _struck(stroke: Stroke, score: Score) -> Struck:
    bar = score.measure_at(stroke.onset)
    start = stroke.onset - bar.onset
    return Struck(bar.index, start, start + stroke.duration, stroke.pitches)


def _unknown(symbols: Sequence[ChordSymbol], score: Score) -> tuple[str, ...]:
    """Say which kinds of chord are played as major triads."""
    first: dict[str, str] = {}
    for symbol in symbols:
        if symbol.unknown:
            first.setdefault(symbol.unknown, bar_name(score.measure_at(symbol.onset).number))
    return tuple(f"The kind of chord {kind!r} ({bar}) is none of MusicXML: played as a major triad."
                 for kind, bar in first.items())


def _silent(bars: Sequence[str]) -> tuple[str, ...]:
    """Say where no chord fits under the tune."""
    if not bars:
        return ()
    names = [bar_name(b) for b in dict.fromkeys(bars)]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return (f"No note of the chord fits under the tune: {', '.join(names[:_NAMED])}{more}.",)
