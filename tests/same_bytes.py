"""The same input gives the same bytes everywhere: ``python -m tests.same_bytes [PYTHON ...]``.

Converts and checks the corpus under other hash seeds, locales, time zones, working folders and
umasks, with this interpreter and with every other one named (each must have the program installed,
as ``python -m venv X && X/bin/pip install .`` does), and compares all files.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PARTS = {"the-evening-watch": ["--part", "Flute", "--part", "Clarinet", "--part", "Violin",
                               "--part", "Violoncello"]}
#: What is around a run: each has something else than the first.
AROUND: tuple[Mapping[str, str], ...] = (
    {"PYTHONHASHSEED": "0", "LC_ALL": "C", "TZ": "UTC"},
    {"PYTHONHASHSEED": "1", "LC_ALL": "C.UTF-8", "TZ": "Asia/Tokyo"},
    {"PYTHONHASHSEED": "12345", "LC_ALL": "de_DE.UTF-8", "LANG": "tr_TR.UTF-8",
     "TZ": "America/New_York", "OMP_NUM_THREADS": "3"},
    {"PYTHONHASHSEED": "random", "LC_ALL": "POSIX", "PYTHONUTF8": "0"})


def hashes(python: str, around: Mapping[str, str], here: Path) -> dict[str, str]:
    """Return the hash of every file that convert writes for the corpus."""
    found: dict[str, str] = {}
    for score in sorted((ROOT / "corpus").glob("*/score.musicxml")):
        out = here / "out" / score.parent.name
        run = subprocess.run(
            [python, "-m", "arranger", "convert", str(score), "-o", str(out),
             *PARTS.get(score.parent.name, [])], cwd=here, capture_output=True, text=True,
            check=False, env={**os.environ, **around})
        if run.returncode not in (0, 1) or not out.exists():
            raise RuntimeError(f"{python}: {run.stderr.strip()[-300:]}")
        for path in sorted(out.iterdir()):
            found[f"{score.parent.name}/{path.name}"] = hashlib.sha256(
                path.read_bytes()).hexdigest()
    return found


def differences(pythons: list[str]) -> Iterator[str]:
    """Yield what differs from the first run, a line a file."""
    first: dict[str, str] = {}
    for python in pythons:
        for around in AROUND if python == pythons[0] else AROUND[:1]:
            with tempfile.TemporaryDirectory() as here:
                found = hashes(python, around, Path(here))
            first = first or found
            named = ", ".join(f"{k}={v}" for k, v in around.items())
            yield from (f"{name} differs under {python} {named}" for name in sorted(
                first.keys() | found.keys()) if first.get(name) != found.get(name))
            print(f"{python} {named}: {len(found)} files", flush=True)


def main(argv: list[str] | None = None) -> int:
    """Compare, print what differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.same_bytes", description=__doc__)
    parser.add_argument("pythons", nargs="*", help="further interpreters")
    options = parser.parse_args(argv)
    os.environ["PYTHONPATH"] = os.pathsep.join([str(ROOT)] if not options.pythons else [])
    found = list(differences([sys.executable, *options.pythons]))
    print("\n".join(found) or "the same bytes everywhere")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
