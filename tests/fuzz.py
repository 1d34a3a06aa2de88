"""The fuzz campaign: ``python -m tests.fuzz readers|pipeline [--count N] [--seed N] [--jobs N]``.

Inputs are made from real music by seeded mutation (fuzz_seeds, fuzz_mutate) and judged by processes
(fuzz_judge) that are replaced when they die or answer too late. ``--only NUMBER`` writes one input
to ``-o`` to look at it. Exit 1 if anything was found.
"""

from __future__ import annotations

import argparse
import json
import selectors
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from tests.fuzz_judge import made

ROOT = Path(__file__).resolve().parents[1]
GOOD = ("read", "refused")
#: Each judge is replaced after so many inputs, so that a leak shows as its own and not as a find.
TURN = 20_000


@dataclass(slots=True)
class Tally:
    """What came of a campaign."""

    outcomes: Counter[str] = field(default_factory=Counter)
    finds: dict[str, list[int]] = field(default_factory=dict)
    slowest: tuple[float, int] = (0.0, -1)
    peak: int = 0

    def add(self, number: int, outcome: str, spent: float, peak: int, what: str) -> None:
        """Count one answer; finds are grouped by what is said of them."""
        self.outcomes[outcome] += 1
        self.slowest = max(self.slowest, (spent, number))
        self.peak = max(self.peak, peak)
        if outcome not in GOOD:
            numbers = self.finds.setdefault(f"{outcome}: {what}", [])
            numbers.append(number)
            if len(numbers) == 1:
                print(f"\n#{number} {outcome}: {what}", flush=True)


class Judge:
    """A process that judges a share of the inputs, begun anew behind an input that killed it."""

    def __init__(self, mode: str, seed: int, first: int, last: int, step: int) -> None:
        self.mode, self.seed, self.next, self.last, self.step = mode, seed, first, last, step
        self.turn, self.died_at, self.answered = 0, -1, time.monotonic()
        self.process: subprocess.Popen[str]
        self.start()

    def start(self) -> None:
        """Begin at the next input."""
        stop = min(self.last, self.next + TURN * self.step)
        command = [sys.executable, "-m", "tests.fuzz_judge", self.mode,
                   *map(str, (self.seed, self.next, stop, self.step))]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL,
                                        stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        self.answered = time.monotonic() + 10  # starting and its imports

    @property
    def out(self) -> IO[str]:
        """Where the answers come from."""
        assert self.process.stdout is not None
        return self.process.stdout

    def end(self) -> None:
        """End the process, whatever it does."""
        self.process.kill()
        self.process.wait()
        self.out.close()

    @property
    def done(self) -> bool:
        """Whether its share is judged."""
        return self.next >= self.last


def campaign(mode: str, seed: int, first: int, count: int, jobs: int, limit: float) -> Tally:
    """Judge ``count`` inputs; an answer later than ``limit`` seconds is a find."""
    tally, begun = Tally(), time.monotonic()
    watch = selectors.DefaultSelector()
    for start in range(first, first + jobs):
        judge = Judge(mode, seed, start, first + count, jobs)
        watch.register(judge.out, selectors.EVENT_READ, judge)
    shown = 0.0
    while watch.get_map():
        for key, _ in watch.select(timeout=1.0):
            _hear(key.data, tally, watch)
        for key in list(watch.get_map().values()):
            if time.monotonic() - key.data.answered > limit:
                _replace(key.data, tally, watch, "hang", f"no answer in {limit:g} s")
        if time.monotonic() - shown > 5:
            shown = time.monotonic()
            done = tally.outcomes.total()
            print(f"\r{done}/{count} {dict(tally.outcomes)} {done / (shown - begun + 0.01):.0f}/s ",
                  end="", file=sys.stderr, flush=True)
    return tally


def _hear(judge: Judge, tally: Tally, watch: selectors.BaseSelector) -> None:
    line = judge.out.readline()
    if line:
        number, outcome, spent, peak, what = json.loads(line)
        tally.add(number, outcome, spent, peak, what)
        judge.next, judge.answered = number + judge.step, time.monotonic()
        return
    status = judge.process.wait()
    if status == 0 and (judge.done or judge.next > judge.turn):
        _replace(judge, tally, watch)
    else:
        _replace(judge, tally, watch, "died", f"process ended with {status}")


def _replace(judge: Judge, tally: Tally, watch: selectors.BaseSelector, outcome: str = "",
             what: str = "") -> None:
    """End a judge and begin it anew behind the input that was too much for it."""
    watch.unregister(judge.out)
    judge.end()
    if outcome:
        tally.add(judge.next, outcome, 0.0, 0, what)
        judge.next += judge.step
    if not judge.done:
        judge.turn = judge.next
        judge.start()
        watch.register(judge.out, selectors.EVENT_READ, judge)


def main(argv: list[str] | None = None) -> int:
    """Run a campaign, or write one of its inputs."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("mode", choices=("readers", "pipeline"))
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--limit", type=float, default=300.0,
                        help="seconds without an answer until a judge is ended")
    parser.add_argument("--only", type=int, help="write this input and stop")
    parser.add_argument("-o", "--out", type=Path, default=Path("/tmp/fuzz"))
    options = parser.parse_args(argv)
    if options.only is not None:
        suffix, content = made(options.mode, options.seed, options.only)
        options.out.mkdir(parents=True, exist_ok=True)
        path = options.out / f"{options.mode}-{options.seed}-{options.only}{suffix}"
        path.write_bytes(content)
        print(path)
        return 0
    tally = campaign(options.mode, options.seed, options.first, options.count, options.jobs,
                     options.limit)
    print(f"\n{options.mode}: {tally.outcomes.total()} inputs, {dict(tally.outcomes)}; slowest "
          f"{tally.slowest[0]:.2f} s (#{tally.slowest[1]}); most memory {tally.peak} MB")
    for what, numbers in sorted(tally.finds.items(), key=lambda item: -len(item[1])):
        print(f"{len(numbers):6} {what}   e.g. #{', #'.join(map(str, numbers[:3]))}")
    return 1 if tally.finds else 0


if __name__ == "__main__":
    sys.exit(main())
