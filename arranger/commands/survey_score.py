"""One score of a survey: what it asks of a harpist, in figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from itertools import groupby
from typing import Any

from arranger.checks.playable import findings
from arranger.commands.converting import semitones_of
from arranger.commands.opening import Opened, open_to_arrange, settings_of
from arranger.commands.request import Request
from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Drop, Merge, OctaveShift, Repitch
from arranger.model.levers import transposition_words
from arranger.model.score import Note
from arranger.passes import keys
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.plan.ceiling import Ceiling, demands, limiting_passage
from arranger.plan.lever_keys import KeyAdvice
from arranger.plan.part_hands import Attack, Grip
from arranger.plan.slices import clock
from arranger.plan.timing import uses_of
from arranger.rulebook.harps import load_harp

#: The lever harp a score is tried on.
LEVER_HARP = "lever-34"
#: Share of the notes that may be lost or changed in a draft that still suits (assumption).
SLIGHT = 0.02
SUITS = ("as it is", "with slight changes", "at a slower tempo", "with changes")
Figures = dict[str, Any]


def figures(request: Request) -> Figures:
    """Arrange one score and return its figures, plain values under the names of the survey.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp or player; one line each.
    """
    settings, opened = settings_of(request), open_to_arrange(request)
    best = keys.advice(opened.document.score, opened.part, settings)[0]
    if request.transpose:
        semitones = (best.semitones if request.transpose == "best"
                     else semitones_of(request.transpose))
        opened = open_to_arrange(request, semitones)
    draft = arrange(opened.document.score, opened.part, settings).draft
    return {**_music(draft, settings), **_keys(best, request), **_levers(opened, settings),
            "parts": list(opened.parts)}


def _music(draft: Draft, settings: Settings) -> Figures:
    score = draft.source
    bars = max(len(score.measures), 1)
    notes = [n for n in score.part_notes(draft.part) if not n.grace]
    moves = [score.measure_at(m.onset).index for m in draft.plan.moves] if draft.levers is None \
        else [score.measure_at(m.onset).index for m in draft.levers.moves]
    changed = _changes(draft)
    slow = _ceiling(draft, settings)
    errors = findings(draft, settings.harp, settings.player)
    written = float(score.tempo.marks[0].bpm)
    lost = changed["lost"].total()
    altered = lost + changed["other"].total()
    return {
        "suits": _suits(altered / max(len(notes), 1), slow, bool(errors)),
        "bars": bars, "notes": len(notes), "moves": len(moves),
        "moves_per_bar": round(len(moves) / bars, 2), "lost": lost,
        "changed": changed["other"].total(), "kept": round(1 - altered / max(len(notes), 1), 4),
        "tempo": round(written, 1), "tempo_assumed": score.tempo.assumed,
        "ceiling": slow.crotchet,
        "ceiling_bars": "" if slow.crotchet is None else _bars(slow, draft),
        "limit": slow.kind, "errors": len(errors),
        **_hardest(draft, moves, changed["lost"] + changed["other"])}


def _suits(altered: float, slow: Ceiling, errors: bool) -> str:
    """How well it suits in words, best first in ``SUITS``."""
    if errors or altered > SLIGHT:
        return SUITS[3]
    if slow.ratio < 1:
        return SUITS[2]
    return SUITS[1] if altered else SUITS[0]


def _changes(draft: Draft) -> Mapping[str, Counter[int]]:
    """Notes lost and notes of another sound, counted by bar (index)."""
    homes = {n.id: n.measure for n in draft.source.part_notes(draft.part)}
    found: dict[str, Counter[int]] = {"lost": Counter(), "other": Counter()}
    for entry in draft.ledger.entries:
        if isinstance(entry.edit, Drop | Merge):
            found["lost"][homes[entry.edit.note]] += 1
        elif isinstance(entry.edit, Repitch | OctaveShift):
            found["other"][homes[entry.edit.note]] += 1
    return found


def _hardest(draft: Draft, moves: list[int], altered: Counter[int]) -> Figures:
    """The bar with most moves and altered notes together; the first of several."""
    burden = Counter(moves) + altered
    if not burden:
        return {"hardest": "", "hardest_why": ""}
    bar = min(burden, key=lambda index: (-burden[index], index))
    said = [f"{count} {what}{'s' if count > 1 else ''}{end}" for count, what, end in
            ((moves.count(bar), "move", ""), (altered[bar], "note", " altered")) if count]
    return {"hardest": draft.source.measures[bar].number, "hardest_why": ", ".join(said)}


def _ceiling(draft: Draft, settings: Settings) -> Ceiling:
    """The fastest tempo of the draft as it stands: pedals as spelled, hands as shared."""
    plucked = [n for n in draft.notes if not n.source.grace]
    groups = [list(g) for _, g in groupby(plucked, key=lambda n: n.onset)]
    times = clock(draft.source.tempo, [g[0].onset for g in groups])
    attacks, grips = [], []
    for group, seconds in zip(groups, times, strict=True):
        group.sort(key=lambda n: n.pitch.position)
        attacks.append(Attack(group[0].onset, seconds, tuple(_as_plucked(n) for n in group)))
        left, right = (tuple(_as_plucked(n) for n in group if n.hand == hand) for hand in "LR")
        grips.append(Grip(left, right))
    uses = [] if draft.levers is not None else uses_of(
        [(n.onset, n.source.end, n.string, n.pitch.alter) for n in plucked],
        frozenset(draft.plan.fixed))
    return limiting_passage(draft.source, demands(draft.source, uses, attacks, grips,
                                                  settings.player))


def _as_plucked(note: HarpNote) -> Note:
    return replace(note.source, pitch=note.pitch)


def _bars(found: Ceiling, draft: Draft) -> str:
    first, last = (draft.source.measures[i].number for i in (found.first, found.last))
    return first if found.first == found.last else f"{first}-{last}"


def _keys(best: KeyAdvice, request: Request) -> Figures:
    told = "as written" if best.semitones == 0 else transposition_words(best.semitones, best.fifths)
    return {"best_key": told, "best_semitones": best.semitones, "harp": request.harp}


def _levers(opened: Opened, settings: Settings) -> Figures:
    """Whether a lever harp plays every note as it is set, and in which keys."""
    lever = replace(settings, harp=load_harp(LEVER_HARP))
    free = keys.free(opened.document.score, opened.part, lever)
    if not free:
        return {"lever_fit": "no", "lever_keys": []}
    here = any(k.semitones == opened.semitones or k.semitones == 0 for k in free)
    return {"lever_fit": "as written" if here else "transposed",
            "lever_keys": [transposition_words(k.semitones, k.fifths) if k.semitones
                           else "as written" for k in free]}
