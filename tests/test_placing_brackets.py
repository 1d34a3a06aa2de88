"""Brackets over placed groups: over the fingers of a group, parted where its system ends."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from lxml import etree

from arranger.api import Request, convert
from arranger.report.drawn_shapes import text_box
from arranger.report.part_pages import part_lines
from arranger.report.placing_brackets import draw_brackets, placed_together
from tests.handwritten import attributes, low, note, part, score


def drawing(**fingers: tuple[int, int]) -> ET.Element:
    """Fingers of notes at these places, as the engraver draws them."""
    root = ET.Element("svg")
    for name, (x, y) in fingers.items():
        group = ET.SubElement(root, "g", {"data-startid": f"#{name}"})
        text = ET.SubElement(group, "text", {"x": str(x), "y": str(y)})
        ET.SubElement(text, "tspan", {"font-size": "300px"}).text = "1"
    return root


def ends(root: ET.Element) -> list[tuple[int, int]]:
    """Left and right end of every bracket."""
    found = []
    for path in root.iter("path"):
        xs = [int(x) for x, _ in re.findall(r"(-?\d+) (-?\d+)", path.get("d", ""))]
        found.append((min(xs), max(xs)))
    return found


def test_a_bracket_reaches_over_its_fingers():
    root = drawing(a=(1000, 500), b=(2000, 300), c=(3000, 500))
    draw_brackets(root, [(("a",), ("b",), ("c",))])
    (left, right), = ends(root)
    assert left < 1000 < 3000 < right
    heights = [int(y) for y in re.findall(r"\d (-?\d+)", root.find(".//path").get("d"))]
    assert max(heights) < 300  # over the highest finger
    assert not any("data-startid" in element.attrib for element in root.iter())


def test_a_group_over_two_systems_has_a_bracket_in_each():
    root = drawing(a=(1000, 500), b=(2000, 500), c=(300, 4500), d=(900, 4500))
    draw_brackets(root, [(("a",), ("b",), ("c",), ("d",))])
    assert len(ends(root)) == 2
    alone = drawing(a=(2000, 500), b=(300, 4500))
    draw_brackets(alone, [(("a",), ("b",))])
    assert ends(alone) == []


def words(root: ET.Element, x: int, y: int, kind: str = "dir") -> ET.Element:
    """Words at a place; they are 300 units high."""
    text = ET.SubElement(ET.SubElement(root, "g", {"class": kind}), "text",
                         {"x": str(x), "y": str(y)})
    ET.SubElement(text, "tspan", {"font-size": "300px"}).text = "rit."
    return text


def test_words_rise_off_a_bracket_and_off_words_that_rose():
    root = drawing(a=(1000, 500), b=(2000, 500))
    on, above = words(root, 1100, 250), words(root, 1200, 0, "tempo")
    beside, far, under = words(root, 3000, 250), words(root, 1100, -2000), words(root, 1100, 900)
    draw_brackets(root, [(("a",), ("b",))])
    top = min(int(y) for y in re.findall(r"\d (-?\d+)", root.find(".//path").get("d")))
    low = {text: text_box(text).low for text in (on, above)}
    assert low[on] < top
    assert low[above] < text_box(on).top
    assert [float(text.get("y")) for text in (beside, far, under)] == [250, -2000, 900]


def test_where_a_grip_shows_no_finger_there_is_no_bracket_over_it():
    root = drawing(a=(1000, 500), c=(3000, 500))
    draw_brackets(root, [(("a",), ("b",), ("c",))])
    assert ends(root) == []


def test_groups_of_one_grip_need_none():
    notes = [{"id": "a", "group": 1, "onset": "0"}, {"id": "b", "group": 1, "onset": "0"},
             {"id": "c", "group": 2, "onset": "1/2"}, {"id": "d", "group": 2, "onset": "0"},
             {"id": "e", "onset": "1"}]
    assert placed_together(notes) == ((("d",), ("c",)),)


def test_the_print_has_a_bracket_over_every_placed_group(tmp_path):
    up = "".join(note(n, 2) for n in ("C4", "E4", "G4", "C5"))
    path = tmp_path / "figure.musicxml"
    path.write_bytes(etree.tostring(score(part(
        attributes() + up * 2 + "<backup><duration>16</duration></backup>" + low("C3", 16)))))
    made = convert(Request(path, page=False))
    groups = placed_together(made.report["notes"])
    assert len(groups) == 2
    (line,), *_ = part_lines(made.files["draft.musicxml"], {}, groups)
    assert len([p for p in line.drawing.iter("path") if p.get("stroke-width") == "16"]) == 2
