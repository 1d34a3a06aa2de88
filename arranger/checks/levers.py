"""What cannot be played in a draft for a harp without pedals: levers, left hand, keys, compass."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise

from arranger.model.diagnostic import Diagnostic, Severity
from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import Harp, HarpString, pedal_word
from arranger.model.levers import LeverMove
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.settings import key_setting
from arranger.plan.slices import clock
from arranger.rulebook.players import Player
from arranger.rulebook.rules import rule


def lever_findings(draft: Draft, harp: Harp, player: Player) -> tuple[Diagnostic, ...]:
    """All findings about levers in a draft, in order of time; none for a draft with pedals."""
    if draft.levers is None:
        return ()
    found = [*_standing(draft, harp), *_moves(draft, player), *_key(draft, harp), *_soon(draft)]
    return tuple(sorted(found, key=lambda d: (d.where.onset, d.code, d.notes)))


def _finding(draft: Draft, code: str, message: str, onset: Fraction,
             notes: Iterable[HarpNote] = (), severity: Severity | None = None) -> Diagnostic:
    known = rule(code)
    return Diagnostic(code, known.name, severity or known.severity, message,
                      draft.source.locate(onset), tuple(n.id for n in notes), draft.part)


def _standing(draft: Draft, harp: Harp) -> Iterator[Diagnostic]:
    """Every note must be what its string stands at."""
    assert draft.levers is not None
    moves: dict[HarpString, list[LeverMove]] = {}
    for move in draft.levers.moves:
        moves.setdefault(move.string, []).append(move)
    for note in draft.notes:
        if not harp.gives(note.pitch):
            yield _finding(draft, "C1", f"no string of this harp gives {note.pitch.label}",
                           note.onset, (note,))
            continue
        if harp.mechanism == "chromatic":
            continue
        before = [m for m in moves.get(note.string, ()) if m.onset <= note.onset]
        stands = before[-1].after if before else draft.levers.opening[note.string]
        if stands != note.pitch.alter:
            yield _finding(draft, "K1", f"{note.pitch.label} is wanted, but the string stands at "
                           f"{pedal_word(note.pitch.step, stands)}", note.onset, (note,))


def _moves(draft: Draft, player: Player) -> Iterator[Diagnostic]:
    """One move at a time, the left hand back in time, the string not plucked meanwhile."""
    assert draft.levers is not None
    onsets = sorted({n.onset for n in draft.notes})
    seconds = dict(zip(onsets, clock(draft.source.tempo, onsets), strict=True))
    left = sorted({seconds[n.onset] for n in draft.notes if n.hand == "L"})
    for move in draft.levers.moves:
        word = Pitch(move.string.step, move.after, move.string.octave).label
        end = move.seconds + player.lever_move_seconds
        at = bisect_right(left, move.seconds + 1e-6)
        if at < len(left) and left[at] - end < player.placing_lead_seconds - 1e-4:
            yield _finding(draft, "K1", f"the left hand plucks {left[at] - move.seconds:.2f} s "
                           f"after it begins to move {word}", move.onset)
        under = [n for n in draft.notes if n.string == move.string
                 and move.seconds - 1e-6 <= seconds[n.onset] < end - 1e-4
                 and n.onset >= move.onset]
        if under:
            yield _finding(draft, "K1", f"{under[0].pitch.label} is plucked while its lever is "
                           f"moved", move.onset, under)
    for one, two in pairwise(draft.levers.moves):
        if two.seconds - one.seconds < player.lever_move_seconds - 1e-4:
            yield _finding(draft, "K1", f"two levers within {two.seconds - one.seconds:.2f} s",
                           two.onset)


def _key(draft: Draft, harp: Harp) -> Iterator[Diagnostic]:
    """Notes of the key that cannot all be set before the piece, where they come closest."""
    if harp.mechanism != "lever":
        return
    notes = [n for n in draft.source.part_notes(draft.part) if not n.grace]
    start = draft.source.measures[0]
    scale = key_setting(start.fifths).pitch_classes
    mine = [n for n in notes if n.midi % 12 in scale
            and draft.source.measures[n.measure].fifths == start.fifths]
    clash = key_clash({n.midi for n in mine}, harp)
    if not clash:
        return
    before, after = _closest(mine, *clash)
    named = {p.midi: p for p in clash}
    written = dict.fromkeys(f"{n.pitch.label} is written for {named[n.midi].label}"
                            for n in (before, after) if n.pitch != named[n.midi])
    yield Diagnostic("K2", rule("K2").name, rule("K2").severity,
                     f"the notes of this key cannot all be set: {clash[0].label} and "
                     f"{clash[1].label} lie on one string of this harp"
                     + (f" ({', '.join(written)})" if written else "")
                     + ", and come closest here", draft.source.locate(after.onset),
                     (before.id, after.id), draft.part)


def _closest(notes: Sequence[Note], low: Pitch, high: Pitch) -> tuple[Note, Note]:
    """The two notes of these pitches with the least time between them, the earlier first."""
    last: dict[int, Note] = {}
    pairs: list[tuple[Note, Note]] = []
    for note in sorted(notes, key=lambda n: n.onset):
        other = last.get(low.midi if note.midi == high.midi else high.midi)
        if note.midi in (low.midi, high.midi):
            last[note.midi] = note
            if other is not None:
                pairs.append((other, note))
    return min(pairs, key=lambda pair: pair[1].onset - pair[0].onset)


def key_clash(midis: Iterable[int], harp: Harp) -> tuple[Pitch, ...]:
    """Two pitches that want one string at both its places; empty if one setting gives all.

    Pitches outside the compass are passed over.
    """
    choices = [s for s in (harp.spellings(m) for m in sorted(set(midis))) if s]
    standing: dict[HarpString, Pitch] = {}
    for spelled in sorted(choices, key=len):
        free = [p for p in spelled if standing.get(HarpString.of(p), p) == p]
        if not free:
            return tuple(sorted((standing[HarpString.of(spelled[0])], spelled[0]),
                                key=lambda p: p.midi))
        if len(free) == 1:
            standing[HarpString.of(free[0])] = free[0]
    return _search([s for s in choices if len(s) > 1], standing)


def _search(choices: Sequence[Sequence[Pitch]],
            standing: Mapping[HarpString, Pitch]) -> tuple[Pitch, ...]:
    """Try every spelling of the pitches that two strings give."""
    if not choices:
        return ()
    worst: tuple[Pitch, ...] = ()
    for pitch in choices[0]:
        other = standing.get(HarpString.of(pitch), pitch)
        if other != pitch:
            worst = tuple(sorted((other, pitch), key=lambda p: p.midi))
            continue
        worst = _search(choices[1:], {**standing, HarpString.of(pitch): pitch})
        if not worst:
            return ()
    return worst


def _soon(draft: Draft) -> Iterator[Diagnostic]:
    """A lever moved under a held note, or a string wanted at both pitches in quick succession."""
    assert draft.levers is not None
    quick = rule("K3").number("seconds")
    mine: dict[HarpString, list[HarpNote]] = {}
    for note in draft.notes:
        mine.setdefault(note.string, []).append(note)
    for move in draft.levers.moves:
        notes = mine.get(move.string, [])
        before = [n for n in notes if n.onset < move.onset]
        after = [n for n in notes if n.onset >= move.onset]
        if not before or not after:
            continue
        start, end = clock(draft.source.tempo, [before[-1].onset, after[0].onset])
        word = Pitch(move.string.step, move.after, move.string.octave).label
        if before[-1].source.end > move.onset:
            yield _finding(draft, "K3", f"{before[-1].pitch.label} is held while its lever moves "
                           f"to {word}: damp it first", move.onset, before[-1:])
        elif end - start < quick:
            yield _finding(draft, "K3", f"{before[-1].pitch.label} and {word} lie on one string, "
                           f"{end - start:.1f} s apart: the lever cuts the ring", move.onset,
                           (before[-1], after[0]))
