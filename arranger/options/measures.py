"""What a whole draft keeps and asks for: the figures by which drafts are compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import NoteId
from arranger.options.risk import played
from arranger.options.spots import risks
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.roles import roles
from arranger.plan.slices import Slice
from arranger.rulebook.players import Player


@dataclass(frozen=True, slots=True)
class Measures:
    """Figures of a draft. Shares are of the source, 0 to 1; ``ceiling`` in crotchets a minute.

    ``tune`` and ``bass`` by duration, ``harmony`` by pitch classes at each attack. ``hardest``: the
    bar in which most of what is hard to play gathers, and how much.
    """

    notes_kept: float
    tune: float
    bass: float
    harmony: float
    pedals: int
    two_notch: int
    collisions: int
    widest: int
    hardest_bar: str
    hardest: int
    ceiling: int

    @property
    def better(self) -> tuple[float, ...]:
        """All figures such that more is better."""
        return (self.notes_kept, self.tune, self.bass, self.harmony, -self.pedals,
                -self.two_notch, -self.collisions, -self.widest, -self.hardest, self.ceiling)

    def told(self) -> dict[str, float | int | str]:
        """The figures by name, as in a report."""
        return {"notes_kept": round(self.notes_kept, 4), "tune": round(self.tune, 4),
                "bass": round(self.bass, 4), "harmony": round(self.harmony, 4),
                "pedal_moves": self.pedals, "two_notch": self.two_notch,
                "collisions": self.collisions, "widest": self.widest,
                "hardest_bar": self.hardest_bar, "hardest": self.hardest,
                "tempo_ceiling": self.ceiling}


def measure(draft: Draft, settings: Settings) -> Measures:
    """Take the figures of a draft; the prices of ``settings`` weigh what is hard."""
    first = start(draft.source, draft.part)
    part_roles = roles(first.notes)
    source = [n for n in first.notes if not n.source.grace]
    sounding = {(n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace}
    found = risks(draft, settings)
    bars: Counter[int] = Counter()
    for one in (r for r in found if r.kind != "altered"):  # a note less is easier, not harder
        bars[draft.source.measure_at(one.onset).index] += one.weight
    worst = max(bars, key=lambda b: (bars[b], -b), default=0)
    here = played(draft)
    return Measures(
        notes_kept=_share({n.id: Fraction(1) for n in source}, source, sounding),
        tune=_share({i: r.tune for i, r in part_roles.items()}, source, sounding),
        bass=_share({i: r.bass for i, r in part_roles.items()}, source, sounding),
        harmony=_harmony(source, draft),
        pedals=len(draft.plan.moves),
        two_notch=sum(m.notches == 2 for m in draft.plan.moves),
        collisions=sum(r.kind == "collision" for r in found),
        widest=max((_span(s, hand) for s in here for hand in "RL"), default=0),
        hardest_bar=draft.source.measures[worst].number if bars else "",
        hardest=bars[worst],
        ceiling=_ceiling(draft, here, settings.player))


def _share(weights: Mapping[NoteId, Fraction], source: list[HarpNote],
           sounding: set[tuple[Fraction, int]]) -> float:
    whole = sum((weights[n.id] for n in source), Fraction(0))
    kept = sum((weights[n.id] for n in source if (n.onset, n.pitch.midi) in sounding), Fraction(0))
    return float(kept / whole) if whole else 1.0


def _harmony(source: list[HarpNote], draft: Draft) -> float:
    wanted: dict[Fraction, set[int]] = {}
    given: dict[Fraction, set[int]] = {}
    for notes, table in ((source, wanted), (draft.notes, given)):
        for note in notes:
            if not note.source.grace:
                table.setdefault(note.onset, set()).add(note.pitch.pitch_class)
    whole = sum(map(len, wanted.values()))
    kept = sum(len(classes & given.get(onset, set())) for onset, classes in wanted.items())
    return kept / whole if whole else 1.0


def _span(here: Slice, hand: str) -> int:
    """Strings from the lowest to the highest that a hand takes at once."""
    places = [n.string.position for n in here.notes if n.hand == hand and not n.rolled]
    return max(places) - min(places) + 1 if places else 0


def _ceiling(draft: Draft, here: tuple[Slice, ...], player: Player) -> int:
    """Opening tempo at which a foot or a repeated string is first too quick; 400 at most."""
    waits = [(two.seconds - one.seconds, player.foot_move_seconds) for foot in "RL"
             for one, two in pairwise([m for m in draft.plan.moves if m.foot == foot])]
    last: dict[int, float] = {}
    for s in here:
        for note in s.notes:
            if note.string.position in last:
                waits.append((s.seconds - last[note.string.position],
                              player.restrike_error_seconds))
            last[note.string.position] = s.seconds
    slack = min((have / need for have, need in waits if have > 0), default=1e9)
    return min(400, int(float(draft.source.tempo.marks[0].bpm) * slack))
