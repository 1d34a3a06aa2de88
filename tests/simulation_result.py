"""What the replay of a harp part reports: findings, moves, limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

HARD = ("B1", "B1b", "B1d", "B2", "B2b", "B3", "B4", "B5a", "B5b", "B5n", "B6", "B7", "B8")
APART = ("B5c",)
WARNINGS = ("W-restrike", "W-foot", "W-rh-low", "W-lh-high", "W-held", "W-held-early", "W-box")
LEFT_FOOT = "DCB"


@dataclass(frozen=True, slots=True)
class Limits:
    """What the player and the harp allow; times in seconds, spans in string steps."""

    strings: int = 4
    span: int = 9
    foot_gap: float = 0.25
    foot_sustained: float = 0.5
    restrike: float = 0.10
    restrike_slow: float = 0.25
    lead: float = 0.1
    lowest: str = "C1"
    highest: str = "G7"
    fixed: tuple[str, ...] = ("C1", "D1", "G7")
    right_lowest: str = "G2"
    left_highest: str = "E6"


@dataclass(frozen=True, slots=True)
class Finding:
    """One violation with its place; ``turn`` says at which passage of the bar (1 = first)."""

    code: str
    bar: str
    bar_index: int
    onset: Fraction
    message: str
    turn: int = 1

    def __str__(self) -> str:
        again = f" (passage {self.turn})" if self.turn > 1 else ""
        return f"{self.code} bar {self.bar} [{self.bar_index + 1}] at {self.onset}{again}: " \
               f"{self.message}"


@dataclass(frozen=True, slots=True)
class Move:
    """A pedal move as played; ``before`` is None while the pedal's place is unknown."""

    onset: Fraction
    seconds: float
    letter: str
    before: int | None
    after: int
    turn: int

    @property
    def foot(self) -> str:
        """L for D C B, R for E F G A."""
        return "L" if self.letter in LEFT_FOOT else "R"


@dataclass(frozen=True, slots=True)
class SimulationResult:
    """What the replay found. ``moves`` are as played; ``plucks`` counts written attacks."""

    findings: tuple[Finding, ...]
    opening: Mapping[str, int]
    moves: tuple[Move, ...]
    plucks: int
    counts: Mapping[str, int] = field(default_factory=dict)

    @property
    def violations(self) -> int:
        """Sum over group B (B5c and warnings left out)."""
        return sum(self.counts[c] for c in HARD)

    @property
    def written_moves(self) -> tuple[Move, ...]:
        """Each written move once, at its first passage."""
        return first_passages(self.moves)

    def of(self, *codes: str) -> tuple[Finding, ...]:
        """Findings of these codes."""
        return tuple(f for f in self.findings if f.code in codes)


def first_passages(moves: Iterable[Move]) -> tuple[Move, ...]:
    """Each written move once, as it is first played."""
    first: dict[tuple[Fraction, str], Move] = {}
    for move in moves:
        first.setdefault((move.onset, move.letter), move)
    return tuple(first.values())
