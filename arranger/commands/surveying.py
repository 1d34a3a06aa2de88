"""``survey``: every score of a folder measured, in a table of HTML, CSV and JSON lines.

What was found out about a file is kept under its content and the settings in the folder ``kept``
beside the tables, so a survey that was interrupted, or whose folder grew, goes on where it was.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from arranger.commands.converting import semitones_of
from arranger.commands.opening import settings_of
from arranger.commands.request import Request
from arranger.commands.survey_pool import DEAD, LATE, measured
from arranger.commands.survey_worker import asked
from arranger.io.files import publish
from arranger.io.source import known_suffixes, sha256
from arranger.model.errors import ArrangerError, SourceError
from arranger.report.survey_page import survey_page
from arranger.report.survey_tables import as_csv, as_lines

Row = dict[str, Any]
#: Done, of all, seconds left (None before anything can be said), and the file.
Told = Callable[[int, int, float | None, str], None]
KEPT = "kept"


@dataclass(frozen=True, slots=True)
class Survey:
    """Rows by file name, the tables as written, and how many files could be read."""

    rows: tuple[Row, ...]
    files: Mapping[str, bytes]

    @property
    def read(self) -> int:
        """Number of scores with figures."""
        return sum("refused" not in row for row in self.rows)


def survey(request: Request, out: Path, jobs: int = 0, cluster: str = "",
           told: Told = lambda *_: None) -> Survey:
    """Measure all scores in the folder ``request.source`` and below.

    Parameters
    ----------
    request : its ``source`` is the folder; all settings are those of ``convert``.
    out : folder for survey.html, survey.csv, survey.jsonl, and for what is kept.
    jobs : processes side by side; 0: as many as the machine has processors.
    cluster : address of a Dask scheduler; the files are sent to its workers.
    told : is called after every file.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        No folder, no scores in it, unusable settings, or ``out`` cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as out:
    ...     found = survey(Request(Path("corpus/the-mill-race")), Path(out), jobs=1)
    >>> found.read, sorted(found.files)
    (1, ['survey.csv', 'survey.html', 'survey.jsonl'])
    """
    settings_of(request)  # a wrong name is told once, not once a file
    if request.transpose != "best":
        semitones_of(request.transpose)
    paths = _scores(request.source, out)
    names = [path.relative_to(request.source).as_posix() for path in paths]
    rows: dict[int, Row] = {}
    marks: dict[int, str] = {}
    waiting: dict[str, list[int]] = {}
    publish(out / KEPT, {})
    for number, path in enumerate(paths):
        try:
            marks[number] = sha256(path)
        except ArrangerError as error:
            rows[number] = {"refused": str(error).replace(f"{path}: ", "", 1)}
            continue
        key = _key(marks[number], path, request)
        found = _kept(out, key)
        if found is None:
            waiting.setdefault(key, []).append(number)
        else:
            rows[number] = found
    _measure(request, paths, names, waiting, rows, out, jobs, cluster, told)
    table = tuple({"file": names[n], "sha256": marks.get(n, ""), **rows[n]}
                  for n in range(len(paths)))
    files = {"survey.html": survey_page(table, _settings_told(request)).encode(),
             "survey.csv": as_csv(table), "survey.jsonl": as_lines(table)}
    publish(out, files)
    return Survey(table, files)


def _measure(request: Request, paths: Sequence[Path], names: Sequence[str],
             waiting: Mapping[str, Sequence[int]], rows: dict[int, Row], out: Path, jobs: int,
             cluster: str, told: Told) -> None:
    """Measure what is not known yet; every figure is kept as soon as it is there."""
    keys = list(waiting)
    requests = [replace(request, source=paths[waiting[key][0]], page=False) for key in keys]
    begun, done = time.monotonic(), len(rows)
    for count, (number, found) in enumerate(_found(requests, jobs, cluster), start=1):
        key = keys[number]
        if found.get("refused") not in (LATE, DEAD):
            publish(out / KEPT, {f"{key}.json": (json.dumps(found) + "\n").encode()})
        rows.update(dict.fromkeys(waiting[key], found))
        done += len(waiting[key])
        left = (time.monotonic() - begun) / count * (len(keys) - count)
        told(done, len(paths), left, names[waiting[key][0]])


def _found(requests: Sequence[Request], jobs: int,
           cluster: str) -> Iterator[tuple[int, dict[str, Any]]]:
    if not requests:
        return iter(())
    if cluster:
        from arranger.commands.survey_cluster import measured_by  # Dask: 0.5 s to import
        return measured_by(cluster, requests)
    return measured(requests, jobs or os.cpu_count() or 1)


def _scores(folder: Path, out: Path) -> list[Path]:
    """Scores in a folder and below, by name; hidden folders and the output are left out."""
    if not folder.is_dir():
        raise SourceError(f"{folder}: is no folder; survey takes a folder of scores")
    known = known_suffixes()
    found = sorted((p for p in folder.rglob("*") if p.suffix.lower() in known and p.is_file()
                    and not any(x.startswith(".") for x in p.relative_to(folder).parts)
                    and out not in p.parents), key=lambda p: p.relative_to(folder).as_posix())
    if not found:
        raise SourceError(f"{folder}: no scores in it ({' '.join(known)})")
    return found


def _key(content: str, path: Path, request: Request) -> str:
    """Name of what is kept: content, kind of file, settings, and the program that measured."""
    told = {**asked(request), "source": path.suffix.lower()}
    own = [sha256(Path(name)) for name in (request.harp, request.player) if name.endswith(".toml")]
    text = json.dumps([content, told, own, _program()], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:40]


@cache
def _program() -> str:
    """Hash of the program and its rules: figures of another version are not taken over."""
    package = Path(__file__).resolve().parents[1]
    whole = hashlib.sha256()
    for place in (package, package.parent / "rules"):
        for path in sorted(p for p in place.rglob("*") if p.suffix in (".py", ".toml")):
            whole.update(path.relative_to(place).as_posix().encode() + path.read_bytes())
    return whole.hexdigest()


def _kept(out: Path, key: str) -> Row | None:
    try:
        found = json.loads((out / KEPT / f"{key}.json").read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _settings_told(request: Request) -> dict[str, str]:
    told = {"harp": request.harp, "player": request.player}
    if request.tempo is not None:
        told["tempo"] = str(request.tempo)
    if request.transpose == "best":
        told["key"] = "the best within a fourth"
    elif request.transpose:
        told["transpose"] = request.transpose
    return told | ({"limits": ", ".join(request.limits)} if request.limits else {})
