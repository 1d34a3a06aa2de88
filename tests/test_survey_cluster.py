"""A survey on a real Dask cluster of several processes, one of them killed in the middle."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.test_survey import SCALE, run, tune

pytest.importorskip("distributed")
ROOT = Path(__file__).resolve().parents[1]
QUIET = {**os.environ, "PYTHONPATH": str(ROOT), "DASK_LOGGING__DISTRIBUTED": "error"}


def _start(*words: str, folder: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", *words, "--no-dashboard"], cwd=folder, env=QUIET,
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler on this machine, and its three workers."""
    told = tmp_path / "scheduler.json"
    place = ("--scheduler-file", str(told))
    scheduler = _start("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
                       *place, folder=tmp_path)
    workers = [_start("distributed.cli.dask_worker", "--no-nanny", "--nthreads", "1", *place,
                      "--host", "127.0.0.1", "--local-directory", str(tmp_path / f"worker{n}"),
                      folder=tmp_path) for n in range(3)]
    try:
        until = time.monotonic() + 60
        while not told.exists() and time.monotonic() < until:
            time.sleep(0.1)
        yield json.loads(told.read_text())["address"], workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def test_the_same_bytes_though_a_worker_is_killed(
        tmp_path: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]]) -> None:
    address, workers = cluster
    library = tmp_path / "library"
    library.mkdir()
    for number in range(8):
        (library / f"{number}.musicxml").write_text(tune(*SCALE[number:], tempo=60 + number))
    (library / "bad.mid").write_bytes(b"MThd")
    kept = tmp_path / "there" / "kept"
    asked = subprocess.Popen(
        [sys.executable, "-m", "arranger", "survey", str(library), "-o", str(tmp_path / "there"),
         "--cluster", address], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    until = time.monotonic() + 90
    while (not kept.exists() or len(list(kept.glob("*.json"))) < 2) and time.monotonic() < until:
        time.sleep(0.02)
    os.kill(workers[0].pid, signal.SIGKILL)
    out, errors = asked.communicate(timeout=120)
    assert asked.returncode == 0
    assert all(" of 9, about " in line for line in errors.splitlines())  # progress, if it is slow
    assert out.startswith("8 of 9 scores measured.")
    assert run(library, "-o", tmp_path / "here", "--jobs", "2").returncode == 0
    for name in ("survey.html", "survey.csv", "survey.jsonl"):
        there, here = (tmp_path / p / name for p in ("there", "here"))
        assert there.read_bytes() == here.read_bytes(), name


def test_an_address_without_a_cluster_is_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "a.musicxml").write_text(tune("C4"))
    done = run(tmp_path, "-o", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert done.returncode == 2
    assert done.stderr.startswith("arranger: no cluster answers at tcp://127.0.0.1:9")
    assert done.stderr.count("\n") == 1
