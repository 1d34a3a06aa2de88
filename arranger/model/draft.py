"""A draft: one whole answer, the notes on their strings, the pedals, the ledger, the price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from arranger.model.harp import HarpString, PedalSetting
from arranger.model.ledger import Ledger
from arranger.model.levers import LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId, Score


@dataclass(frozen=True, slots=True)
class HarpNote:
    """A source note as the harp plays it. ``source`` keeps place, voice and marks.

    ``pitch`` is spelled as the string to pluck; ``hand`` R or L; ``finger`` 1 (thumb) to 4;
    ``sung``: where several parts become one, it is of the part that has the tune.
    """

    source: Note
    pitch: Pitch
    hand: str = "R"
    finger: int | None = None
    rolled: bool = False
    sung: bool = False

    @property
    def id(self) -> NoteId:
        """Id of the source note."""
        return self.source.id

    @property
    def onset(self) -> Fraction:
        """Onset in quarter notes."""
        return self.source.onset

    @property
    def string(self) -> HarpString:
        """The string that is plucked."""
        return HarpString.of(self.pitch)


@dataclass(frozen=True, slots=True)
class PedalMove:
    """One pedal moved at ``onset`` (quarter notes; need not be an onset of a note)."""

    onset: Fraction
    seconds: float
    pedal: str
    before: int
    after: int

    @property
    def foot(self) -> str:
        """L for D C B, R for E F G A."""
        return "L" if self.pedal in "DCB" else "R"

    @property
    def notches(self) -> int:
        """1, or 2 from flat to sharp or back."""
        return abs(self.after - self.before)


@dataclass(frozen=True, slots=True)
class PedalPlan:
    """Opening setting, moves in order, and how the strings without discs are tuned."""

    opening: PedalSetting = PedalSetting()
    moves: tuple[PedalMove, ...] = ()
    fixed: Mapping[HarpString, int] = field(default_factory=dict)

    def at(self, onset: Fraction) -> PedalSetting:
        """Setting in force for a note plucked at ``onset``."""
        setting = self.opening
        for move in self.moves:
            if move.onset > onset:
                break
            setting = setting.with_pedal(move.pedal, move.after)
        return setting


@dataclass(frozen=True, slots=True)
class Damp:
    """Strings silenced by a hand (R or L) at ``onset``: those on which ``notes`` still ring.

    ``rule``: R2, for the harmony that enters, or P2, for a pedal that moves.
    """

    onset: Fraction
    seconds: float
    hand: str
    notes: tuple[HarpNote, ...]
    rule: str = "R2"


@dataclass(frozen=True, slots=True)
class Draft:
    """Source, notes on the harp, pedals, ledger and cost. ``part`` is the arranged part's id.

    ``cost`` maps term names to integers; ``bound`` is a proven lower bound on their sum,
    ``stays`` what was paid to leave what is written where a change would save too little.
    ``levers`` is set for every harp without pedals, also where none is moved. ``damps``: where a
    hand silences strings, in order of time.
    """

    source: Score
    part: str
    notes: tuple[HarpNote, ...]
    plan: PedalPlan = PedalPlan()
    ledger: Ledger = Ledger()
    cost: Mapping[str, int] = field(default_factory=dict)
    bound: int = 0
    stays: int = 0
    levers: LeverPlan | None = None
    damps: tuple[Damp, ...] = ()

    @property
    def total(self) -> int:
        """Sum of the cost terms."""
        return sum(self.cost.values())
