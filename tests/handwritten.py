"""Small MusicXML scores written out by hand, for the tests of reading and writing."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from lxml import etree

from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.model.pitch import Pitch
from arranger.model.score import Score

TYPES = {1: "16th", 2: "eighth", 3: "eighth", 4: "quarter", 6: "quarter", 8: "half", 12: "half",
         16: "whole"}
DIVISIONS = 4


def note(name: str, length: int = 4, *, voice: int = 1, staff: int = 1, chord: bool = False,
         tie: str = "", beam: str = "", notations: str = "", grace: bool = False,
         triplet: bool = False, accidental: str = "") -> str:
    """A note of ``length`` sixteenths (``r`` for a rest); ``beam`` as ``begin`` or ``end end``."""
    if name == "r":
        what = "<rest/>"
    else:
        pitch = Pitch.parse(name)
        alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
        what = f"<pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>"
    ties = "".join(f'<tie type="{t}"/>' for t in tie.split())
    tied = "".join(f'<tied type="{t}"/>' for t in tie.split())
    beams = "".join(f'<beam number="{i}">{b}</beam>' for i, b in enumerate(beam.split(), 1))
    dot = "<dot/>" if length in (3, 6, 12) else ""
    change = ("<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
              "</time-modification>" if triplet else "")
    kind = "eighth" if triplet or grace else TYPES[length]
    return (f"<note>{'<grace/>' if grace else ''}{'<chord/>' if chord else ''}{what}"
            f"{'' if grace else f'<duration>{length}</duration>'}{ties}<voice>{voice}</voice>"
            f"<type>{kind}</type>{dot if not triplet else ''}"
            f"{f'<accidental>{accidental}</accidental>' if accidental else ''}{change}"
            f"<staff>{staff}</staff>{beams}"
            f"{f'<notations>{tied}{notations}</notations>' if tied or notations else ''}</note>")


def chord(names: str, length: int = 4, **more: object) -> str:
    """Notes on one stem; what is not a pitch belongs to the first."""
    first, *others = names.split()
    plain = {k: v for k, v in more.items() if k in ("voice", "staff", "tie", "grace", "triplet")}
    return note(first, length, **more) + "".join(  # type: ignore[arg-type]
        note(n, length, chord=True, **plain) for n in others)  # type: ignore[arg-type]


def backup(length: int) -> str:
    return f"<backup><duration>{length}</duration></backup>"


def words(text: str, staff: int = 1) -> str:
    return (f"<direction><direction-type><words>{text}</words></direction-type>"
            f"<staff>{staff}</staff></direction>")


def attributes(staves: int = 2, fifths: int = 0, beats: int = 4, divisions: int = DIVISIONS,
               more: str = "") -> str:
    clefs = "".join(f'<clef number="{s}"><sign>{"GF"[s > 1]}</sign><line>{(2, 4)[s > 1]}</line>'
                    "</clef>" for s in range(1, staves + 1))
    return (f"<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths></key>"
            f"<time><beats>{beats}</beats><beat-type>4</beat-type></time>"
            f"<staves>{staves}</staves>{clefs}{more}</attributes>")


def part(*measures: str, ident: str = "P1") -> str:
    """A part; the first measure states its own attributes."""
    return f'<part id="{ident}">' + "".join(
        f'<measure number="{i}">{m}</measure>' for i, m in enumerate(measures, 1)) + "</part>"


def score(*parts: str, names: tuple[str, ...] = ("Piano",), listing: str = "") -> etree._Element:
    """A score-partwise root; parts are called P1, P2 ... in order."""
    lines = listing or "".join(f'<score-part id="P{i}"><part-name>{n}</part-name></score-part>'
                               for i, n in enumerate(names, 1))
    return etree.fromstring(f'<score-partwise version="4.0"><part-list>{lines}</part-list>'
                            + "".join(parts) + "</score-partwise>")


def piano(*measures: str, fifths: int = 0, beats: int = 4) -> etree._Element:
    """A piano score of one part and two staves."""
    first, *others = measures
    return score(part(attributes(fifths=fifths, beats=beats) + first, *others))


def low(name: str, length: int = 4) -> str:
    """A note of the lower staff."""
    return note(name, length, voice=5, staff=2)


def score_of(root: etree._Element, bpm: int) -> tuple[Score, str]:
    """The score of P1 as a harp part at a tempo, and the id of that part."""
    made = as_harp_part(root, ("P1",))
    found = read(made.root).score
    return replace(found, tempo=found.tempo.scaled(Fraction(bpm))), made.part_id
