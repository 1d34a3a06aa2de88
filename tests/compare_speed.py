"""Whole ``convert`` processes beside music21 reading and writing the same file.

``python -m tests.compare_speed FILE ... [--runs N] [--page] [--io] [--processor]`` prints medians
in seconds and their ratio for every file, and the median ratio. ``--io``: our reading and writing
alone, nothing arranged. ``--processor``: processor time in place of the clock, for a machine that
has other work. Both programs run from compiled modules, as installed.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

MUSIC21 = ("import sys, music21; "
           "music21.converter.parse(sys.argv[1], forceSource=True)"
           ".write('musicxml', fp=sys.argv[2])")


#: The source opened, its harp part laid out, read, and written again as it is.
OURS = """
import sys
from pathlib import Path
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_choice import choose_parts
from arranger.io.source import open_source
from arranger.passes.start import start
root = open_source(Path(sys.argv[1]))
part = as_harp_part(root, choose_parts(root))
document = read(part.root, sys.argv[1])
Path(sys.argv[2]).write_bytes(write(document, start(document.score, part.part_id)))
"""


def seconds(command: list[str], processor: bool) -> float:
    """Run a command; by the clock, or processor time of it and what it started."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=False, capture_output=True, env=env)
    if not processor:
        return time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def compare(path: Path, asked: argparse.Namespace) -> tuple[float, float]:
    """Median seconds of ours and of music21, runs taken in turn."""
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as folder:
        mine = [sys.executable, "-m", "arranger", "convert", str(path), "-o", folder]
        if not asked.page:
            mine.append("--no-page")
        if asked.io:
            mine = [sys.executable, "-c", OURS, str(path), f"{folder}/ours.musicxml"]
        other = [sys.executable, "-c", MUSIC21, str(path), f"{folder}/twin.musicxml"]
        for _ in range(asked.runs):
            ours.append(seconds(mine, asked.processor))
            theirs.append(seconds(other, asked.processor))
    return median(ours), median(theirs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--page", action="store_true", help="with report.html")
    parser.add_argument("--io", action="store_true", help="reading and writing alone")
    parser.add_argument("--processor", action="store_true", help="processor time")
    asked = parser.parse_args()
    ratios = []
    for path in asked.files:
        ours, theirs = compare(path, asked)
        ratios.append(ours / theirs)
        print(f"{path.name[:40]:40}  {ours:6.2f}  {theirs:6.2f}  {ours / theirs:5.2f}", flush=True)
    print(f"median ratio {median(ratios):.2f}, worst {max(ratios):.2f}")


if __name__ == "__main__":
    main()
