"""Drafts of several parts are looked at as they are read once they are written."""

from __future__ import annotations

import pytest
from lxml import etree

from arranger.commands.converting import convert
from arranger.commands.opening import open_to_arrange, settings_of
from arranger.commands.request import Request
from arranger.io.as_read import as_read
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.passes.pipeline import arrange
from arranger.passes.start import as_source
from tests.handwritten import attributes, note, part, score

SIGNS = {".": "<articulations><staccato/></articulations>",
         "~": "<ornaments><trill-mark/></ornaments>", "%": "<ornaments><turn/></ornaments>"}


def quartet(*lines: str) -> etree._Element:
    """Four players; a line is notes as ``C5/4``, split into bars at ``|``.

    ``C5.`` is short, ``C5~`` trilled, ``C5%`` turned; ``C5/0`` is a grace note.
    """
    parts = []
    for at, line in enumerate(lines, 1):
        first, *others = ("".join(map(written, bar.split())) for bar in line.split("|"))
        parts.append(part(attributes(1) + first, *others, ident=f"P{at}"))
    return score(*parts, names=("Violin I", "Violin II", "Viola", "Cello"))


def written(text: str) -> str:
    name, length = text.split("/")
    return note(name.rstrip("".join(SIGNS)), int(length), grace=length == "0",
                notations="".join(xml for sign, xml in SIGNS.items() if sign in name))


#: Drawn at random and cut down: a note that the page has shorter than its player asked for other
#: strings when the draft was arranged again, or let a pedal move sooner.
CHANGED = {
    "strings": quartet(
        "r/12 C5/3 r/1 | r/16", "r/12 r/1 F4/3 | r/12 E5/4", "r/12 F4/4 | r/12 Bb3/2 r/2",
        "r/16 | r/6 C3/1 C3/3 Bb2/4 r/2"),
    "a pedal": quartet(
        "r/1 r/8 Eb5/6 Eb5/1 | r/16", "r/16 | r/16", "r/12 Ab3/3 r/1 | A3/2 r/2 r/12",
        "r/2 G2/2 r/8 B3/1 B2/3 | r/16")}


@pytest.mark.parametrize("ease", [0, 3])
@pytest.mark.parametrize("name", CHANGED)
def test_a_draft_of_several_parts_comes_back_unchanged(name: str, ease: int, tmp_path) -> None:
    path = tmp_path / "quartet.musicxml"
    path.write_bytes(etree.tostring(CHANGED[name]))
    convert(Request(path, ("all",), page=False, verify=True, ease=ease))


def test_a_draft_is_looked_at_as_its_page_is_read(tmp_path) -> None:
    """Lengths, voices, stems and the signs on them; of two ornaments the higher; graces."""
    path = tmp_path / "quartet.musicxml"
    path.write_bytes(etree.tostring(quartet(
        "G5.~/8 A5/4 F5/4 | B5/16 | r/12 C5/3 r/1",
        "E5%/8 E5/8 | D5/0 E5/3 F5/3 G5/2 A5/8 | r/12 r/1 F4/3",
        "C5/16 | C5/0 D5./3 B4/1 B4/12 | r/12 F4/4", "C3/16 | G2/4 C3/6 G3/6 | r/16")))
    request = Request(path, ("all",), page=False)
    opened = open_to_arrange(request)
    draft = arrange(opened.document.score, opened.part,
                    opened.arranging(settings_of(request))).draft
    look = as_source(draft, as_read(opened.document, draft))
    xml = convert(request).files["draft.musicxml"]
    page = read(parse(xml, "draft"), "draft").score
    assert told(look.part_notes(draft.part)) == told(page.part_notes(page.parts[-1].id))
    meant = as_source(draft)
    for of in (lambda n: n.duration, lambda n: n.voice, lambda n: n.marks):
        assert list(map(of, look.notes)) != list(map(of, meant.notes))
    assert {n.id for n in look.notes} == {n.id for n in draft.notes}


def told(notes):
    """All that a page says of its notes, chords by their first note."""
    first: dict[int, int] = {}
    rows = sorted(notes, key=lambda n: (n.onset, not n.grace, n.midi))
    return [(n.onset, n.duration, n.pitch, n.staff, n.voice, n.grace, n.marks,
             first.setdefault(n.chord, at)) for at, n in enumerate(rows)]
