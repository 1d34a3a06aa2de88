"""All stages in order, repeated on their own result until nothing changes.

A draft must come through its own arranging unchanged, so it is arranged again as if it were the
source; when that changes nothing the draft is settled. Prices of losing a note, of the other string
and of the other hand are distances from what is written, so most drafts are settled at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote, PedalPlan
from arranger.model.ledger import Ledger
from arranger.model.levers import LeverPlan
from arranger.model.score import Score
from arranger.passes.account import net
from arranger.passes.again import spare_strings
from arranger.passes.alike import alike
from arranger.passes.compass import fold, fold_price, tuning
from arranger.passes.damping import free_hands, mark_damping
from arranger.passes.feet import give_up, move_pedals
from arranger.passes.fingers import finger_as_read
from arranger.passes.hands import give_hands
from arranger.passes.levers import give_levers, set_levers
from arranger.passes.piece import Ground
from arranger.passes.reduce import reduce
from arranger.passes.runs import share_runs
from arranger.passes.settings import Settings
from arranger.passes.start import as_source, on_source, start
from arranger.passes.strings import Strung, give_strings
from arranger.passes.together import Planned, plan_together
from arranger.plan.recall import Recall
from arranger.plan.timing import Window
from arranger.plan.touch import Hands

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Arranged:
    """The settled draft, the pedal changes no foot can make, and whether it settled."""

    draft: Draft
    missed: tuple[Window, ...]
    settled: bool


def arrange(score: Score, part: str, settings: Settings,
            progress: Progress = lambda _: None, recall: Recall | None = None) -> Arranged:
    """Arrange one part of a score for the harp.

    ``recall``: takes in what the first look finds, for whoever plans the same again.
    """
    progress("reading the texture")
    of_any = recall or Recall(searches=False)
    first = _once(score, part, settings, progress, recall or of_any.elsewhere())
    cost, bound, stays = first.draft.cost, first.draft.bound, first.draft.stays
    result, entries = first, first.draft.ledger.entries
    looked: Score | None = score
    if settings.ensemble is not None:  # now it is one part, at the prices of one
        looked, of_any = None, Recall(searches=False)
        settings = replace(settings, ensemble=None)
    settled = refused = False
    for _ in range(settings.looks):
        progress("looking again at the draft")
        like = result.draft if refused else alike(result.draft)
        now = as_source(like, settings.as_read(_of(like, score)) if settings.as_read else {})
        known = looked is not None and _asked(now, part) == _asked(looked, part)
        if not known:
            looked, again = now, _once(now, part, settings, progress, of_any.elsewhere())
            known = _same(again.draft, result.draft)
        if known:
            settled = _same(like, result.draft)
            if settled:
                break
            refused = True  # bars made alike, which the plan takes back: look at it as it stands
            continue
        entries += (like.ledger.entries[len(result.draft.ledger.entries):]
                    + again.draft.ledger.entries)
        result = again
    page = (looked if settings.as_read else None) or score  # what the reader has before him
    read = finger_as_read(_of(result.draft, page), settings)
    draft = replace(_of(mark_damping(read, settings), score),
                    cost=cost, bound=bound, stays=stays, ledger=Ledger(entries))
    return Arranged(net(draft, settings), result.missed, settled)


def _of(draft: Draft, score: Score) -> Draft:
    """The same draft, its notes those of another score that they came from."""
    return replace(draft, source=score, notes=on_source(draft.notes, score, draft.part))


def weighed(score: Score, part: str, settings: Settings, recall: Recall) -> Draft:
    """Arrange in one round only: the cost is that of ``arrange``, which comes from its first.

    Enough to compare what pins do, in a part of the time; ``recall``: of the same piece before.
    """
    return net(_once(score, part, settings, lambda _: None, recall).draft, settings)


#: Times dearer a note or its spelling is in a part that is to stay as it is (assumption).
_AS_IT_IS = 50


def mark_pedals(score: Score, part: str, settings: Settings,
                progress: Progress = lambda _: None) -> Arranged:
    """Plan the pedals of a harp part as it stands: every note kept, hands by staff.

    A note that no pedal gives stays as written (and is found by the checks); one that only its
    other string gives is respelled.
    """
    dear = {name: price * _AS_IT_IS if name.startswith("drop") or name == "respell" else price
            for name, price in settings.prices.items()}
    strict = Settings(settings.harp, settings.player, dear)
    written = start(score, part)
    written = replace(written, plan=PedalPlan(fixed=tuning(written.notes, settings.harp)))
    progress("weighing strings and pedals")
    strung = give_strings(written, strict)
    pitches = {n.id: n.pitch for n in strung.draft.notes}
    notes = tuple(replace(n, pitch=pitches.get(n.id, n.pitch))
                  if pitches.get(n.id, n.pitch).midi == n.pitch.midi else n for n in written.notes)
    sure = tuple(n for n in notes if pitches.get(n.id) == n.pitch)
    progress("timing the pedals")
    timed, missed = _pedalled(replace(strung.draft, notes=sure), settings, strung)
    cost = {"notes": strung.notes_price, "pedals": strung.total - strung.notes_price}
    draft = replace(timed, notes=notes, cost=cost, bound=strung.total)
    return Arranged(net(draft, settings), missed, True)


def _pedalled(draft: Draft, settings: Settings, planned: Planned | Strung,
              recall: Recall | None = None,
              hands: Hands | None = None) -> tuple[Draft, tuple[Window, ...]]:
    """Time the pedals for notes and ornaments; for no ornament is a note's move missed."""
    found = move_pedals(draft, settings, planned.pins, planned.ornaments, recall, hands)
    if found[1] and planned.ornaments:
        found = move_pedals(draft, settings, planned.pins, recall=recall, hands=hands)
    return found


def _once(score: Score, part: str, settings: Settings, progress: Progress,
          recall: Recall) -> Arranged:
    if settings.harp.mechanism != "pedal":
        return _without_pedals(*_in_compass(score, part, settings), settings, progress)
    progress("weighing strings, pedals and hands")
    if settings.ensemble is not None:  # staves are no evidence of hands yet
        settings = replace(settings, prices={
            **settings.prices, "other_hand": settings.prices["line_hand"]})
    ground, folding = recall.get("ground", lambda: _ground(score, part, settings))
    planned = plan_together(ground, settings, recall)
    progress("timing the pedals")
    spared, lost = spare_strings(planned.draft, settings)
    draft, missed = _pedalled(spared, settings, planned, recall,
                              free_hands(spared, settings))
    while missed:
        fewer = give_up(draft, missed)
        if len(fewer.notes) == len(draft.notes):  # a barline's setting, not a note, is late
            break
        draft, missed = move_pedals(fewer, settings, planned.pins,
                                    hands=free_hands(fewer, settings))
    cost = {**planned.cost, "notes": planned.cost["notes"] + lost + folding}
    return Arranged(replace(draft, cost=cost, bound=planned.bound + folding,
                            stays=planned.stays), missed, True)


def _in_compass(score: Score, part: str, settings: Settings) -> tuple[Draft, int]:
    """The notes as the strings can sound them, and what it cost to bring them there."""
    whole = reduce(start(score, part), settings)
    draft = fold(whole, settings)
    return draft, fold_price(whole, draft, settings)


def _ground(score: Score, part: str, settings: Settings) -> tuple[Ground, int]:
    draft, folding = _in_compass(score, part, settings)
    return Ground.of(share_runs(draft, settings)), folding


def _without_pedals(draft: Draft, folding: int, settings: Settings,
                    progress: Progress) -> Arranged:
    """Arrange for a harp with levers, or with a string for every semitone.

    ``folding``: what it cost to bring the notes into the compass.
    """
    if settings.harp.mechanism == "chromatic":
        return Arranged(replace(draft, levers=LeverPlan()), (), True)
    judged = settings.harp.hands_judged
    progress("weighing strings and levers")
    hands = give_hands(draft, settings).draft.notes if judged else draft.notes
    strung = give_levers(draft, settings, {n.id: n.hand for n in hands})
    cost = {"notes": strung.notes_price + folding, "levers": strung.total - strung.notes_price}
    draft = strung.draft
    if judged:
        progress("sharing the notes between the hands")
        handed = give_hands(share_runs(draft, settings), settings)
        draft, lost = spare_strings(handed.draft, settings)
        cost["hands"] = handed.total
        cost["notes"] += lost
    progress("moving the levers")
    return Arranged(replace(set_levers(draft, settings), cost=cost,
                            bound=strung.total + folding), (), True)


def _asked(score: Score, part: str) -> list[tuple[object, ...]]:
    """What a look at a score depends on, of all that one draft and the next may differ in."""
    chords: dict[int, int] = {}
    return [(n.id, n.onset, n.duration, n.pitch, n.staff, n.voice, n.marks,
             chords.setdefault(n.chord, len(chords)))
            for n in score.part_notes(part)]


def _same(one: Draft, other: Draft) -> bool:
    return ([_face(n) for n in one.notes] == [_face(n) for n in other.notes]
            and (one.plan.opening, one.plan.moves) == (other.plan.opening, other.plan.moves)
            and one.levers == other.levers)


def _face(note: HarpNote) -> tuple[object, ...]:
    return note.id, note.onset, note.pitch, note.hand, note.finger, note.rolled
