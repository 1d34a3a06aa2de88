"""Everything the page shows engraved: the score, wide and narrow, and source above draft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from arranger.report.engraver import Drawn, EngravingError, engraved
from arranger.report.page_bars import Paired, bar_pairs, paired
from arranger.report.page_bars import asked_of as pairs_asked
from arranger.report.page_marks import Mark
from arranger.report.page_score import Engraving, Written, asked_of, finished, read_written
from arranger.report.page_time import Source
from arranger.report.placing_brackets import Placed

_UNREAD = Drawn(problem="The draft could not be read, so it is not shown.")
_NO_NARROW = ("The score could not be engraved for narrow screens, a fault of the engraving "
              "library; there it is shown as on wide ones.")
_NO_PAIRS = ("Source and draft could not be engraved bar above bar, a fault of the engraving "
             "library; score and lists are complete.")


@dataclass(frozen=True, slots=True)
class Drawings:
    """What was engraved; ``glyphs`` holds the music signs of all, ``problems`` what is missing."""

    written: Written
    wide: Engraving
    narrow: Engraving
    pairs: tuple[str, ...]
    glyphs: dict[str, ET.Element]
    problems: tuple[str, ...]


def drawings(marks: Sequence[Mark], draft_xml: bytes, source: Source,
             groups: Sequence[Placed] = ()) -> Drawings:
    """Engrave the draft, and the source above it if there is one; never raises for odd music.

    Parameters
    ----------
    marks
        What is to be marked on the notes of the draft.
    draft_xml
        MusicXML of the draft or the checked part.
    source
        The arranged part as it was.
    groups
        Placed groups, over which brackets are drawn.
    """
    written = read_written(draft_xml)
    pairs = paired(source.xml, draft_xml) if source.xml else None
    asked = [asked_of(written), asked_of(written, narrow=True)] if written.xml else []
    if pairs is not None:
        asked.append(pairs_asked(pairs))
    drawn = engraved(*asked)
    wide, small = drawn[:2] if written.xml else (_UNREAD, _UNREAD)
    engraving, narrow = (finished(d, written, marks, groups) for d in (wide, small))
    glyphs = {**narrow.glyphs, **engraving.glyphs}
    shown, lost = _pairs(drawn[-1], pairs, marks, glyphs) if pairs is not None else ((), False)
    problems = [engraving.problem] if engraving.problem else [
        words for words, missing in ((_NO_NARROW, narrow.problem), (_NO_PAIRS, lost)) if missing]
    return Drawings(written, engraving, narrow, shown, glyphs, tuple(problems))


def _pairs(drawn: Drawn, pairs: Paired, marks: Sequence[Mark],
           glyphs: dict[str, ET.Element]) -> tuple[tuple[str, ...], bool]:
    """Return the drawings of the bars, and whether they are lost."""
    try:
        return tuple(bar_pairs(drawn, pairs, marks, glyphs)), False
    except EngravingError:
        return (), True
