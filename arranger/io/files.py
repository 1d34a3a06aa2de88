"""Bytes from and to the disk: bounded reading, and writing that is all or nothing."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from arranger.model.errors import SourceError


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

    Everything is written under temporary names first and renamed when all is on the disk, so a
    failing run leaves no partial file and does not touch an existing one.

    Raises
    ------
    SourceError
        The folder cannot be made or written to, or a target is itself a folder.
    """
    written: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in files:
            if (folder / name).is_dir():
                raise SourceError(f"{folder / name}: is a folder, cannot be written as a file")
        for name, content in files.items():
            written.append((_temporary(folder, content), folder / name))
        for temporary, target in written:
            temporary.replace(target)
    except OSError as error:
        raise SourceError(f"{folder}: cannot be written: {_why(error)}") from error
    finally:
        _remove(temporary for temporary, _ in written)


def _temporary(folder: Path, content: bytes) -> Path:
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=folder)
    path = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        path.chmod(0o666 & ~_umask())
    except BaseException:
        _remove([path])
        raise
    return path


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current


def _remove(paths: Iterable[Path]) -> None:
    for path in paths:
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)


def _why(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()
