"""The process that does one job of the workbench: ``python -m arranger.web.worker``.

Once it has loaded what every job needs it waits for the line that names the work's folder. It reads
there what is asked, tells each stage in a line, and publishes what it made or why there is nothing.
It has a limit on memory, and ends when the server is gone.
"""

from __future__ import annotations

import io
import json
import os
import re
import signal
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any, cast
from xml.etree import ElementTree as ET

from arranger.api import Request, Result, check, convert, options
from arranger.io.choices_file import choices_text, read_choices
from arranger.io.files import publish
from arranger.io.part_choice import choose_parts, part_labels
from arranger.io.source import open_source
from arranger.limits import limit_memory
from arranger.model.errors import ArrangerError, ChoiceError
from arranger.report import html  # noqa: F401 - 0.1 s, before a job waits for it
from arranger.report.score_names import names_of
from arranger.web.store import Work, put, put_json

#: Address space of the process, in bytes (assumption; a song needs a tenth of it).
MEMORY = 4 * 2**30
Tell = Callable[[str], None]
#: How the words of the command line read on the page.
_ON_THE_PAGE = (
    (re.compile(r"--chords\b"), "“The left hand plays the chord symbols”"),
    (re.compile(r"; say --part NAME, one of: .*"), "; tick it above"),
    (re.compile(r" with --part\b"), " above"), (re.compile(r"--take (\S+): "), ""),
    (re.compile(r"arranger options lists what can be taken"), "look for other ways again"))


def request_of(work: Work, asked: Mapping[str, Any], **more: Any) -> Request:
    """Return the request of a work: its score, settings and choices."""
    tempo = asked.get("tempo")
    return Request(
        work.score, tuple(asked.get("parts", ())), asked.get("harp", "pedal-47"),
        asked.get("player", "average"), Fraction(tempo) if tempo else None,
        asked.get("transpose", ""), part_is_harp=bool(asked.get("part_is_harp")),
        chords=bool(asked.get("chords")), **more)


def _read(work: Work, _: Mapping[str, Any], tell: Tell) -> None:
    tell("reading the score")
    root = open_source(work.score)
    try:
        chosen = choose_parts(root)
    except ChoiceError:
        chosen = ()  # the reader of the page will know
    title = names_of(cast(ET.Element, root))[0].title  # lxml finds as the standard library does
    put_json(work.folder / "parts.json", {
        "title": title[:200], "chosen": list(chosen),
        "parts": [{"id": i, "name": name[:80]} for i, name in part_labels(root).items()]})


def _convert(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    _keep(work, convert(request_of(work, job["settings"], choices=kept(work)), progress=tell))


def _keep(work: Work, result: Result) -> None:
    publish(work.folder / "draft",
            {n: c for n, c in result.files.items() if not n.endswith(".toml")})


def _check(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    check(request_of(work, job["settings"]), work.folder / "check", tell)


def _ways(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    result = options(request_of(work, job["settings"], choices=kept(work), page=False,
                                bars=job.get("bars", "")), progress=tell)
    others = {n: c for n, c in result.files.items() if n.startswith("draft-")}
    told = {"spots": result.report["spots"], "drafts": result.report.get("drafts", [])}
    publish(work.folder / "ways", {"report.json": json.dumps(told).encode(), **others})


def _take(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    """Take an option; nothing is written before the draft is made, and twice is as good as once."""
    asked = request_of(work, job["settings"], take=(job["take"],), choices=kept(work))
    result = convert(asked, progress=tell)
    _remember(work, job)
    put(work.choices, next((c for n, c in result.files.items() if n.endswith(".toml")), b""))
    _keep(work, result)


def _leave(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    """Take one choice back, wherever it stands among the others."""
    before = kept(work)
    rest = [c for c in read_choices(before) if c.id != job["leave"]] if before else []
    content = choices_text(rest).encode() if rest else b""
    result = _chosen(work, job, tell, content)
    _remember(work, job)
    put(work.choices, content)
    _keep(work, result)


def _undo(work: Work, job: Mapping[str, Any], tell: Tell) -> None:
    """Go back to the choices as they stood before the last change."""
    before = _before(work, job)
    back = before if before.exists() else work.choices  # gone: this is done the second time
    content = back.read_bytes() if back.exists() else b""
    result = _chosen(work, job, tell, content)
    put(work.choices, content)
    _keep(work, result)
    before.unlink(missing_ok=True)


def _chosen(work: Work, job: Mapping[str, Any], tell: Tell, content: bytes) -> Result:
    """A draft under the choices of a file that is not in force yet."""
    with tempfile.TemporaryDirectory(prefix=".", dir=work.folder) as place:
        file = Path(place) / work.choices.name
        file.write_bytes(content)
        asked = request_of(work, job["settings"], choices=file if content else None)
        return convert(asked, progress=tell)


def _before(work: Work, job: Mapping[str, Any]) -> Path:
    """Where the choices are kept as they stood before a change."""
    return work.undo / f"{job['number']}.toml"


def _remember(work: Work, job: Mapping[str, Any]) -> None:
    """Keep the choices as they stand, unless this was done when the job was begun before."""
    if not _before(work, job).exists():
        work.undo.mkdir(exist_ok=True)
        put(_before(work, job), work.choices.read_bytes() if work.choices.exists() else b"")


def kept(work: Work) -> Path | None:
    """The choices of a work, if any were made."""
    return work.choices if work.choices.exists() and work.choices.stat().st_size else None


DOES: Mapping[str, Callable[[Work, Mapping[str, Any], Tell], None]] = {
    "read": _read, "convert": _convert, "check": _check, "ways": _ways, "take": _take,
    "leave": _leave, "undo": _undo}


def done(work: Work, tell: Tell) -> str:
    """Do what the work's job asks; return why it could not be done, or nothing."""
    job = work.told("job")
    try:
        DOES[job["kind"]](work, job, tell)
    except ArrangerError as error:
        again = " Export the score again as MusicXML, and lay that down." \
            if job["kind"] == "read" else ""
        return on_the_page(str(error), work) + again
    except MemoryError:
        return ("This takes more memory than a score may. Give a shorter excerpt, or fewer parts.")
    except Exception as error:  # the page must say something, whatever happens
        return (f"A fault of this program ({type(error).__name__}). Nothing was changed. Please "
                f"report it with the score.")
    return ""


def on_the_page(message: str, work: Work) -> str:
    """An error in the words of the page, without the paths of the folder."""
    text = message.replace(f"{work.score}: ", "").replace(str(work.score), "the score")
    text = text.replace(f"{work.folder}{os.sep}", "")
    for pattern, words in _ON_THE_PAGE:
        text = pattern.sub(words, text)
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."


def main() -> int:
    """Wait for a folder and do its job; the last line tells how it ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server ends it
    limit_memory(MEMORY)
    warnings.simplefilter("ignore")
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    sys.stdout = io.StringIO()  # whatever a library prints is no answer
    folder = _told_folder()
    threading.Thread(target=_end_with_the_server, daemon=True).start()

    def tell(stage: str) -> None:
        out.write(json.dumps({"stage": stage}) + "\n")
        out.flush()
    why = done(Work(folder), tell)
    out.write(json.dumps({"done": not why, "why": why}) + "\n")
    out.close()
    return 0


def _told_folder() -> Path:
    """Read the folder from the server, unbuffered; end where the server is gone."""
    told = b""
    while not told.endswith(b"\n"):
        sign = os.read(0, 1)
        if not sign:
            sys.exit(1)
        told += sign
    return Path(os.fsdecode(told[:-1]))


def _end_with_the_server() -> None:
    os.read(0, 1)  # comes back when the other end is closed
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
