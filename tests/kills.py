"""Kill a command at random moments, many times: ``python -m tests.kills convert|survey``.

Two conversions of different bytes take turns in one folder. After every kill the folder must hold
the whole output of one of them, and after the last run no litter.
"""

from __future__ import annotations

import argparse
import hashlib
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

from tests.benchmark_growth import tiled

ROOT = Path(__file__).resolve().parents[1]
SCORE = ROOT / "corpus" / "the-mill-race" / "score.musicxml"
HOWS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
State = dict[str, str]


def state(folder: Path) -> State:
    """Return the files of a folder that are not hidden, each with the hash of its content."""
    if not folder.exists():
        return {}
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())
            if p.is_file() and not p.name.startswith(".")}


def _command(command: str, source: Path, out: Path, tempo: int) -> list[str]:
    more = [] if command == "convert" else ["--jobs", "2"]
    return [sys.executable, "-m", "arranger", command, str(source), "-o", str(out), "--tempo",
            str(tempo), *more]


def campaign(command: str, count: int, seed: int) -> list[str]:
    """Return what was wrong after any of ``count`` kills."""
    random, wrong = Random(seed), []
    with tempfile.TemporaryDirectory() as place:
        source, out = _source(command, Path(place)), Path(place) / "out"
        whole, seconds = _whole(command, source, Path(place))
        for number in range(count):
            tempo, how = random.choice((50, 60)), random.choice(HOWS)
            if command == "survey":
                shutil.rmtree(out / "kept", ignore_errors=True)
            run = subprocess.Popen(_command(command, source, out, tempo), cwd=ROOT,
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            try:
                run.wait(random.uniform(0.0, 1.1 * seconds))
            except subprocess.TimeoutExpired:
                run.send_signal(how)
                run.wait()
            if state(out) not in ({}, *whole):
                wrong.append(f"kill {number} ({how.name}): {state(out)}")
            if number % 20 == 19:
                print(f"{number + 1} of {count}, {len(wrong)} faults", file=sys.stderr, flush=True)
        subprocess.run(_command(command, source, out, 50), cwd=ROOT, check=True,
                       capture_output=True)
        litter = [p.name for p in (*out.iterdir(), *out.parent.iterdir(), *out.glob("kept/*"))
                  if p.name.startswith(".")]
        wrong += [f"litter: {name}" for name in litter]
        wrong += [f"{left} processes left"] if (left := _left()) else []
    return wrong


def _source(command: str, place: Path) -> Path:
    """A few bars, so that many of the kills come while files are written."""
    if command == "convert":
        score = place / "score.musicxml"
        score.write_bytes(tiled(SCORE, 6))
        return score
    library = place / "library"
    library.mkdir()
    for bars in (4, 6):
        (library / f"{bars}.musicxml").write_bytes(tiled(SCORE, bars))
    return library


def _whole(command: str, source: Path, place: Path) -> tuple[list[State], float]:
    """Both outputs as undisturbed runs write them, and the seconds of one run."""
    found, begun = [], time.monotonic()
    for tempo in (50, 60):
        folder = place / f"whole{tempo}"
        subprocess.run(_command(command, source, folder, tempo), cwd=ROOT, check=True,
                       capture_output=True)
        found.append(state(folder))
        shutil.rmtree(folder)
    return found, (time.monotonic() - begun) / 2


def _left() -> int:
    """Processes that runs left behind and that do not end by themselves."""
    end = time.monotonic() + 20
    while (left := _orphans()) and time.monotonic() < end:
        time.sleep(0.5)
    return left


def _orphans() -> int:
    """Workers and engravers begun from here whose run is gone; none where there is no /proc."""
    ours = 0
    for process in Path("/proc").glob("[0-9]*"):
        try:
            words = (process / "cmdline").read_bytes()
            parent = (process / "stat").read_text().rsplit(")", 1)[1].split()[1]
            here = (process / "cwd").readlink() == ROOT
        except OSError:
            continue
        ours += here and parent == "1" and (b"survey_worker" in words or b"verovio" in words)
    return ours


def main(argv: list[str] | None = None) -> int:
    """Run a campaign and print what was wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.kills", description=__doc__)
    parser.add_argument("command", choices=("convert", "survey"))
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    wrong = campaign(options.command, options.count, options.seed)
    print(f"{options.count} kills of {options.command}: {len(wrong)} faults")
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
