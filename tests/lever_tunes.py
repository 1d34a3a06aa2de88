"""Folk songs and hymns of the music21 package on a lever harp: ``python -m tests.lever_tunes [N]``.

Reads tunes evenly from the collections, makes each a MusicXML file, arranges it with the key the
program advises, and replays what was written.
"""

from __future__ import annotations

import re
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from arranger.api import Request, convert
from tests.lever_simulator import replay
from tests.score_reading import read_score

SCALES = [frozenset((root + step) % 12 for step in (0, 2, 4, 5, 7, 9, 11)) for root in range(12)]


@dataclass(frozen=True)
class Arranged:
    """One tune: is it diatonic, lever moves without and with key advice, what was wrong."""

    name: str
    diatonic: bool
    bars: int
    moves_as_written: int
    moves: int
    lost: int
    semitones: int
    wrong: tuple[tuple[str, str, str], ...]


def folder() -> Path:
    import music21
    return Path(music21.__file__).parent / "corpus"


def texts() -> list[tuple[str, str]]:
    """Every single folk tune in ABC, by name."""
    found = []
    for path in sorted(p for name in ("essenFolksong", "airdsAirs", "oneills1850", "ryansMammoth")
                       for p in (folder() / name).glob("*.abc")):
        whole = path.read_text("utf-8", errors="replace")
        for text in re.split(r"(?m)^(?=X:)", whole)[1:]:
            number = text.split("\n", 1)[0].removeprefix("X:").strip()
            found.append((f"{path.stem}-{number}", text))
    return found


def hymns() -> list[Path]:
    """Chorales in four parts."""
    return sorted(p for p in (folder() / "bach").glob("bwv*.mxl")
                  if 250 <= int((re.findall(r"\d+", p.stem) or ["0"])[0]) <= 438)


def chosen(count: int) -> Iterator[tuple[str, bytes | Path]]:
    """Evenly ``count`` tunes, a fifth of them hymns, as MusicXML."""
    warnings.simplefilter("ignore")
    from music21 import converter
    from music21.musicxml.m21ToXml import GeneralObjectExporter
    songs = texts()
    wanted = count - count // 5
    for at in range(wanted):
        name, text = songs[at * len(songs) // wanted]
        try:
            parsed = converter.parse(text, format="abc")
            if parsed.recurse().notes:
                yield name, GeneralObjectExporter(parsed).parse()
        except Exception as error:  # music21 cannot read every tune of its own package
            print(f"{name}: {type(error).__name__}", file=sys.stderr)
    chorales = hymns()
    for at in range(count // 5):
        path = chorales[at * len(chorales) // (count // 5)]
        yield path.stem, path


def arranged(name: str, music: bytes | Path, harp: str = "lever-34") -> Arranged:
    with tempfile.TemporaryDirectory() as place:
        path = music if isinstance(music, Path) else Path(place) / "tune.musicxml"
        if isinstance(music, bytes):
            path.write_bytes(music)
        parts = tuple(f"P{i}" for i in range(1, 5)) if isinstance(music, Path) else ()
        if parts:
            parts = tuple(ident for ident, _ in read_score(path).parts)[:4]
        plain = convert(Request(path, parts=parts, harp=harp, page=False))
        best = convert(Request(path, parts=parts, harp=harp, page=False, transpose="best"))
    played = replay(best.files["draft.musicxml"])
    classes = {n.midi % 12 for n in read_score(path if isinstance(music, Path) else music).notes}
    ledger = Counter(e["kind"] for e in best.report["ledger"])
    return Arranged(
        name, any(classes <= s for s in SCALES), played.bars,
        plain.report["summary"]["lever_moves"], played.written_moves,
        sum(ledger[k] for k in ("drop", "repitch", "octave")),
        best.report["settings"].get("transpose", 0), played.found)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 240
    found = []
    for name, music in chosen(count):
        try:
            found.append(arranged(name, music))
        except Exception as error:
            print(f"{name}: {type(error).__name__}: {error}", file=sys.stderr)
            continue
        if found[-1].wrong or (found[-1].diatonic and found[-1].moves):
            print(found[-1])
    diatonic = [a for a in found if a.diatonic]
    bars = sum(a.bars for a in found)
    print(f"{len(found)} tunes, {bars} bars, {len(diatonic)} diatonic")
    print(f"wrong: {dict(Counter(code for a in found for code, _, _ in a.wrong))}")
    for label, some in (("all", found), ("diatonic", diatonic)):
        long = sum(a.bars for a in some) or 1
        print(f"{label}: lever moves per 16 bars "
              f"{16 * sum(a.moves_as_written for a in some) / long:.2f} as written, "
              f"{16 * sum(a.moves for a in some) / long:.2f} after key advice; without a move "
              f"{sum(not a.moves for a in some)} of {len(some)}; notes lost or moved "
              f"{sum(a.lost for a in some)}")


if __name__ == "__main__":
    main()
