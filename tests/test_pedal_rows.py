"""Pedal marks stand in two rows below a system, and nothing meets them."""

from __future__ import annotations

import re
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest

from arranger.report.drawn_shapes import Box, Shapes, lowest
from arranger.report.engraver import (
    EngravingError,
    as_text,
    clean,
    draw_settings,
    engraved,
    hold_settings,
)
from arranger.report.page_score import asked_of, read_written
from arranger.report.pedal_rows import draw_pedals, hold_pedals, said_pedals

NOTE = ("<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>1</duration>"
        "<voice>{staff}</voice><type>quarter</type><staff>{staff}</staff></note>")


def words(*texts: str, offset: str = "") -> str:
    shown = "".join(f'<words enclosure="rectangle">{text[1:-1]}</words>' if text[:1] == "["
                    else f"<words>{text}</words>" for text in texts)
    return (f'<direction placement="below"><direction-type>{shown}</direction-type>{offset}'
            "<staff>2</staff></direction>")


def bar(number: int, marks: dict[int, str], low: tuple[tuple[str, int], ...]) -> str:
    head = ("<attributes><divisions>1</divisions><staves>2</staves><clef number='1'><sign>G</sign>"
            "<line>2</line></clef><clef number='2'><sign>F</sign><line>4</line></clef></attributes>"
            if number == 1 else "")
    upper = "".join(NOTE.format("C", 5, staff=1) for _ in range(4))
    lower = "".join(marks.get(k, "") + NOTE.format(step, octave, staff=2)
                    for k, (step, octave) in enumerate(low))
    return (f'<measure number="{number}">{head}{upper}<backup><duration>4</duration></backup>'
            f"{lower}</measure>")


HIGH = (("C", 3), ("E", 3), ("C", 3), ("E", 3))
DEEP = (("C", 3), ("C", 1), ("C", 3), ("E", 3))


def score(*bars: str) -> bytes:
    return ('<score-partwise version="4.0"><part-list><score-part id="P"><part-name/></score-part>'
            f'</part-list><part id="P">{"".join(bars)}</part></score-partwise>').encode()


def drawn(xml: bytes) -> tuple[ET.Element, dict[str, ET.Element]]:
    written, glyphs = read_written(xml), {}
    engraving, = engraved(asked_of(written))
    try:
        root = clean(next(iter(engraving.pages())), glyphs)
    except EngravingError as error:
        pytest.skip(str(error))
    draw_settings(root, written.settings, glyphs)
    return root, glyphs


def marks_in(system: ET.Element) -> dict[str, tuple[float, float]]:
    return {said: (float(text.get("x")), float(text.get("y"))) for text in system.iter("text")
            if re.fullmatch("[A-G][♯♭♮]", said := "".join(text.itertext()).strip())}


def test_the_right_foot_stands_above_the_left_in_rows_of_their_own():
    root, _ = drawn(score(
        bar(1, {0: words("A♮ B♮"), 1: words("[F♯]", "\u00a0", "C♯")}, HIGH),
        bar(2, {0: words("D♭"), 2: words("G♭"), 3: words("E♭")}, DEEP)))
    system, = root.findall(".//g[@class='system']")
    found = marks_in(system)
    rows = {word: y for word, (_, y) in found.items()}
    assert len({rows[w] for w in ("A♮", "F♯", "G♭", "E♭")}) == 1
    assert len({rows[w] for w in ("B♮", "C♯", "D♭")}) == 1
    assert rows["A♮"] < rows["B♮"]
    assert found["A♮"][0] == found["B♮"][0]
    box, = system.findall(".//g[@class='dir']/rect")
    assert float(box.get("x")) < found["F♯"][0] < float(box.get("x")) + float(box.get("width"))


def test_no_mark_meets_another_or_what_is_drawn():
    close = words("G♯", offset="<offset>1</offset>")
    root, glyphs = drawn(score(
        bar(1, {0: words("E♭ F♯"), 1: words("[G♭]") + close, 2: words("A♭"), 3: words("dim.")},
            DEEP)))
    system, = root.findall(".//g[@class='system']")
    shapes = Shapes(glyphs)
    groups = system.findall(".//g[@class='dir']")
    boxes = [box for group in groups for box in map(shapes.box, group)
             if box is not None and box.right > box.left]
    texts = [shapes.box(text) for group in groups for text in group.findall("text")]
    assert not any(one.meets(two) for one, two in combinations(texts, 2))
    edges = list(shapes.edges(system, groups))
    assert all(lowest(edges, box.left, box.right) <= box.top for box in boxes)


def test_a_diagram_gives_way_to_the_rows():
    tuning = "".join(f"<pedal-tuning><pedal-step>{s}</pedal-step><pedal-alter>0</pedal-alter>"
                     "</pedal-tuning>" for s in "DCBEFGA")
    diagram = ('<direction placement="below"><direction-type><harp-pedals>' + tuning
               + "</harp-pedals></direction-type><staff>2</staff></direction>")
    root, _ = drawn(score(bar(1, {0: diagram, 1: words("F♯")}, HIGH)))
    system, = root.findall(".//g[@class='system']")
    (x, y), = marks_in(system).values()
    picture, = system.findall(".//g[@class='dir']/svg")
    left, wide = float(picture.get("x")), float(picture.get("width"))
    if left < x < left + wide:
        assert float(picture.get("y")) > y


@pytest.mark.parametrize(("direction", "said"), [
    (words("F♯ C♮"), ["F♯", "C♮"]), (words("[F♯]", "\u00a0", "C♮"), ["[F♯]", "C♮"]),
    (words("dolce"), []), (words("F♯ dolce"), []), (words(""), [])])
def test_pedal_words_are_known(direction, said):
    assert said_pedals(ET.fromstring(direction)) == said
    held = ET.fromstring(direction)
    hold_pedals(held)
    text = "".join(w.text or "" for w in held.iter("words"))
    assert ("♯" in text) == ("dolce" in text and "♯" in direction)


def test_lowest_edge_between_two_places():
    edges = [((0.0, 0.0), (10.0, 10.0)), ((4.0, 3.0), (4.0, 9.0))]
    assert lowest(edges, 2, 3) == pytest.approx(3)
    assert lowest(edges, 3, 5) == 9
    assert lowest(edges, 11, 12) == float("-inf")
    assert Box(0, 0, 2, 2).meets(Box(1, 1, 3, 3))
    assert not Box(0, 0, 2, 2).meets(Box(2, 0, 3, 2))


def test_a_page_without_marks_stays():
    root = ET.fromstring(drawn_without())
    before = as_text(root)
    draw_pedals(root, {})
    assert as_text(root) == before


def drawn_without() -> str:
    part = ET.fromstring(score(bar(1, {}, HIGH))).find("part")
    assert hold_settings(part) == ()
    return '<svg viewBox="0 0 10 10"><svg viewBox="0 0 100 100"><g class="system"/></svg></svg>'


def test_a_page_with_margins_is_never_cut():
    written, glyphs = read_written(score(bar(1, {0: words("F♯")}, HIGH))), {}
    engraving, = engraved(asked_of(written))
    try:
        root = clean(next(iter(engraving.pages())), glyphs)
    except EngravingError as error:
        pytest.skip(str(error))
    before = root.get("viewBox")
    draw_settings(root, written.settings, glyphs)
    assert root.get("viewBox") == before
