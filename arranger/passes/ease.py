"""Easier drafts: each level is thinned from the draft of the level above, so they are nested."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from arranger.model.draft import Draft, HarpNote
from arranger.model.errors import ChoiceError
from arranger.model.ledger import Alteration, Drop, Ledger
from arranger.model.score import Measure, NoteId, Score
from arranger.passes.account import net
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.passes.start import as_source, on_source
from arranger.plan.recall import Recall
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, slices
from arranger.rulebook.reduction import EASIEST, HARDEST, Budget, load_reduction

STAGE = "ease"
EASIER = "left out to make the part easier"
#: What attacks weigh (assumption): at the start of a bar, in its middle, on a beat; for closing
#: a phrase (so many quarter notes pass until the next), a tune note for each quarter note it lasts;
#: and the share of an attack's weight that its bass keeps alone.
_DOWNBEAT, _MIDDLE, _BEAT = 100, 40, 12
_CLOSING, _CLOSE, _LASTING = 200, 2, 20
_BASS_ALONE = Fraction(4, 5)
_EPS = 1e-9
Progress = Callable[[str], None]


def arrange_within(score: Score, part: str, settings: Settings, ease: int = 0,
                   progress: Progress = lambda _: None, recall: Recall | None = None) -> Draft:
    """Arrange a part within a budget of difficulty: 1, the easiest, to 5; 0 for none.

    The notes of a level are notes of every harder one: from level to level the draft itself is
    thinned and arranged again. ``recall``: takes in what the first look at the score finds.

    Raises
    ------
    ChoiceError
        There is no such level.
    """
    if ease and not EASIEST <= ease <= HARDEST:
        raise ChoiceError(f"--ease is {EASIEST}, the easiest, to {HARDEST}, not {ease}")
    draft = arrange(score, part, settings, progress, recall).draft
    later = replace(settings, ensemble=None)
    for level in range(HARDEST - 1, ease - 1, -1) if ease else ():
        progress(f"making it easier, level {level}")
        reason = f"{EASIER} (already at ease {level})" if level > ease else EASIER
        draft = eased(draft, level, later, reason, progress) or draft
    return draft


def eased(draft: Draft, level: int, settings: Settings, reason: str = EASIER,
          progress: Progress = lambda _: None) -> Draft | None:
    """Thin a draft to a level and arrange it again; None if it has no note over the budget."""
    fewer = thinned(draft, load_reduction().budget(level), level, reason)
    if len(fewer.notes) == len(draft.notes):
        return None
    again = arrange(as_source(fewer), draft.part, settings, progress).draft
    return _told(draft.source, draft.part, again, fewer, settings)


def thinned(draft: Draft, budget: Budget, level: int, reason: str = "") -> Draft:
    """Leave out what is over the budget: attacks too close first, then notes too many at once.

    Of attacks too close those stay that weigh most together by their place in the bar, and the
    chords that close a phrase, for the tune and for the accompaniment apart (exact). A bass note
    on a strong beat may come as soon as a tune note. Of what is struck at once the tune stays
    first, then the bass, then what tells the harmony. A note that follows one of its voice that
    went goes too if its place is weaker: no short note stays without the long one before it.
    """
    known = roles(draft.notes)
    parts = slices([n for n in draft.notes if not n.source.grace], draft.source.tempo)
    taken = _taken(parts, known, budget, draft.source)
    kept = {n.id for row in taken for n in row}
    kept -= _left_behind(parts, kept, known, draft.source)
    sounding = {s.onset for s in parts if any(n.id in kept for n in s.notes)}
    kept |= {n.id for n in draft.notes if n.source.grace and level > 2 and n.onset in sounding}
    made = tuple(Alteration(Drop(n.id), "T1", STAGE, reason or EASIER)
                 for n in draft.notes if n.id not in kept)
    return replace(draft, notes=tuple(n for n in draft.notes if n.id in kept),
                   ledger=draft.ledger.plus(*made))


class _Attack(NamedTuple):
    """One way of taking an attack: its notes, and what it may follow no sooner than ``need``."""

    at: int  # index of its slice
    seconds: float
    need: float
    weight: Fraction
    notes: tuple[HarpNote, ...]


def _taken(parts: Sequence[Slice], known: Mapping[NoteId, Role], budget: Budget,
           score: Score) -> list[list[HarpNote]]:
    """Notes of each attack within the budget, the worthiest first."""
    tunes: list[_Attack] = []
    others: list[_Attack] = []
    for at, here in enumerate(parts):
        first, *rest = sorted(here.notes, key=lambda n: _rank(n, known[n.id]))
        weight = _weight(parts, at, score)
        if known[first.id].tune:
            lasting = _LASTING * min(first.source.duration, Fraction(2))
            tunes.append(_Attack(at, here.seconds, budget.tune, weight + lasting, (first,)))
        else:
            rest = [first, *rest]
        others += _accompaniment(at, here, rest, weight, known, budget)
    sung, struck = ({a.at: a.notes for a in _spaced(attacks)} for attacks in (tunes, others))
    possible = {a.at for a in tunes}
    found = []
    for at in range(len(parts)):
        silent = at in possible and at not in sung
        row = [n for n in struck.get(at, ()) if not (silent and known[n.id].tune)]
        found.append([*sung.get(at, ()), *row][:budget.together])
    return found


def _accompaniment(at: int, here: Slice, notes: Sequence[HarpNote], weight: Fraction,
                   known: Mapping[NoteId, Role], budget: Budget) -> Iterator[_Attack]:
    """Ways of taking what goes with the tune: all of it, or its bass alone and then sooner."""
    bass = tuple(n for n in notes if known[n.id].bass)[:1]
    strong = weight >= _MIDDLE
    weight *= 1 + len(bass)
    if bass and strong:
        yield _Attack(at, here.seconds, budget.tune, weight * _BASS_ALONE, bass)
    if notes:
        yield _Attack(at, here.seconds, budget.accompaniment, weight, tuple(notes))


def _spaced(attacks: Sequence[_Attack]) -> list[_Attack]:
    """Choose attacks that weigh most together, each in its own time after the one before."""
    times = [a.seconds for a in attacks]
    best: list[tuple[Fraction, int]] = [(Fraction(0), -1)]  # weight up to here, the last taken
    before: list[int] = []
    for at, attack in enumerate(attacks):
        latest = attack.seconds - max(attack.need - _EPS, _EPS)
        before.append(bisect_right(times, latest))
        whole = attack.weight + best[before[at]][0]
        best.append((whole, at) if whole > best[at][0] else best[at])
    found = []
    last = best[-1][1]
    while last >= 0:
        found.append(attacks[last])
        last = best[before[last]][1]
    return found


def _weight(parts: Sequence[Slice], at: int, score: Score) -> Fraction:
    """What an attack weighs by its place in the bar, and for closing a phrase."""
    here = parts[at]
    weight = _place_weight(here.onset, score.measure_at(here.onset))
    last = at + 1 == len(parts)
    until = max(n.source.end for n in here.notes) if last else parts[at + 1].onset
    closes = until - here.onset >= _CLOSE or (last and weight >= _BEAT) or any(
        "fermata" in n.source.marks for n in here.notes)
    return Fraction(weight + (_CLOSING if closes else 0))


def _place_weight(onset: Fraction, bar: Measure) -> int:
    """The start of the bar weighs most, then its middle, the beats, and their parts."""
    whole = Fraction(4 * bar.beats, bar.beat_type)
    place = onset - bar.onset
    if bar.index == 0 and bar.duration < whole:
        place += whole - bar.duration  # an upbeat
    place = place * bar.beat_type / 4
    compound = bar.beats > 3 and bar.beats % 3 == 0
    if place == 0:
        return _DOWNBEAT
    if bar.beats > 2 and bar.beats % 2 == 0 and place == Fraction(bar.beats, 2):
        return _MIDDLE
    beat = place / 3 if compound else place
    return {1: _BEAT, 2: 5, 3: 5, 4: 2}.get(beat.denominator, 1)


def _left_behind(parts: Sequence[Slice], kept: Collection[NoteId], known: Mapping[NoteId, Role],
                 score: Score) -> set[NoteId]:
    """Inner notes at weaker places than the note before in their voice, which went."""
    last: dict[tuple[int, str], list[HarpNote]] = {}
    gone: set[NoteId] = set()
    for here in parts:
        voices: dict[tuple[int, str], list[HarpNote]] = {}
        for note in here.notes:
            voices.setdefault((note.source.staff, note.source.voice), []).append(note)
        weight = _place_weight(here.onset, score.measure_at(here.onset))
        for voice, notes in voices.items():
            before = last.get(voice, [])
            if before and all(n.id not in kept or n.id in gone for n in before) and \
                    max(n.source.end for n in before) == here.onset and \
                    _place_weight(before[0].onset, score.measure_at(before[0].onset)) > weight:
                gone |= {n.id for n in notes if not (known[n.id].tune or known[n.id].bass)}
        last |= voices
    return gone


def _rank(note: HarpNote, role: Role) -> tuple[bool, bool, bool, bool, Fraction]:
    return (not role.tune, not role.bass, role.doubled, not role.colour, -note.source.duration)


def _told(score: Score, part: str, again: Draft, before: Draft,
          settings: Settings) -> Draft:
    """The draft told against the source: its notes where they came from, one ledger."""
    entries = before.ledger.entries + again.ledger.entries
    return net(replace(again, source=score, notes=on_source(again.notes, score, part),
                       ledger=Ledger(entries)), settings)
