"""Processes that measure scores side by side: each with limits, each replaced when it dies."""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from arranger.commands.request import Request
from arranger.commands.survey_worker import asked

#: Seconds a score may take; room for some thousands of bars (assumption).
SECONDS = 300.0
#: What is said of a file whose process did not answer. It is not kept: the next run tries again.
LATE, DEAD = "takes longer than a score may", "the process that read it died"
_ROOT = str(Path(__file__).resolve().parents[2])


class Worker:
    """One process, begun when it is first asked and begun anew when it is gone."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self.since = 0.0

    def ask(self, request: Request) -> int:
        """Send a request; return the file number from which the answer can be read."""
        if self._process is None:
            self._process = _start()
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self.since = time.monotonic()
        with contextlib.suppress(BrokenPipeError):  # it died idle: no answer will tell
            self._process.stdin.write(json.dumps(asked(request)) + "\n")
            self._process.stdin.flush()
        return self._process.stdout.fileno()

    def hear(self) -> dict[str, Any]:
        """Return the answer, which must be there; of a dead process, that it died."""
        assert self._process is not None
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if line.endswith("\n"):
            answer: dict[str, Any] = json.loads(line)
            return answer
        self.end()
        return {"refused": DEAD}

    def end(self) -> None:
        """End the process and what it started."""
        if self._process is None:
            return
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):
                if pipe is not None:
                    pipe.close()
        self._process = None


def _start() -> subprocess.Popen[str]:
    path = os.pathsep.join(filter(None, (_ROOT, os.environ.get("PYTHONPATH", ""))))
    return subprocess.Popen(
        [sys.executable, "-m", "arranger.commands.survey_worker"], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, encoding="utf-8",
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": path, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"})


def measured(requests: Sequence[Request], jobs: int,
             seconds: float = SECONDS) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield the number of each request with its figures, in the order in which they are ready.

    Parameters
    ----------
    jobs : processes side by side.
    seconds : what a file may take before its process is ended.
    """
    watch = selectors.DefaultSelector()
    workers = [Worker() for _ in range(min(jobs, len(requests)))]
    waiting = iter(enumerate(requests))

    def give(worker: Worker) -> None:
        for number, request in waiting:
            watch.register(worker.ask(request), selectors.EVENT_READ, (number, worker))
            return
        worker.end()

    try:
        for worker in workers:
            give(worker)
        while watch.get_map():
            ready = {key.fd for key, _ in watch.select(timeout=0.5)}
            for key in list(watch.get_map().values()):
                number, worker = key.data
                late = time.monotonic() - worker.since > seconds
                if key.fd not in ready and not late:
                    continue
                watch.unregister(key.fd)
                found = worker.hear() if key.fd in ready else {"refused": LATE}
                if key.fd not in ready:
                    worker.end()
                yield number, found
                give(worker)
    finally:
        for worker in workers:
            worker.end()
        watch.close()


def measured_alone(request: Request, seconds: float = SECONDS) -> dict[str, Any]:
    """Return the figures of one score from a process of its own."""
    return next(iter(measured([request], 1, seconds)))[1]
