"""One job at a time, each in a process of its own that can be stopped.

The process of the next job is started before it is asked for: it has loaded the libraries by then.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Mapping
from typing import Any

from arranger.web.store import Store, Work

#: Seconds one job may take (assumption: nobody waits longer).
LONGEST = 1800.0
RUNNING = ("waiting", "working")


class Busy(Exception):
    """Something is being done with this work already."""


class Jobs:
    """The queue of jobs. What it knows stands in each work's ``job.json``."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._queue: asyncio.Queue[Work] = asyncio.Queue()
        self._now: tuple[Work, asyncio.subprocess.Process] | None = None
        self._next: asyncio.subprocess.Process | None = None

    def resume(self) -> None:
        """Queue what was waiting or under way when the server ended, in order of asking."""
        left = [(w.told("job"), w) for w in self.store.all()]
        for job, work in sorted(((j, w) for j, w in left if j.get("state") in RUNNING),
                                key=lambda jw: float(jw[0].get("asked", 0))):
            work.tell("job", {**job, "state": "waiting", "stage": ""})
            self._queue.put_nowait(work)

    def ask(self, work: Work, kind: str, **more: Any) -> None:
        """Queue a job for a work.

        Raises
        ------
        Busy
            Another is waiting or under way.
        """
        if work.told("job").get("state") in RUNNING:
            raise Busy
        work.tell("job", {"kind": kind, "state": "waiting", "asked": time.time(), **more})
        self._queue.put_nowait(work)

    def added(self, work: Work) -> None:
        """Queue a new work, whose job is written already."""
        self._queue.put_nowait(work)

    def cancel(self, work: Work) -> None:
        """Stop the job of a work, or take it out of the queue."""
        job = work.told("job")
        if job.get("state") in RUNNING:
            work.tell("job", {**job, "state": "stopped", "stage": ""})
        if self._now is not None and self._now[0] == work:
            _kill(self._now[1])

    async def run(self) -> None:
        """Do the jobs, until cancelled; the one under way then begins anew at the next start."""
        try:
            while True:
                with contextlib.suppress(OSError):  # no room for it now: the job tries again
                    self._next = self._next or await _worker()
                work = await self._queue.get()
                if work.told("job").get("state") == "waiting":
                    with contextlib.suppress(OSError):  # the work was removed meanwhile
                        await self._one(work)
        finally:
            if self._next is not None:
                _kill(self._next)

    async def _ready(self) -> asyncio.subprocess.Process:
        """The process that waits, or another one where it has died meanwhile."""
        process, self._next = self._next, None
        return process if process is not None and process.returncode is None else await _worker()

    async def _one(self, work: Work) -> None:
        job = {**work.told("job"), "state": "working", "stage": "", "begun": time.time()}
        work.tell("job", job)
        process = await self._ready()
        self._now = work, process
        try:
            async with asyncio.timeout(LONGEST):
                assert process.stdin is not None
                process.stdin.write(os.fsencode(work.folder) + b"\n")
                end = await self._followed(work, job, process)
        except TimeoutError:
            end = {"why": f"This took longer than {LONGEST / 60:.0f} minutes and was stopped. "
                          f"Give a shorter excerpt."}
        finally:
            self._now = None
            _kill(process)
            await process.wait()
        if work.told("job").get("state") == "working":
            good = bool(end.get("done"))
            work.tell("job", {**job, "state": "done" if good else "failed",
                              "ended": time.time(), "why": "" if good else end.get("why", "")})

    async def _followed(self, work: Work, job: Mapping[str, Any],
                        process: asyncio.subprocess.Process) -> dict[str, Any]:
        """Write down each stage; return the last line."""
        assert process.stdout is not None
        async for line in process.stdout:
            told: dict[str, Any] = json.loads(line)
            if "done" in told:
                return told
            if work.told("job").get("state") == "working":
                work.tell("job", {**job, "stage": told["stage"]})
        return {"why": "The work ended before it was done; the machine may be short of memory. "
                       "Close other programs and try again."}


async def _worker() -> asyncio.subprocess.Process:
    """Start a process that makes itself ready and waits to be told a folder."""
    return await asyncio.create_subprocess_exec(
        sys.executable, "-m", "arranger.web.worker",
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL, start_new_session=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)})


def _kill(process: asyncio.subprocess.Process) -> None:
    """End a worker and what it started."""
    if process.returncode is not None:
        return
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
