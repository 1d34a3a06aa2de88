"""Edits and the ledger: every change of a note, with its rule, stage and reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.model.pitch import Pitch
from arranger.model.score import NoteId


@dataclass(frozen=True, slots=True)
class Drop:
    """The note is left out."""

    note: NoteId


@dataclass(frozen=True, slots=True)
class Merge:
    """The note is given up because ``into`` sounds the same pitch at the same time."""

    note: NoteId
    into: NoteId


@dataclass(frozen=True, slots=True)
class Repitch:
    """The note sounds another pitch."""

    note: NoteId
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class OctaveShift:
    """The note sounds some octaves higher or lower, on the spelling ``pitch``."""

    note: NoteId
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class Respell:
    """The same sound on the other string."""

    note: NoteId
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class GiveToHand:
    """The note goes to the other hand than its staff suggests."""

    note: NoteId
    hand: str


@dataclass(frozen=True, slots=True)
class Roll:
    """The note's chord is rolled."""

    note: NoteId


@dataclass(frozen=True, slots=True)
class Add:
    """A note that the source has not, played as ``pitch`` by ``hand``."""

    note: NoteId
    pitch: Pitch
    hand: str


Edit = Drop | Merge | Repitch | OctaveShift | Respell | GiveToHand | Roll | Add
KINDS: dict[type, str] = {Drop: "drop", Merge: "merge", Repitch: "repitch", OctaveShift: "octave",
                          Respell: "respell", GiveToHand: "hand", Roll: "roll", Add: "add"}
SAME_SOUND = (Respell, GiveToHand, Roll)
Fidelity = Literal["same-sound", "other-sound"]


@dataclass(frozen=True, slots=True)
class Alteration:
    """One edit with the rule that asked for it, the stage that made it and why."""

    edit: Edit
    rule: str
    stage: str
    reason: str

    @property
    def kind(self) -> str:
        """Word used in the report: drop, merge, repitch, octave, respell, hand, roll or add."""
        return KINDS[type(self.edit)]

    @property
    def fidelity(self) -> Fidelity:
        """Whether the ear hears the same pitches."""
        return "same-sound" if isinstance(self.edit, SAME_SOUND) else "other-sound"


@dataclass(frozen=True, slots=True)
class Ledger:
    """Alterations in the order they were made; append only."""

    entries: tuple[Alteration, ...] = ()

    def plus(self, *more: Alteration) -> Ledger:
        """Return the ledger with further entries."""
        return Ledger(self.entries + more)
