"""Words sung and chord symbols of the print stand apart, and words keep to their bars."""

from __future__ import annotations

from itertools import pairwise

from arranger.report.part_breaks import bar_widths
from arranger.report.part_pages import part_lines
from arranger.report.pdf_text import FITTED, SUNG, Run, draw_runs, runs_of, width

WORDS = ("strength", "through", "streams", "brightest")


def song() -> bytes:
    notes = "".join(f"<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration>"
                    f"<voice>1</voice><type>quarter</type><staff>1</staff>"
                    f"<lyric><syllabic>single</syllabic><text>{word}</text></lyric></note>"
                    for word in WORDS)
    low = ('<backup><duration>4</duration></backup><note><rest measure="yes"/><duration>4'
           "</duration><voice>2</voice><staff>2</staff></note>")
    head = ("<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type>"
            "</time><staves>2</staves></attributes>")
    bars = "".join(f'<measure number="{n}">{head if n == 1 else ""}{notes}{low}</measure>'
                   for n in range(1, 9))
    return ('<score-partwise><part-list><score-part id="P1"><part-name/></score-part></part-list>'
            f'<part id="P1">{bars}</part></score-partwise>').encode()


def test_words_leave_room_and_begin_behind_the_bar_line():
    for line in part_lines(song(), {})[0]:
        edges = [0.0]
        for wide in bar_widths(line.drawing):
            edges.append(edges[-1] + wide)
        spans = []
        for verse in line.drawing.iter("g"):
            if verse.get("class") == "verse":
                for text in verse.iter("text"):
                    (x, _, _, runs), = runs_of(text, frozenset({"verse"}))
                    spans.append((x, x + sum(map(width, runs))))
        assert len(spans) == 4 * (len(edges) - 1)
        assert all(b[0] - a[1] > 60 for a, b in pairwise(sorted(spans)))  # hundredths
        for bar, edge in enumerate(edges[1:-1], 1):
            assert spans[4 * bar][0] >= edge
        assert sum(bar_widths(line.drawing)) <= 18010  # pages are whole tenths of a millimetre wide


def test_words_sung_are_as_wide_as_the_engraver_reckons():
    assert SUNG < FITTED
    from reportlab.pdfbase.pdfmetrics import stringWidth
    for word in WORDS:
        assert width(Run(word, 100, fitted=SUNG)) <= 1.03 * stringWidth(word, "Times-Roman", 100)


class Canvas:
    """Notes where words are drawn."""

    def setFont(self, *_: object) -> None:
        pass

    def drawString(self, x: float, y: float, text: str) -> None:
        pass


def placed(sign: str, words: str) -> float:
    """Room between words and a sign of the music font behind them."""
    found: list[float] = []
    run = Run(words, 100)
    draw_runs(Canvas(), 0.0, 0.0, "start", [run, Run(sign, 100)],
              lambda d, x, y, scale: found.append(x))
    return found[0] - width(run)


def test_the_accidental_of_a_chord_symbol_stands_close():
    assert placed("\uea64", "B") == placed("\ued60", "B") == placed("♭", "B") == 0
    assert placed("\ueca5", "Slow") > 0
