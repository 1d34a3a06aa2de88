"""Bytes from and to the disk: bounded reading, and writing that is all or nothing."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import stat
import tempfile
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import FrameType

from arranger.model.errors import SourceError

try:
    import fcntl  # not on every system
except ImportError:
    fcntl = None  # type: ignore[assignment]

#: How a folder with files that are not in their place yet is called.
_PREFIX, _SUFFIX = ".arranger-", ".part"
_HELD = (signal.SIGINT, signal.SIGTERM)


def read_bytes(path: Path, limit: int) -> bytes:
    """Return the content of a regular file of at most ``limit`` bytes.

    Raises
    ------
    SourceError
        Missing, a folder or device, not readable, or larger than ``limit``.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            kind = "a folder" if path.is_dir() else "not a regular file"
            raise SourceError(f"{path}: is {kind}; give a score file")
        with path.open("rb") as stream:
            content = stream.read(limit + 1)
    except (OSError, ValueError) as error:
        raise SourceError(f"{path}: cannot be read: {_why(error)}") from error
    if len(content) > limit:
        raise SourceError(f"{path}: larger than {limit // 2**20} MB; no score of music is that big")
    return content


def publish(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write all ``files`` (name to content) into ``folder``, or none of them.

    Everything is written into a hidden folder inside first and renamed when all is on the disk, so
    a failing run leaves no partial file and does not touch an existing one. A new folder appears
    with all its files at once; in an existing one the renames follow one another while no other run
    renames, so two runs do not mix. An interruption is heard when all is done, and what a killed
    run left is swept by the next one.

    Raises
    ------
    SourceError
        The folder cannot be made or written to, or a target is itself a folder.
    """
    try:
        with _undisturbed():
            if folder.is_dir() or not _appear(folder, files):
                folder.mkdir(parents=True, exist_ok=True)
                _replace(folder, files)
    except OSError as error:
        raise SourceError(f"{folder}: cannot be written: {_why(error)}") from error


def _appear(folder: Path, files: Mapping[str, bytes]) -> bool:
    """Make a new folder with all files in it; False if it was made by another run meanwhile."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    _sweep(folder.parent)
    with _staged(folder.parent, files) as stage:
        stage.chmod(0o777 & ~_umask())
        try:
            stage.rename(folder)
        except OSError:
            if folder.is_dir():
                return False
            raise
    return True


def _replace(folder: Path, files: Mapping[str, bytes]) -> None:
    """Rename the files into an existing folder, one after the other and undisturbed."""
    _sweep(folder)
    for name in files:
        if (folder / name).is_dir():
            raise SourceError(f"{folder / name}: is a folder, cannot be written as a file")
    with _staged(folder, files) as stage, _alone(folder):
        for name in files:
            (stage / name).replace(folder / name)


@contextlib.contextmanager
def _staged(place: Path, files: Mapping[str, bytes]) -> Iterator[Path]:
    """Write the files into a hidden folder, which is gone or moved away afterwards."""
    with contextlib.ExitStack() as stack:
        stage = _stage(place, stack)
        stack.callback(shutil.rmtree, stage, ignore_errors=True)
        for name, content in files.items():
            (stage / name).write_bytes(content)
        yield stage


def _stage(place: Path, stack: contextlib.ExitStack) -> Path:
    """Make a hidden folder, locked to tell a sweep that somebody is at work in it."""
    while True:
        stage = Path(tempfile.mkdtemp(prefix=_PREFIX, suffix=_SUFFIX, dir=place))
        try:
            stack.enter_context(_alone(stage))
            if stage.is_dir():
                return stage
        except FileNotFoundError:
            continue  # a sweep came between


def _sweep(place: Path) -> None:
    """Remove what runs left that were killed: hidden folders that nobody has locked."""
    if fcntl is None:
        return
    for stage in place.glob(f"{_PREFIX}*{_SUFFIX}"):
        with contextlib.suppress(OSError), _locked(stage, fcntl.LOCK_EX | fcntl.LOCK_NB):
            shutil.rmtree(stage, ignore_errors=True)


def _alone(folder: Path) -> contextlib.AbstractContextManager[None]:
    """Wait until no other run has this folder, and keep it."""
    return contextlib.nullcontext() if fcntl is None else _locked(folder, fcntl.LOCK_EX)


@contextlib.contextmanager
def _locked(folder: Path, how: int) -> Iterator[None]:
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, how)
        yield
    finally:
        os.close(handle)  # gives the lock back


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Let interruptions wait: what was heard meanwhile is raised afterwards."""
    if threading.current_thread() is not threading.main_thread():
        yield  # signals are the main thread's
        return
    heard: list[int] = []

    def hear(number: int, _: FrameType | None) -> None:
        heard.append(number)
    before = {number: signal.signal(number, hear) for number in _HELD}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        for late in heard:
            signal.raise_signal(late)


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current


def _why(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()
