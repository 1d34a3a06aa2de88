"""Which key suits a harp with pedals: every key within a fourth, and each in its other spelling.

B major is C flat major to the strings: the same sound, other pedals, and open strings besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.checks.playable import findings
from arranger.model.draft import Draft
from arranger.model.harp import spellings
from arranger.model.pitch import Pitch
from arranger.model.score import Score
from arranger.passes.pipeline import arrange, mark_pedals
from arranger.passes.settings import Settings

WITHIN = 5  #: Semitones either way: a fourth.
#: Keys for which the whole draft is made.
BEST = 3
#: Letters along the line of fifths, from F.
_LINE = "FCGDAEB"
_MOST_SIGNS = 7
_SIGN = {-1: "♭", 0: "", 1: "♯"}


@dataclass(frozen=True, slots=True)
class Key:
    """One key: how far away, its signature, and what it asks of feet and harp.

    ``moves`` of pedals with every note on the string of its spelling; ``beyond``: notes that no
    pedal or string gives; ``resonance``: 1 if every note is a flat (an open string, which rings
    longest: common practice), 0 if every note is a sharp; ``total``: weight of a whole draft, for
    the best keys only.
    """

    semitones: int
    fifths: int
    moves: int
    two_notch: int
    beyond: int
    resonance: float
    bars: int
    total: int | None = None

    @property
    def rank(self) -> tuple[float, ...]:
        """Pedals first, then the sound of the harp, then the distance."""
        return (self.beyond, self.moves, -self.resonance, abs(self.semitones), self.semitones)

    @property
    def name(self) -> str:
        """The key in words: ``C♭ major or A♭ minor``."""
        return f"{_tonic(self.fifths)} major or {_tonic(self.fifths + 3)} minor"


def _tonic(place: int) -> str:
    return _LINE[(place + 1) % 7] + _SIGN[(place + 1) // 7]


def key_table(score: Score, part: str, settings: Settings) -> tuple[Key, ...]:
    """All keys within a fourth in all their spellings, the best first."""
    home = score.measures[0].fifths
    found = []
    for semitones in range(-WITHIN, WITHIN + 1):
        near = 7 * semitones % 12
        for fifths in sorted(near + turn for turn in (-24, -12, 0, 12)):
            if abs(home + fifths) <= _MOST_SIGNS:
                there = moved(score, part, semitones, fifths)
                found.append(_key(there, part, settings, semitones, home + fifths))
    found.sort(key=lambda k: k.rank)
    return tuple(
        replace(k, total=arrange(moved(score, part, k.semitones, k.fifths - home), part,
                                 settings).draft.total) if rank < BEST else k
        for rank, k in enumerate(found))


def moved(score: Score, part: str, semitones: int, fifths: int) -> Score:
    """The part some semitones away, spelled ``fifths`` further along the line of fifths."""
    notes = tuple(replace(n, pitch=_spelled(n.pitch, semitones, fifths))
                  if n.part == part else n for n in score.notes)
    bars = tuple(replace(m, fifths=m.fifths + fifths) for m in score.measures)
    return replace(score, notes=notes, measures=bars)


def _spelled(pitch: Pitch, semitones: int, fifths: int) -> Pitch:
    place = _LINE.index(pitch.step) + 7 * pitch.alter + fifths
    step, alter = _LINE[place % 7], place // 7
    if abs(alter) > 2:  # nobody writes three signs; the plainest spelling is as good
        return min(spellings(pitch.midi + semitones), key=lambda p: (abs(p.alter), p))
    octave = (pitch.midi + semitones - Pitch(step, alter, -1).midi) // 12 - 1
    return Pitch(step, alter, octave)


def _key(score: Score, part: str, settings: Settings, semitones: int, fifths: int) -> Key:
    draft = mark_pedals(score, part, settings).draft
    outside = sum(not settings.harp.spellings(n.midi) for n in score.part_notes(part))
    wrong = sum(d.code == "P1" for d in findings(draft, settings.harp, settings.player))
    return Key(semitones, fifths, len(draft.plan.moves),
               sum(m.notches == 2 for m in draft.plan.moves), outside + wrong, _resonance(draft),
               len(score.measures))


def _resonance(draft: Draft) -> float:
    whole = sum(n.source.duration for n in draft.notes)
    open_ = sum(n.source.duration * (1 - n.pitch.alter) for n in draft.notes)
    return float(open_ / (2 * whole)) if whole else 0.5


def told(keys: Sequence[Key]) -> list[str]:
    """One line a key for the terminal."""
    lines = []
    for key in keys:
        way = ("as it sounds" if not key.semitones else
               f"{'down' if key.semitones < 0 else 'up'} {abs(key.semitones)}")
        lines.append(f"{way:<13} {key.name:<22} pedals {key.moves:>3} ({key.moves / key.bars:.2f} "
                     f"a bar, {key.two_notch} of two notches), resonance {key.resonance:.2f}"
                     + (f", {key.beyond} notes beyond the harp" if key.beyond else "")
                     + (f", whole draft {key.total}" if key.total is not None else ""))
    return lines
