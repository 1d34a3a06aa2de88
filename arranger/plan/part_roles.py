"""The role of every part in one phrase: tune, bass, counter-tune, harmony, rhythm, doubling."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from arranger.model.ensemble import Ensemble, PartId
from arranger.model.score import Note
from arranger.plan.part_names import hint
from arranger.rulebook.reduction import Reduction

#: In the order in which they are given up.
ORDER = ("covered", "doubling", "rhythm", "harmony", "counter-tune", "bass", "tune")
_WORDS = {"covered": "line that another player has"}


@dataclass(frozen=True, slots=True)
class PartRole:
    """Role of a part in a phrase; ``of`` is the part it doubles; ``worth`` grows with its use."""

    name: str
    of: PartId = ""
    worth: float = 0.0

    @property
    def word(self) -> str:
        """Name of the role for a reader."""
        return _WORDS.get(self.name, self.name)

    @property
    def rank(self) -> tuple[int, float]:
        """The lowest goes first."""
        return ORDER.index(self.name), self.worth


@dataclass(frozen=True, slots=True)
class Features:
    """How a part moves in a phrase; all but ``register`` (mean MIDI pitch) are shares of 1.

    ``top`` and ``bottom``: of the phrase's sounding time; ``repeats``: notes like the one before;
    ``motion``: different pitches among its notes.
    """

    top: float
    bottom: float
    register: float
    repeats: float
    motion: float


def features(lines: Mapping[PartId, Sequence[Note]]) -> dict[PartId, Features]:
    """Measure every part of a phrase that has notes in it."""
    top, bottom, whole = _outer(lines)
    found = {}
    for part, notes in lines.items():
        if notes:
            tones = [n.midi for n in notes]
            found[part] = Features(
                float(top[part] / whole) if whole else 0.0,
                float(bottom[part] / whole) if whole else 0.0,
                sum(tones) / len(tones),
                sum(a == b for a, b in pairwise(tones)) / max(1, len(tones) - 1),
                len(set(tones)) / len(tones))
    return found


def part_roles(lines: Mapping[PartId, Sequence[Note]], ensemble: Ensemble,
               covered: Collection[tuple[Fraction, int]],
               rules: Reduction) -> dict[PartId, PartRole]:
    """Give every part that has notes in a phrase its role.

    Parameters
    ----------
    lines : notes of the phrase by part, without grace notes.
    covered : onset and MIDI pitch of what other players' lines strike.
    """
    known = features(lines)
    if not known:
        return {}
    struck = {part: {(n.onset, n.midi) for n in lines[part]} for part in known}
    tune = _tune(known, ensemble, rules)
    lowest = max(known, key=lambda p: (known[p].bottom, -known[p].register))
    follows, leads = rules.number("roles", "follows"), rules.number("roles", "leads")
    roles: dict[PartId, PartRole] = {}
    for part in sorted(known, key=lambda p: (p not in ensemble.tune, p != tune, -known[p].top,
                                             -known[p].bottom, p)):
        mine = known[part]
        if part == tune or part in ensemble.tune:
            role = PartRole("tune")
        elif _share(struck[part], covered) >= follows:
            role = PartRole("covered", worth=mine.top)
        elif part == lowest:
            role = PartRole("bass")
        elif other := _doubled(struck, part, roles, follows):
            role = PartRole("doubling", other, mine.top + mine.bottom)
        elif mine.top >= leads or mine.bottom >= leads:
            role = PartRole("counter-tune", worth=mine.top + mine.bottom)
        elif (mine.repeats >= rules.number("roles", "repeats")
              or hint(ensemble.names.get(part, "")) == "rhythm"):
            role = PartRole("rhythm", worth=mine.motion)
        else:
            role = PartRole("harmony", worth=mine.motion)
        roles[part] = role
    return roles


def _tune(known: Mapping[PartId, Features], ensemble: Ensemble, rules: Reduction) -> PartId:
    """The part on top for longest; a name that says tune counts for it, repetition against."""
    def score(part: PartId) -> tuple[float, float]:
        named = hint(ensemble.names.get(part, "")) == "tune"
        mine = known[part]
        return (mine.top + named * rules.number("roles", "tune_of_name")
                - mine.repeats * rules.number("roles", "tune_of_name"), mine.register)
    said = [part for part in known if part in ensemble.tune]
    return max(said or sorted(known), key=score)


def _doubled(struck: Mapping[PartId, set[tuple[Fraction, int]]], part: PartId,
             roles: Mapping[PartId, PartRole], follows: float) -> PartId:
    """The part already given a role that strikes most of this one's notes, up to octaves."""
    mine = {(onset, midi % 12) for onset, midi in struck[part]}
    shares = {other: _share(mine, {(onset, midi % 12) for onset, midi in struck[other]})
              for other in roles}
    best = max(shares, key=lambda other: shares[other], default="")
    return best if best and shares[best] >= follows else ""


def _share(mine: Collection[tuple[Fraction, int]],
           others: Collection[tuple[Fraction, int]]) -> float:
    return sum(place in others for place in mine) / len(mine) if mine else 0.0


def _outer(lines: Mapping[PartId, Sequence[Note]]) -> tuple[
        dict[PartId, Fraction], dict[PartId, Fraction], Fraction]:
    """Time for which each part is the highest, and the lowest, and in which anything sounds."""
    top = dict.fromkeys(lines, Fraction(0))
    bottom, whole = dict(top), Fraction(0)
    notes = sorted(((n.onset, n.end, n.midi, p) for p, mine in lines.items() for n in mine))
    moments = sorted({t for onset, end, _, _ in notes for t in (onset, end)})
    live: list[tuple[Fraction, int, PartId]] = []
    at = 0
    for here, after in pairwise(moments):
        live = [entry for entry in live if entry[0] > here]
        while at < len(notes) and notes[at][0] <= here:
            live.append(notes[at][1:])
            at += 1
        if live:
            top[max(live, key=lambda e: e[1])[2]] += after - here
            bottom[min(live, key=lambda e: e[1])[2]] += after - here
            whole += after - here
    return top, bottom, whole
