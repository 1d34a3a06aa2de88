"""What the fuzz campaign asks of one input, and the process that asks it of many.

``python -m tests.fuzz_judge MODE SEED FIRST LAST STEP`` prints one JSON line an input: number,
outcome, seconds of processor time (so that other work on the machine counts for nothing), peak
memory in MB, and what went wrong. Outcomes: ``read``, ``refused``, or a find.
"""

from __future__ import annotations

import io
import json
import os
import resource
import signal
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

from lxml import etree

from arranger.api import Request, convert
from arranger.io import other_read
from arranger.io.harp_part import as_harp_part
from arranger.io.midi_check import check_midi
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.other_convert import convert as through_music21
from arranger.io.part_choice import choose_parts
from arranger.io.part_marks import read_marks
from arranger.io.source import open_source
from arranger.limits import limit_memory
from arranger.model.errors import ArrangerError, SourceError
from tests.fuzz_mutate import musical, mutated
from tests.score_reading import read_score
from tests.simulation_result import HARD
from tests.simulator import simulate

#: Address space of a judging process, in bytes; a process that fills it is a find.
MEMORY = 2 * 2**30
#: What one input may take: seconds of processor time, and MB in the end.
SECONDS, MEGABYTES = 10.0, 1000
HARPS = ("pedal-47", "pedal-47", "pedal-47", "pedal-40", "lever-34", "cross-strung")


class Wrong(Exception):
    """The program answered, and the answer is wrong."""


def made(mode: str, seed: int, number: int) -> tuple[str, bytes]:
    """Return suffix and bytes of an input; the same for the same three on every machine."""
    random = Random(f"{seed}:{mode}:{number}")
    if mode == "readers":
        return mutated(random)
    return musical(random) if random.random() < 0.8 else mutated(random, formats=False)


def readers(path: Path, number: int) -> None:
    """Read a score as `convert` and as `check` do, all of it and its harp part."""
    root = _opened(path)
    read(root, str(path))
    chosen = choose_parts(root, (root.find("part").get("id", ""),) if number % 2 else ())
    part = as_harp_part(root, chosen)
    document = read(part.root, str(path))
    read_marks(document.root, part.part_id, document.score)


def pipeline(path: Path, number: int) -> None:
    """Convert; what is written must read as told, and a draft without errors must be playable.

    An odd file can be read in more than one way: where the independent reading of the source
    differs from ours, only our own reading of the draft is asked.
    """
    harp = HARPS[number % len(HARPS)]
    parts = (_first_part(path),) if number % 2 else ()
    result = convert(Request(path, parts=parts, harp=harp, page=number % 8 == 0))
    xml = result.files["draft.musicxml"]
    told = Counter({(n["onset"], n["midi"]): 1 for n in result.report["notes"] if not n["grace"]})
    draft = read(parse(xml, "draft")).score
    if told != _sums(draft.part_notes(draft.parts[-1].id), lambda n: n.pitch.midi):
        raise Wrong("the report tells other notes than the draft")
    if not harp.startswith("pedal") or not _clear(path):
        return
    written = read_score(xml)
    tempo = result.report["settings"]["tempo"] if written.tempo_assumed else None
    found = simulate(written, tempo=None if tempo is None else float(Fraction(tempo)))
    broken = {code: found.counts[code] for code in HARD if found.counts[code]}
    if broken and not result.incomplete and harp == "pedal-47":
        raise Wrong(f"simulator: {broken} {[str(f) for f in found.of(*HARD)][:3]}")


def _clear(path: Path) -> bool:
    """Tell whether two readers that know nothing of one another read the source alike."""
    ours = read(open_source(path)).score
    try:
        theirs = read_score(path)
    except Exception:
        return False  # the independent reader is made for sound files
    return (_sums(ours.notes, lambda n: n.pitch.midi) == _sums(theirs.notes, lambda n: n.midi)
            and [(m.onset, m.bpm) for m in ours.tempo.marks] == [
                (onset, Fraction(bpm)) for onset, bpm in theirs.tempo])


def _sums(notes: Iterable[Any], midi: Callable[[Any], int]) -> Counter[tuple[str, int]]:
    return Counter(dict.fromkeys(((str(n.onset), midi(n)) for n in notes if not n.grace), 1))


JUDGES: dict[str, Callable[[Path, int], None]] = {"readers": readers, "pipeline": pipeline}


def judged(mode: str, path: Path, number: int) -> tuple[str, str]:
    """Return the outcome for one file and, of a find, where and what."""
    try:
        JUDGES[mode](path, number)
    except ArrangerError as error:
        text = str(error)
        if "\n" in text or len(text) > 400 + len(str(path)) or "please report" in text:
            return "bad refusal", text[:600]
        return "refused", ""
    except TimeoutError:  # music21, given up where no handler stood any more
        return "refused", ""
    except MemoryError:
        return "memory", _where(sys.exc_info()[2])
    except Wrong as error:
        return "wrong", str(error)[:600]
    except Exception as error:  # what the campaign is for
        return "traceback", f"{_where(error.__traceback__)}: {type(error).__name__}: {error}"[:600]
    return "read", ""


def _opened(path: Path) -> etree._Element:
    """Open a source; music21 runs in this process, without the second it takes to start."""
    kind = other_read.FORMATS.get(path.suffix)
    if kind is None:
        return open_source(path)
    content = path.read_bytes()
    if kind == "midi":
        check_midi(content, str(path), other_read.LONGEST)
    elif absurd := other_read.refusal(content, kind):
        raise SourceError(f"{path}: {absurd}")
    signal.setitimer(signal.ITIMER_REAL, other_read.patience(content) / 2)  # sooner than there
    try:
        exported = through_music21(path, kind, other_read.LONGEST)
    except Exception as error:  # the real process answers these with one line
        raise SourceError(f"{path}: cannot be read as {kind}") from error
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
    return parse(exported, str(path))


def _too_long(*_: object) -> None:
    raise TimeoutError


def _first_part(path: Path) -> str:
    part = open_source(path).find("part")
    return "" if part is None else part.get("id", "")


def _where(trace: object) -> str:
    frames = list(traceback.extract_tb(trace))  # type: ignore[arg-type]
    own = [f for f in frames if "/arranger/" in f.filename] or frames
    return f"{Path(own[-1].filename).name}:{own[-1].lineno} {own[-1].name}"


def _spent() -> float:
    """Seconds of processor time so far, of this process and of those it started."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def _peak() -> int:
    """Most memory so far in MB, of this process or of one it started."""
    return max(resource.getrusage(who).ru_maxrss for who in (
        resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) // 1024


def main(argv: list[str]) -> int:
    """Judge inputs FIRST, FIRST + STEP ... below LAST."""
    mode, (seed, first, last, step) = argv[0], map(int, argv[1:5])
    limit_memory(MEMORY)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    warnings.simplefilter("ignore")
    signal.signal(signal.SIGALRM, _too_long)
    out = os.fdopen(os.dup(1), "w", buffering=1)
    sys.stdout = sys.stderr = io.StringIO()
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as at:
        for number in range(first, last, step):
            suffix, content = made(mode, seed, number)
            path = Path(at) / f"input{suffix}"
            path.write_bytes(content)
            begun, before = _spent(), _peak()
            outcome, what = judged(mode, path, number)
            spent, peak = _spent() - begun, _peak()
            if outcome in ("read", "refused") and spent > SECONDS:
                outcome, what = "slow", f"more than {SECONDS:g} s of processor time"
            if outcome in ("read", "refused") and before <= MEGABYTES < peak:
                outcome, what = "memory", f"more than {MEGABYTES} MB"
            out.write(json.dumps([number, outcome, round(spent, 4), peak, what]) + "\n")
            path.unlink()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
