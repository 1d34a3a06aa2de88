"""What is asked for and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.model.diagnostic import Diagnostic
from arranger.model.errors import ArrangerError

Progress = Callable[[str], None]


class SelfCheckError(ArrangerError):
    """The draft does not agree with its own ledger or written form: a fault of this program."""

    exit_status = 3


@dataclass(frozen=True, slots=True)
class Request:
    """What to arrange or check, and for whom. ``tempo`` in quarter notes a minute at the start.

    ``transpose``: semitones, or ``best`` for the transposition within a fourth that suits the harp.
    ``sung_range``: lowest and highest note that kept parts may then have (``C4-F5``).
    ``limits`` (``span_steps=8``) set single limits of the player. ``rules`` (``P3=off``) and
    ``rules_file`` say how severe a check is to be. ``take``: ids of options; ``choices``: their
    file; ``part_is_harp``: the source is a harp part, kept as it is but for what is chosen.
    ``bars``: first and last bar to look at for options; ``what_if``: one option, only priced.
    ``prove``: take longer to prove how near the draft is to the best. ``keep``: parts other
    players keep; ``tune``: parts that hold the tune; ``ease``: 1, the easiest, to 5; 0 is no
    limit. ``chords``: the left hand plays the chord symbols. ``seats``: the harps and players of
    an ensemble. ``fingering``, ``pedals``, ``damping``: which of these signs are written.
    """

    source: Path
    parts: tuple[str, ...] = ()
    harp: str = "pedal-47"
    player: str = "average"
    tempo: Fraction | None = None
    transpose: str = ""
    limits: tuple[str, ...] = ()
    fingering: str = "all"
    pedals: str = "all"
    damping: str = "all"
    page: bool = True
    pdf: bool = False
    wav: bool = False
    bundle: bool = False
    verify: bool = False
    prove: bool = False
    rules: tuple[str, ...] = ()
    rules_file: Path | None = None
    take: tuple[str, ...] = ()
    choices: Path | None = None
    part_is_harp: bool = False
    bars: str = ""
    what_if: str = ""
    keep: tuple[str, ...] = ()
    tune: tuple[str, ...] = ()
    ease: int = 0
    seats: tuple[str, ...] = ()
    sung_range: str = ""
    chords: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """Report object and the files as they would be (or were) written."""

    report: Mapping[str, Any]
    files: Mapping[str, bytes]
    incomplete: bool = False
    errors: tuple[Diagnostic, ...] = ()
