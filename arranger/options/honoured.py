"""Whether a draft does what was chosen, and if not, which choices exclude each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arranger.model.choice import Choice
from arranger.model.draft import Draft
from arranger.model.ledger import Alteration, Ledger
from arranger.model.pins import Pin, Pins
from arranger.model.score import NoteId, Score
from arranger.options.matching import Ground, Matched, Placed
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.search.minimal_sets import minimal_sets

#: Bars on each side of a choice that are arranged again to find what excludes it (assumption).
_AROUND = 2
#: Collections of choices that are arranged at most to explain one choice.
_TRIES = 40


def broken(draft: Draft, placed: Sequence[Placed]) -> tuple[Placed, ...]:
    """Choices that the draft does not keep."""
    moves = {(m.pedal, m.after, m.onset) for m in draft.plan.moves}
    sounding = {n.id: n for n in draft.notes}
    plucked = {(n.onset, n.pitch.midi): n for n in draft.notes if not n.source.grace}
    onsets = {n.id: n.onset for n in draft.source.part_notes(draft.part)}

    def keeps(ident: NoteId, pin: Pin) -> bool:
        """Tell whether the note is as asked for; one merged into a twin is that twin."""
        note = sounding.get(ident)
        if pin.drop:
            return note is None
        if note is None and ident in onsets:
            twins = (plucked.get((onsets[ident], p.midi)) for p in pin.pitches)
            note = next((t for t in twins if t is not None), None)
        return (note is not None and (not pin.pitches or note.pitch in pin.pitches)
                and pin.allows_hand(note.hand, note.finger) and pin.rolled in (None, note.rolled))
    return tuple(p for p in placed if not (
        all((m.pedal, m.alter, m.onset) in moves for m in p.pins.pedals)
        and all(keeps(ident, pin) for ident, pin in p.pins.notes.items())))


def conflicts(score: Score, part: str, settings: Settings, matched: Matched,
              at_fault: Sequence[Placed], present: Pins | None = None) -> list[str]:
    """Say for each choice at fault which smallest set of choices excludes it.

    Only a few bars around it are arranged again, so this is quick; choices elsewhere do not
    matter to it. ``present``: the player's own solution; its notes struck with the choice are in
    the sets too, as they are to stay.
    """
    told: dict[str, None] = {}
    for one in at_fault:
        cut, chosen = _excerpt(score, part, one, matched.placed)
        near = [*chosen, *(_beside(cut, part, one, chosen) if present is not None else ())]

        def fails(ranks: Sequence[int], cut: Score = cut, near: Sequence[Placed] = near) -> bool:
            some = [near[i] for i in ranks]
            pins = Matched(tuple(some)).pins
            draft = arrange(cut, part, replace(settings, pins=pins, proof=0)).draft
            return bool(broken(draft, some))
        found, _ = minimal_sets(range(len(near)), fails, _TRIES)
        sets = sorted(([near[i] for i in s] for s in found), key=len)
        mine = [s for s in sets if one in s] or [s for s in sets if any(
            p.note == one.note for p in s)]
        told[_words(one, mine[0] if mine else (), chosen)] = None
    return list(told)


def _beside(score: Score, part: str, one: Placed, chosen: Sequence[Placed]) -> list[Placed]:
    """The notes struck together with a choice of which nothing is chosen, as they stand."""
    onset = next((n.onset for n in score.part_notes(part) if n.id == one.note), None)
    ground = Ground(score, part)
    taken = {ident for p in chosen for ident in p.pins.notes}
    return [Placed(Choice(where.bar, where.beat, n.pitch, "keep", True),
                   Pins({n.id: Pin((n.pitch,))}), n.id)
            for n in score.part_notes(part) if n.onset == onset and not n.grace
            and n.id not in taken for where in (ground.place(n),)]


def _excerpt(score: Score, part: str, one: Placed,
             placed: Sequence[Placed]) -> tuple[Score, list[Placed]]:
    """The bars around a choice, and the choices in them."""
    bars = {n.id: n.measure for n in score.part_notes(part)}

    def bar_of(choice: Placed) -> int:
        if choice.note is not None:
            return bars[choice.note]
        return score.measure_at(choice.pins.pedals[0].onset).index
    centre = bar_of(one)
    notes = tuple(n for n in score.notes if n.part == part and abs(n.measure - centre) <= _AROUND)
    near = [p for p in placed if abs(bar_of(p) - centre) <= _AROUND]
    return replace(score, notes=notes, playing_order=()), near


def _words(one: Placed, found: Sequence[Placed], chosen: Sequence[Placed]) -> str:
    if not found:
        return f"{one.choice.words}: cannot be kept here with the notes around it"
    if len(found) == 1:
        return f"{one.choice.words}: no hand or pedal can do that here"
    rest = [p for p in found if p is not one]
    others = "; ".join([*(p.choice.words for p in rest if p in chosen),
                        *(f"the {p.choice.note.label} struck there" for p in rest
                          if p not in chosen and p.choice.note is not None)])
    if one in found:
        return f"{one.choice.words}: cannot be kept together with {others}"
    return f"{one.choice.words}: not kept, for these exclude each other: {others}"


def with_reasons(draft: Draft, placed: Sequence[Placed]) -> Draft:
    """The draft whose ledger says of every chosen note that it was chosen, and why."""
    said = {ident: f"chosen: {p.choice.why}" if p.choice.why else "chosen by the arranger"
            for p in placed for ident in p.pins.notes}
    entries = tuple(_chosen(e, said) for e in draft.ledger.entries)
    return replace(draft, ledger=Ledger(entries))


def _chosen(entry: Alteration, said: dict[str, str]) -> Alteration:
    reason = said.get(entry.edit.note)
    return replace(entry, stage="choice", reason=reason) if reason else entry
