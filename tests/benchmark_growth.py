"""Time and memory of whole conversions as a piece grows: ``python -m tests.benchmark_growth``.

A demo score is laid end to end until it has so many bars. Each size is a process of its own; the
table tells seconds of processor time, peak memory and, between the sizes, the exponent of growth
(1.0: twice the bars take twice the time).
"""

from __future__ import annotations

import argparse
import copy
import math
import os
import subprocess
import sys
import tempfile
from itertools import cycle, islice, pairwise
from pathlib import Path

from lxml import etree

ROOT = Path(__file__).resolve().parents[1]
SCORE = ROOT / "corpus" / "the-mill-race" / "score.musicxml"
SIZES = (100, 300, 1000, 3000, 10_000)


def tiled(score: Path, bars: int) -> bytes:
    """Return a score laid end to end, cut at so many bars, without repeats."""
    root = etree.parse(score).getroot()
    for part in root.iterfind("part"):
        measures = part.findall("measure")
        for measure in measures:
            part.remove(measure)
            for barline in measure.findall("barline"):
                measure.remove(barline)
        for number, measure in enumerate(islice(cycle(measures), bars), start=1):
            twin = copy.deepcopy(measure)
            twin.set("number", str(number))
            part.append(twin)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


def conversion(path: Path, out: Path) -> tuple[float, int]:
    """Return seconds of processor time and peak memory in MB of a conversion without a page."""
    command = [sys.executable, "-m", "arranger", "convert", str(path), "-o", str(out), "--no-page"]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1):
        raise RuntimeError(f"convert ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss // 1024


def main(argv: list[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark_growth", description=__doc__)
    parser.add_argument("sizes", nargs="*", type=int, default=SIZES)
    parser.add_argument("--score", type=Path, default=SCORE)
    options = parser.parse_args(argv)
    rows = []
    print("  bars  seconds  peak MB", flush=True)
    with tempfile.TemporaryDirectory() as place:
        for bars in options.sizes:
            path = Path(place) / f"{bars}.musicxml"
            path.write_bytes(tiled(options.score, bars))
            seconds, peak = conversion(path, Path(place) / "out")
            rows.append((bars, seconds))
            print(f"{bars:6}  {seconds:7.2f}  {peak:7}", flush=True)
    for (few, quick), (many, slow) in pairwise(rows):
        print(f"{few} to {many} bars: exponent {math.log(slow / quick) / math.log(many / few):.2f}")


if __name__ == "__main__":
    main()
