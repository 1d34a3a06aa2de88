"""Real music as seeds of the fuzz campaign: short excerpts of scores, MIDI, MEI, Humdrum and ABC.

Everything is found on the machine: the corpus of this project, the test data beside it where there
is any, and what the music21 package ships (a MusicXML test suite, MIDI, MEI, Humdrum, ABC).
"""

from __future__ import annotations

import copy
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from random import Random

from lxml import etree

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = (ROOT / "corpus", ROOT.parent / "shared" / "data")
#: Longest seed of another format that is used, in bytes.
LONGEST = 8_000
#: So many different excerpts are cut from a score.
EXCERPTS = 24


@dataclass(frozen=True, slots=True)
class Seed:
    """One real piece of music in one format, with where it comes from."""

    name: str
    suffix: str
    content: bytes


@cache
def scores() -> tuple[Seed, ...]:
    """Whole MusicXML scores, unpacked, in the order of their names."""
    paths = [p for folder in FOLDERS if folder.exists() for p in sorted(folder.rglob("*"))
             if p.suffix in (".musicxml", ".mxl") and p.stat().st_size < 60_000]
    paths += [ROOT / "corpus" / name / "score.musicxml" for name in
              ("the-evening-watch", "the-mill-race", "lantern-on-the-water")]
    return tuple(Seed(p.stem, ".musicxml", _unpacked(p)) for p in dict.fromkeys(paths))


@cache
def suite() -> tuple[Seed, ...]:
    """Small files written to try readers of MusicXML, from the music21 package."""
    folder = _music21() / "musicxml" / "lilypondTestSuite"
    return tuple(Seed(p.stem, ".musicxml", p.read_bytes()) for p in sorted(folder.glob("*.xml"))
                 if p.stat().st_size < LONGEST)


@cache
def others() -> tuple[Seed, ...]:
    """MIDI, MEI, Humdrum and ABC from the music21 package, a few dozen of each."""
    found = []
    for suffix, places, most in ((".mid", ("midi/testPrimitive", "omr"), 40),
                                 (".mei", ("mei/test",), 10),
                                 (".krn", ("corpus/bach", "corpus/palestrina"), 30),
                                 (".abc", ("corpus/airdsAirs", "corpus/essenFolksong",
                                           "corpus/miscFolk", "corpus/oneills1850"), 40)):
        paths = [p for place in places for p in sorted((_music21() / place).glob(f"*{suffix}"))
                 if p.stat().st_size < LONGEST]
        found += [Seed(p.stem, suffix, p.read_bytes()) for p in paths[:most]]
    return tuple(found)


def excerpt(seed: Seed, random: Random) -> etree._Element:
    """Return one of the excerpts of a score; few enough to be kept, so that memory stays small."""
    return etree.fromstring(_excerpts(seed)[random.randrange(EXCERPTS)])


@cache
def _excerpts(seed: Seed) -> tuple[bytes, ...]:
    """All excerpts of a score, from one parse of it."""
    root = etree.fromstring(seed.content)
    return tuple(_excerpt(root, Random(f"{seed.name}:{number}")) for number in range(EXCERPTS))


def _excerpt(root: etree._Element, random: Random) -> bytes:
    """Some bars of at most three parts of a score, with the attributes in force."""
    parts = root.findall("part")
    kept = random.sample(range(len(parts)), min(len(parts), random.choice((1, 1, 1, 2, 3))))
    bars = max(1, min(len(part) for part in parts))
    start = random.randrange(bars)
    stop = start + random.choice((1, 2, 2, 3, 4, 6))
    cut = etree.Element(root.tag, dict(root.attrib))
    for child in root:
        if child.tag != "part":
            cut.append(copy.deepcopy(child))
    for index in sorted(kept):
        cut.append(_bars(parts[index], start, stop))
    ids = {parts[i].get("id") for i in kept}
    for listed in list(cut.iterfind("part-list/score-part")):
        if listed.get("id") not in ids:
            listed.getparent().remove(listed)
    return etree.tostring(cut)


def _bars(part: etree._Element, start: int, stop: int) -> etree._Element:
    measures = part.findall("measure")
    cut = etree.Element("part", dict(part.attrib))
    in_force = list(_in_force(measures[:start]))
    for measure in measures[start:stop]:
        cut.append(copy.deepcopy(measure))
    if in_force and len(cut):
        opening = etree.Element("attributes")
        opening.extend(copy.deepcopy(element) for element in in_force)
        cut[0].insert(0, opening)
    return cut


def _in_force(measures: list[etree._Element]) -> Iterator[etree._Element]:
    last: dict[tuple[str, str], etree._Element] = {}
    for measure in measures:
        for element in measure.iterfind("attributes/*"):
            last[element.tag, element.get("number", "")] = element
    order = ("divisions", "key", "time", "staves", "clef", "transpose")
    yield from sorted((e for e in last.values() if e.tag in order),
                      key=lambda e: order.index(e.tag))


def _unpacked(path: Path) -> bytes:
    content = path.read_bytes()
    if not content.startswith(b"PK"):
        return content
    with zipfile.ZipFile(BytesIO(content)) as archive:
        return archive.read(next(n for n in archive.namelist() if not n.startswith("META-INF")))


def _music21() -> Path:
    found = find_spec("music21")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent
