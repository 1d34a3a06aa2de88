"""What cannot be played in a draft as planned: pedals, strings, hands, feet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise

from arranger.model.diagnostic import Diagnostic, Severity
from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import Harp, HarpString, PedalSetting, pedal_word
from arranger.model.score import Location
from arranger.plan.hand_options import reach
from arranger.plan.slices import clock
from arranger.rulebook.players import Player
from arranger.rulebook.rules import rule


def findings(draft: Draft, harp: Harp, player: Player) -> tuple[Diagnostic, ...]:
    """All findings of severity error in a draft, in order of time."""
    found = []
    if draft.levers is None:  # else see checks.levers
        found += [*_pedals(draft), *_compass(draft, harp), *_feet(draft, player)]
    if harp.hands_judged:
        found += [*_hands(draft, player), *_repeats(draft, player)]
    return tuple(sorted(found, key=lambda d: (d.where.onset, d.code, d.notes)))


def _finding(draft: Draft, code: str, message: str, where: Location,
             notes: Iterable[HarpNote] = ()) -> Diagnostic:
    severity: Severity = "error"
    return Diagnostic(code, rule(code).name, severity, message, where,
                      tuple(n.id for n in notes), draft.part)


def _pedals(draft: Draft) -> Iterator[Diagnostic]:
    setting: PedalSetting = draft.plan.opening
    moves = list(draft.plan.moves)
    at = 0
    for note in draft.notes:
        while at < len(moves) and moves[at].onset <= note.onset:
            setting = setting.with_pedal(moves[at].pedal, moves[at].after)
            at += 1
        stands = draft.plan.fixed.get(note.string, setting.alter(note.pitch.step))
        if stands != note.pitch.alter:
            where = draft.source.locate(note.onset)
            yield _finding(draft, "P1", f"{note.pitch.label} is wanted, but the string stands at "
                           f"{pedal_word(note.pitch.step, stands)}", where, (note,))


def _compass(draft: Draft, harp: Harp) -> Iterator[Diagnostic]:
    for note in draft.notes:
        if not harp.has(note.string):
            yield _finding(draft, "C1", f"no string {note.string} on this harp",
                           draft.source.locate(note.onset), (note,))


def _hands(draft: Draft, player: Player) -> Iterator[Diagnostic]:
    struck = [n for n in draft.notes if not n.source.grace]
    for onset, group in groupby(sorted(struck, key=lambda n: n.onset), key=lambda n: n.onset):
        notes = list(group)
        where = draft.source.locate(onset)
        taken: dict[HarpString, HarpNote] = {}
        for note in notes:
            other = taken.get(note.string)
            if other is not None:
                code = "S1" if other.hand == note.hand else "S2"
                yield _finding(draft, code, f"string {note.string} is wanted twice at once", where,
                               (other, note))
            taken[note.string] = note
        for hand in "LR":
            yield from _grip(draft, hand, [n for n in notes if n.hand == hand], where, player)


def _grip(draft: Draft, hand: str, notes: Sequence[HarpNote], where: Location,
          player: Player) -> Iterator[Diagnostic]:
    if not notes:
        return
    name = "right" if hand == "R" else "left"
    ordered = sorted(notes, key=lambda n: n.string)
    if len(notes) > player.fingers_per_hand:
        yield _finding(draft, "H1", f"{len(notes)} strings for the {name} hand", where, notes)
    span = ordered[-1].string.position - ordered[0].string.position
    rolled = all(n.rolled for n in notes)
    if span > (player.rolled_span_steps if rolled else player.span_steps):
        yield _finding(draft, "H2", f"the {name} hand spans {span + 1} strings", where, notes)
    low, high = reach(hand, player)
    if not low <= ordered[0].string <= ordered[-1].string <= high:
        yield _finding(draft, "H3", f"out of the {name} hand's reach", where, notes)
    fingers = [n.finger for n in ordered if n.finger is not None]
    if any(a <= b for a, b in pairwise(fingers)):
        yield _finding(draft, "H4", f"fingers of the {name} hand cross", where, notes)


def _feet(draft: Draft, player: Player) -> Iterator[Diagnostic]:
    for foot in "LR":
        mine = [m for m in draft.plan.moves if m.foot == foot]
        for one, two in pairwise(mine):
            if two.seconds - one.seconds < player.foot_move_seconds - 1e-6:
                where = draft.source.locate(two.onset)
                told = " and ".join(pedal_word(m.pedal, m.after) for m in (one, two))
                yield _finding(draft, "P3", f"one foot moves {told} within "
                               f"{two.seconds - one.seconds:.2f} s", where)


def _repeats(draft: Draft, player: Player) -> Iterator[Diagnostic]:
    struck = sorted((n for n in draft.notes if not n.source.grace),
                    key=lambda n: (n.string, n.onset))
    onsets = sorted({n.onset for n in struck})
    seconds = dict(zip(onsets, clock(draft.source.tempo, onsets), strict=True))
    for one, two in pairwise(struck):
        gap = seconds[two.onset] - seconds[one.onset]
        if one.string == two.string and 0 < gap < player.restrike_error_seconds - 1e-6:
            yield _finding(draft, "R1", f"string {two.string} is plucked again after {gap:.2f} s",
                           draft.source.locate(two.onset), (one, two))
