"""Drafts beside what a composer wrote for the harp: ``python -m tests.pairs``.

Moniuszko's Intrada of the Crimean Sonnets is there for two pianos and strings, and twice for an
orchestra with harp. The scores are aligned bar by bar, as they have the same bars. Of the bars in
which the harp plays, attacks match that have onset and pitch class in common; F weighs what is
missing and what is added alike (precision and recall of METRICS A, on attacks).
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

from tests.evaluate import convert
from tests.metrics_fidelity import attacks
from tests.reduction_baseline import as_harp
from tests.score_reading import read_score
from tests.score_values import Note

FOLDER = Path(__file__).parents[2] / "shared" / "data" / "pairs"
SOURCE, PIANO = "intrada__piano__*", "Fortepian."
OWN = (("intrada__harp__*", "Arpa."), ("intrada__harp2__*", "arfa."))
Struck = Counter[tuple[Fraction, int]]


def struck(notes: Iterable[Note]) -> Struck:
    """Onset and pitch class of every attack."""
    return Counter((n.onset, n.midi % 12) for n in attacks(notes))


def alike(notes: Sequence[Note], own: Sequence[Note]) -> float:
    """F of notes beside the composer's, in the bars of these."""
    bars = {n.bar_index for n in own}
    one, other = struck(n for n in notes if n.bar_index in bars), struck(own)
    return 2 * (one & other).total() / (one.total() + other.total())


def notes_of(pattern: str, part: str) -> list[Note]:
    """Notes of the parts of this name in the one file of this pattern."""
    (path,) = FOLDER.glob(pattern)
    return list(read_score(path).part_notes([part]))


def pianos(source: Path) -> list[str]:
    """Options that name all its piano parts."""
    score = read_score(source)
    return [word for part, name in score.parts if name == PIANO for word in ("--part", part)]


def main() -> None:
    """Print F of the draft, of the plain baseline and of the piano parts as they stand."""
    (source,) = FOLDER.glob(SOURCE)
    piano = notes_of(SOURCE, PIANO)
    with tempfile.TemporaryDirectory() as folder:
        convert(source, Path(folder), [*pianos(source), "--no-page"])
        draft = read_score((Path(folder) / "draft.musicxml").read_bytes())
    harp = list(draft.part_notes([draft.part_id("Harp")]))
    for pattern, part in OWN:
        own = notes_of(pattern, part)
        print(f"{pattern:18} draft {alike(harp, own):.3f}, baseline "
              f"{alike(as_harp(attacks(piano), lambda n: n.position), own):.3f}, piano "
              f"{alike(piano, own):.3f}")


if __name__ == "__main__":
    main()
