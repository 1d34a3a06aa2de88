"""The way into every command: settings of the request, its source opened, its harp part."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from arranger.commands.lead_sheet import lead_sheet
from arranger.commands.request import Request
from arranger.io.as_read import as_read
from arranger.io.document import Document
from arranger.io.doubled import LaidTogether, laid_together
from arranger.io.harp_part import HarpPart, as_harp_part
from arranger.io.held import held_on, untie
from arranger.io.musicxml_read import read
from arranger.io.part_choice import choose_parts, named_parts, part_labels
from arranger.io.source import open_source
from arranger.io.transpose import transpose
from arranger.io.unpitched import unpitched
from arranger.model.ensemble import Ensemble
from arranger.model.errors import ChoiceError, SourceError
from arranger.model.score import Note, NoteId, Score
from arranger.passes.settings import Settings
from arranger.plan.held import to_strike_again
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player, with_limits
from arranger.rulebook.prices import load_prices

_ONE_PART = LaidTogether()
#: Work on a proof that may take long, in shares of the usual (assumption).
_LONG_PROOF = 10


@dataclass(frozen=True, slots=True)
class Opened:
    """A source made ready: its document with a harp part in it, and what the report needs."""

    document: Document
    harp_part: HarpPart
    parts: tuple[str, ...]
    kept_parts: tuple[str, ...]
    doubled: tuple[tuple[Note, NoteId], ...] = ()
    semitones: int = 0
    struck_again: frozenset[NoteId] = frozenset()  # held in the source, where a string is silent
    ensemble: Ensemble | None = None
    remarks: tuple[str, ...] = ()

    @property
    def part(self) -> str:
        """Id of the harp part."""
        return self.harp_part.part_id

    def arranging(self, settings: Settings) -> Settings:
        """Settings with what is known of the parts behind the harp part, if they are several."""
        if len(self.parts) < 2:
            return settings
        return replace(settings, ensemble=self.ensemble, as_read=partial(as_read, self.document))


def settings_of(request: Request) -> Settings:
    """Load harp, player and prices of a request."""
    player = with_limits(load_player(request.player), request.limits)
    return Settings(load_harp(request.harp), player, load_prices(),
                    proof=_LONG_PROOF if request.prove else 1)


def open_to_arrange(request: Request, semitones: int = 0) -> Opened:
    """Lay the chosen parts on the two staves of a harp part.

    Raises
    ------
    SourceError
        The source cannot be read, or the chosen part has no notes.
    """
    root = open_source(request.source)
    transpose(root, semitones)
    chosen = choose_parts(root, request.parts, request.part_is_harp, request.keep)
    tune = named_parts(root, request.tune)
    if tune - set(chosen):
        raise ChoiceError("--tune must name a part that is arranged, with --part or --part all")
    labels = part_labels(root)
    harp_part = as_harp_part(root, chosen, request.part_is_harp, tune)
    harp_part = replace(harp_part, removed=(*harp_part.removed, *unpitched(root, chosen)))
    document = read(harp_part.root, str(request.source))
    if not document.score.part_notes(harp_part.part_id):
        raise SourceError(f"{request.source}: the chosen part has no notes; choose another "
                          f"with --part")
    in_time = replace(document, score=_at_tempo(request, document.score))
    sheet = lead_sheet(request, in_time, harp_part, chosen)
    document = sheet.document
    again: frozenset[tuple[Fraction, int]] = frozenset()
    if len(chosen) > 1:
        places = to_strike_again(_at_tempo(request, document.score), harp_part.part_id,
                                 held_on(document, harp_part.part_id))
        untie(places)
        again = frozenset((p.onset, p.note.midi) for p in places)
        document = read(harp_part.root, str(request.source)) if places else document
    laid = laid_together(root, chosen, document, harp_part.part_id)
    opened = replace(_opened(request, document, harp_part, labels, chosen, laid, semitones),
                     remarks=sheet.remarks)
    if len(chosen) < 2:
        return opened
    ensemble = Ensemble(laid.lines, labels, tune, named_parts(root, request.keep))
    struck = frozenset(n.id for n in document.score.part_notes(harp_part.part_id)
                       if (n.onset, n.midi) in again and not n.grace)
    return replace(opened, ensemble=ensemble, struck_again=struck)


def open_as_written(request: Request) -> Opened:
    """Open a harp part with its signs; two parts of one harp are laid together first."""
    root = open_source(request.source)
    chosen = choose_parts(root, request.parts, harp_first=True)
    labels = part_labels(root)
    harp_part = (HarpPart(root, chosen[0]) if len(chosen) == 1
                 else as_harp_part(root, chosen, keep_fingering=True))
    document = read(harp_part.root, str(request.source), (harp_part.part_id,))
    return _opened(request, document, harp_part, labels, chosen)


def _opened(request: Request, document: Document, harp_part: HarpPart, labels: dict[str, str],
            chosen: tuple[str, ...], laid: LaidTogether = _ONE_PART,
            semitones: int = 0) -> Opened:
    """Name the parts, and set the tempo that was asked for."""
    document = replace(document, score=_at_tempo(request, document.score))
    return Opened(document, harp_part, tuple(labels[i] for i in chosen),
                  tuple(label for i, label in labels.items() if i not in chosen),
                  laid.doubled, semitones)


def _at_tempo(request: Request, score: Score) -> Score:
    """The score at the tempo that was asked for."""
    if request.tempo is None:
        return score
    return replace(score, tempo=score.tempo.scaled(request.tempo))
