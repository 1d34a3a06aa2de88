"""Whole ``convert`` processes beside music21 reading and writing the same file.

``python -m tests.compare_speed FILE ... [--runs N] [--page]`` prints medians in seconds and their
ratio for every file, and the median ratio. Both programs run from compiled modules, as installed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

MUSIC21 = ("import sys, music21; "
           "music21.converter.parse(sys.argv[1], forceSource=True)"
           ".write('musicxml', fp=sys.argv[2])")


def seconds(command: list[str]) -> float:
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    begun = time.perf_counter()
    subprocess.run(command, check=False, capture_output=True, env=env)
    return time.perf_counter() - begun


def compare(path: Path, runs: int, page: bool) -> tuple[float, float]:
    """Median seconds of convert and of music21, runs taken in turn."""
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as folder:
        convert = [sys.executable, "-m", "arranger", "convert", str(path), "-o", folder]
        if not page:
            convert.append("--no-page")
        other = [sys.executable, "-c", MUSIC21, str(path), f"{folder}/twin.musicxml"]
        for _ in range(runs):
            ours.append(seconds(convert))
            theirs.append(seconds(other))
    return median(ours), median(theirs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--page", action="store_true", help="with report.html")
    asked = parser.parse_args()
    ratios = []
    for path in asked.files:
        ours, theirs = compare(path, asked.runs, asked.page)
        ratios.append(ours / theirs)
        print(f"{path.name[:40]:40}  {ours:6.2f}  {theirs:6.2f}  {ours / theirs:5.2f}", flush=True)
    print(f"median ratio {median(ratios):.2f}, worst {max(ratios):.2f}")


if __name__ == "__main__":
    main()
