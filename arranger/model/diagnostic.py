"""What a check has to say: data, never exceptions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.model.mark_edits import PartEdit
from arranger.model.score import Location, NoteId

Severity = Literal["error", "warning", "advice"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A way out of a finding, with the change of the total cost where known.

    ``edits`` are ready to be applied; empty where the remedy is only told.
    """

    title: str
    fidelity: str
    cost: int | None = None
    edits: tuple[PartEdit, ...] = ()


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """A finding: rule code and name, how bad, one sentence, the notes, what would help.

    ``staff`` counts from 1 at the top; 0 where the finding is about no staff. ``limit``: fastest
    crotchets a minute at which it would be none; ``again``: further places of what is said once.
    """

    code: str
    name: str
    severity: Severity
    message: str
    where: Location
    notes: tuple[NoteId, ...] = ()
    part: str = ""
    remedies: tuple[Remedy, ...] = ()
    staff: int = 0
    limit: int | None = None
    again: tuple[Location, ...] = ()
