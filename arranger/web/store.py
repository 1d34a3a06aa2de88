"""Works on the disk: a folder each, and nothing that a restart could lose.

    works/<id>/source/NAME        the score as it was laid on the page
               work.json          its title, and what it is to be arranged for
               parts.json         the parts that were found in it
               job.json           what is being done with it, and what came of it
               choices.toml       choices of the arranger; undo/N.toml as they stood before
               draft/ check/      what was made of it
               ways/              risky spots and what else would do there

Every file is written beside its place and renamed.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import sys
import tempfile
import time
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from arranger.io.source import known_suffixes
from arranger.model.errors import SourceError

try:
    import fcntl  # not on every system
except ImportError:
    fcntl = None  # type: ignore[assignment]

#: Largest score that is taken: what the reader opens of an archive, full scores have 3-5 MB.
LARGEST = 32 * 2**20
#: Works kept at most, so that nothing can fill the disk.
MOST_WORKS = 400
_ID = re.compile(r"[0-9a-f]{12}")
_LONGEST_NAME = 80


def default_folder() -> Path:
    """The folder for data of this program where the system keeps such things for each user."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "arranger"


def plain_name(given: str) -> tuple[str, str]:
    """Return a title that is safe to show and to name files by, and the suffix of a score.

    Raises
    ------
    SourceError
        A score of this kind is not read; lists what is.
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", given))[-1]
    stem, dot, suffix = last.rpartition(".")
    suffix = f".{suffix.lower()}" if dot else ""
    if suffix not in known_suffixes():
        raise SourceError(f"This kind of file is not read. Export the score as MusicXML from your "
                          f"notation program, or give one of: {' '.join(known_suffixes())}")
    return _plain(stem) or "Score without a name", suffix


def _plain(text: str) -> str:
    """Letters, digits and the few signs that titles have; short enough to name a file."""
    words = "".join(c if c.isalnum() or c in " .,'()&+-:" else " " for c in text)
    title = " ".join(words.split()).strip(". ")[:_LONGEST_NAME].strip()
    while len(title.encode()) > _LONGEST_NAME * 2:
        title = title[:-1]
    return title


def put(path: Path, content: bytes) -> None:
    """Write a file beside its place and rename it."""
    handle, name = tempfile.mkstemp(prefix=".", suffix=".new", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def put_json(path: Path, told: Mapping[str, Any]) -> None:
    """Write a table of plain values."""
    put(path, json.dumps(told, ensure_ascii=False, indent=1).encode())


def get_json(path: Path) -> dict[str, Any]:
    """Read a table of plain values; empty where there is none or it is damaged."""
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


@dataclass(frozen=True, slots=True)
class Work:
    """A score that was laid on the page, by the folder it lies in."""

    folder: Path

    @property
    def id(self) -> str:
        """Name of its folder."""
        return self.folder.name

    @property
    def score(self) -> Path:
        """The score itself."""
        place = self.folder / "source"
        return next(iter(sorted(place.glob("*"))), place / "missing")

    @property
    def choices(self) -> Path:
        """Where its choices are kept."""
        return self.folder / "choices.toml"

    @property
    def title(self) -> str:
        """Its title as printed in it, else the name under which it came."""
        return (_plain(str(self.told("parts").get("title", "")))
                or str(self.told("work").get("title", "Score")))

    @property
    def undo(self) -> Path:
        """Folder of the choices as they stood before each change."""
        return self.folder / "undo"

    def told(self, name: str) -> dict[str, Any]:
        """Return one of its tables: ``work``, ``parts``, ``job``."""
        return get_json(self.folder / f"{name}.json")

    def tell(self, name: str, told: Mapping[str, Any]) -> None:
        """Write one of its tables."""
        put_json(self.folder / f"{name}.json", told)

    def made(self, kind: str, name: str = "report.json") -> Path | None:
        """Return a file that was made of it, if it is there."""
        path = self.folder / kind / name
        return path if path.is_file() else None

    def changes(self) -> list[int]:
        """Numbers of the changes of choices that can be taken back, oldest first."""
        return sorted(int(p.stem) for p in self.undo.glob("*.toml") if p.stem.isdigit())


class Store:
    """The working folder; only one server may have it at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.works = folder / "works"
        try:
            self.works.mkdir(parents=True, exist_ok=True, mode=0o700)
            for left in self.works.glob(".*"):
                shutil.rmtree(left, ignore_errors=True)
        except OSError as error:
            raise SourceError(f"{folder}: cannot be used: {(error.strerror or '').lower()}; name "
                              f"another with --folder") from error

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Keep the folder for this process.

        Raises
        ------
        SourceError
            Another server has it.
        """
        with (self.folder / ".lock").open("w") as lock:
            if fcntl is not None:
                try:
                    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except OSError as error:
                    raise SourceError(f"{self.folder}: another arranger serve is using it; open "
                                      f"its page, or name another with --folder") from error
            yield

    def add(self, name: str, content: bytes) -> Work:
        """Keep a score; its folder appears with all that belongs in it.

        Raises
        ------
        SourceError
            It is empty, too large, of a kind that is not read, or there are too many.
        """
        title, suffix = plain_name(name)
        if not content.strip():
            raise SourceError("This file is empty. Export the score again and lay it here.")
        if len(content) > LARGEST:
            raise SourceError(f"This file is larger than {LARGEST // 2**20} MB, and no score is. "
                              f"Give the score itself, without recordings or pictures.")
        if sum(1 for _ in self.works.iterdir()) >= MOST_WORKS:
            raise SourceError(f"There are {MOST_WORKS} scores here already. Remove some first.")
        ident = secrets.token_hex(6)
        stage = self.works / f".{ident}"
        stage.mkdir(mode=0o700)
        try:
            (stage / "source").mkdir()
            (stage / "source" / f"{title.replace(':', ' -')}{suffix}").write_bytes(content)
            put_json(stage / "work.json", {"title": title, "added": time.time(), "settings": {}})
            put_json(stage / "job.json", {"kind": "read", "state": "waiting", "asked": time.time()})
            stage.rename(self.works / ident)
        except OSError as error:
            shutil.rmtree(stage, ignore_errors=True)
            raise SourceError("The score could not be kept: the disk is full or write-protected. "
                              "Make room and try again.") from error
        return Work(self.works / ident)

    def find(self, ident: str) -> Work | None:
        """Return the work of this name; None for anything else, whatever it says."""
        folder = self.works / ident if _ID.fullmatch(ident) else None
        return Work(folder) if folder is not None and folder.is_dir() else None

    def all(self) -> list[Work]:
        """All works, the latest first."""
        found = [Work(p) for p in self.works.iterdir() if _ID.fullmatch(p.name)]
        return sorted(found, key=lambda w: -float(w.told("work").get("added", 0)))

    def remove(self, work: Work) -> None:
        """Take a work away: it is gone at once, whatever is still in its folder."""
        gone = self.works / f".{work.id}.gone"
        with contextlib.suppress(OSError):
            work.folder.rename(gone)
        shutil.rmtree(gone, ignore_errors=True)
