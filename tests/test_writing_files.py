"""Output is all there or as it was: full disk, no permission, signals, kills, two runs at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from arranger.io import files
from arranger.model.errors import SourceError
from tests import kills

OLD = {"a.txt": b"old a", "b.txt": b"old b"}
NEW = {"a.txt": b"new a" * 1000, "b.txt": b"new b" * 1000}
ROOT = Path(__file__).resolve().parents[1]


def content(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def test_a_new_folder_and_an_existing_one(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "out"
    files.publish(folder, OLD)
    assert content(folder) == OLD
    (folder / "mine.txt").write_bytes(b"mine")
    files.publish(folder, NEW)
    assert content(folder) == NEW | {"mine.txt": b"mine"}
    assert [p.name for p in folder.parent.iterdir()] == ["out"]
    umask = os.umask(0)
    os.umask(umask)
    assert folder.stat().st_mode & 0o777 == 0o777 & ~umask
    assert (folder / "a.txt").stat().st_mode & 0o777 == 0o666 & ~umask


def test_a_target_that_is_a_folder_stops_all(tmp_path: Path) -> None:
    files.publish(tmp_path, OLD)
    (tmp_path / "c.txt").mkdir()
    with pytest.raises(SourceError, match="is a folder"):
        files.publish(tmp_path, NEW | {"c.txt": b"three"})
    (tmp_path / "c.txt").rmdir()
    assert content(tmp_path) == OLD


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_bytes(b"")
    with pytest.raises(SourceError, match="taken: cannot be written"):
        files.publish(tmp_path / "taken", OLD)
    assert content(tmp_path) == {"taken": b""}


@pytest.mark.parametrize("there", [True, False])
def test_a_full_disk_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                          there: bool) -> None:
    folder = tmp_path / "out"
    if there:
        files.publish(folder, OLD)
    real, calls = Path.write_bytes, []

    def full(self: Path, data: bytes) -> int:
        calls.append(self)
        if len(calls) == 2:
            real(self, data[:3])
            raise OSError(28, "No space left on device")
        return real(self, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(SourceError, match="no space left") as caught:
        files.publish(folder, NEW)
    assert "\n" not in str(caught.value)
    assert ({} if not folder.exists() else content(folder)) == (OLD if there else {})
    assert [p.name for p in tmp_path.iterdir()] == ["out"] * there


def test_a_real_full_disk(tmp_path: Path) -> None:
    """/dev/full takes no byte; a real small disk needs the right to mount one."""
    if os.geteuid() or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16k", "none", tmp_path],
                                      check=False, capture_output=True).returncode:
        pytest.skip("no right to mount a small disk")
    try:
        files.publish(tmp_path / "out", OLD)
        with pytest.raises(SourceError, match="no space left"):
            files.publish(tmp_path / "out", {"a.txt": b"x" * 100_000, "b.txt": b"y"})
        assert content(tmp_path / "out") == OLD
    finally:
        subprocess.run(["umount", tmp_path], check=True)


def test_a_folder_that_takes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*_: object, **__: object) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(files.tempfile, "mkdtemp", denied)  # a mode does not stop the superuser
    with pytest.raises(SourceError, match="out: cannot be written: permission denied"):
        files.publish(tmp_path / "out", OLD)
    assert list(tmp_path.iterdir()) == []


def test_two_runs_do_not_mix(tmp_path: Path) -> None:
    """Each of many rounds ends with the files of one writer, never of both."""
    folder = tmp_path / "out"
    sets = [{f"{n}.txt": bytes([who]) * 20_000 for n in range(6)} for who in (1, 2, 3)]
    for _ in range(30):
        writers = [threading.Thread(target=files.publish, args=(folder, one)) for one in sets]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        assert content(folder) in sets


def test_a_signal_waits_until_all_is_in_place(tmp_path: Path,
                                              monkeypatch: pytest.MonkeyPatch) -> None:
    files.publish(tmp_path, OLD)
    real = Path.replace

    def interrupted(self: Path, target: Path) -> Path:
        signal.raise_signal(signal.SIGINT)
        return real(self, target)

    monkeypatch.setattr(Path, "replace", interrupted)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may ignore it
    with pytest.raises(KeyboardInterrupt):
        files.publish(tmp_path, NEW)
    signal.signal(signal.SIGINT, before)
    assert content(tmp_path) == NEW


def test_what_a_killed_run_left_is_swept(tmp_path: Path) -> None:
    program = ("import os, signal; from pathlib import Path; from arranger.io import files; "
               "Path.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL); "
               f"files.publish(Path({str(tmp_path)!r}), {{'a.txt': b'new'}})")
    files.publish(tmp_path, OLD)
    killed = subprocess.run([sys.executable, "-c", program], check=False, cwd=ROOT)
    assert killed.returncode == -signal.SIGKILL
    assert len(list(tmp_path.iterdir())) == 3
    files.publish(tmp_path, NEW)
    assert content(tmp_path) == NEW


def test_what_a_running_run_is_writing_is_not_swept(tmp_path: Path) -> None:
    with files._staged(tmp_path, OLD) as stage:
        files.publish(tmp_path, NEW)
        assert content(stage) == OLD
    assert content(tmp_path) == NEW


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_command_leaves_nothing(tmp_path: Path, how: signal.Signals) -> None:
    folder = tmp_path / "out"
    run = subprocess.Popen([sys.executable, "-m", "arranger", "convert", str(kills.SCORE), "-o",
                            str(folder)], cwd=ROOT, stderr=subprocess.PIPE, text=True,
                           preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))
    time.sleep(0.7)  # it is at work: the whole takes longer
    run.send_signal(how)
    _, said = run.communicate(timeout=30)
    assert run.returncode == 130
    assert said == "arranger: interrupted\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("how", ["signal.raise_signal(signal.SIGINT)",
                                 "exec('signal.raise_signal(signal.SIGINT)')",
                                 "ignored(signal.SIGINT)", "ignored(signal.SIGTERM)"])
def test_an_interruption_is_told_in_one_line_wherever_it_falls(tmp_path: Path, how: str) -> None:
    (tmp_path / "begin.py").write_text(
        "import signal, time, arranger.cli, arranger.__main__\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)  # a job may lack it\n"
        "def ignored(number):\n"
        "    type('', (), {'__del__': lambda _: signal.raise_signal(number)})()\n"
        "    time.sleep(0.5)\n"
        f"arranger.cli.main = lambda: {how}\n"
        "arranger.__main__.run()\n", encoding="utf-8")
    run = subprocess.run([sys.executable, "-m", "begin"], capture_output=True, text=True,
                         check=False, cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert (run.returncode, run.stderr) == (130, "arranger: interrupted\n")


@pytest.mark.parametrize(("cause", "status", "said"), [
    ("cause", 130, "arranger: interrupted"), ("None", 1, "SystemError: result with an exception")])
def test_an_interruption_within_a_compiled_loop_is_one_too(tmp_path: Path, cause: str, status: int,
                                                           said: str) -> None:
    """CPython calls it a SystemError, caused by the interruption; any other one is told."""
    (tmp_path / "begin.py").write_text(
        "import signal, arranger.cli, arranger.__main__\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "def main():\n"
        "    try:\n"
        "        signal.raise_signal(signal.SIGINT)\n"
        "    except KeyboardInterrupt as cause:\n"
        f"        raise SystemError('result with an exception') from {cause}\n"
        "arranger.cli.main = main\n"
        "arranger.__main__.run()\n", encoding="utf-8")
    run = subprocess.run([sys.executable, "-m", "begin"], capture_output=True, text=True,
                         check=False, cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert (run.returncode, run.stderr.splitlines()[-1]) == (status, said)


@pytest.mark.campaign
@pytest.mark.parametrize("command", ["convert", "survey"])
def test_kills_at_random_moments(command: str) -> None:
    assert kills.campaign(command, 100, seed=1) == []
