"""Damping marks of a folder of scores, hands by staff: ``python -m tests.measure_damping DIR``.

Prints a line a file and the sum: bars, places where wire strings blur a harmony, marks, and the
exposure (level times seconds) without and with them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from arranger.io.musicxml_read import read
from arranger.io.part_choice import choose_parts
from arranger.io.source import open_source
from arranger.passes.start import start
from arranger.plan.damping import damped
from arranger.rulebook.harps import load_harp

Figures = tuple[int, int, int, float, float]


def figures(path: Path) -> Figures:
    """Bars, blurs, marks, exposure without and with the marks."""
    root = open_source(path)
    score = read(root, path.name).score
    draft = start(score, choose_parts(root, harp_first=True)[-1])
    found = damped(draft.notes, score, load_harp("pedal-47").wire_top)
    heard = [blur.exposure() - (blur.exposure(damp.seconds) if damp else 0)
             for blur, damp in found]
    return (len(score.measures), len(found), sum(damp is not None for _, damp in found),
            sum(blur.exposure() for blur, _ in found), sum(heard))


def lines(folder: Path) -> Iterator[str]:
    """The table, line by line."""
    total = [0.0] * 5
    yield f"{'bars':>6} {'blurs':>6} {'marks':>6} {'before':>7} {'after':>7}"
    for path in sorted(folder.glob("*.mxl")):
        row = figures(path)
        total = [a + b for a, b in zip(total, row, strict=True)]
        yield "{:6} {:6} {:6} {:7.1f} {:7.1f}".format(*row) + f"  {path.stem[:60]}"
    yield "{:6.0f} {:6.0f} {:6.0f} {:7.1f} {:7.1f}".format(*total) + (
        f"  {100 * total[2] / max(total[0], 1):.2f} marks per 100 bars")


if __name__ == "__main__":
    print("\n".join(lines(Path(sys.argv[1]))))
