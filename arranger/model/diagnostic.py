"""What a check has to say: data, never exceptions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.model.score import Location, NoteId

Severity = Literal["error", "warning", "advice"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A way out of a finding, with the change of the total cost where known."""

    title: str
    fidelity: str
    cost: int | None = None


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """A finding: rule code and name, how bad, one sentence, the notes, what would help."""

    code: str
    name: str
    severity: Severity
    message: str
    where: Location
    notes: tuple[NoteId, ...] = ()
    part: str = ""
    remedies: tuple[Remedy, ...] = ()
