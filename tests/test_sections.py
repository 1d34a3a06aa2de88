"""Where the whole setting is printed again."""

from __future__ import annotations

from fractions import Fraction
from xml.etree import ElementTree

from lxml import etree

from arranger.io.write_pedals import write_pedals
from arranger.model.draft import Draft, PedalMove, PedalPlan
from arranger.passes.sections import sections
from arranger.report.engraver import hold_settings
from tests.handwritten import backup, note, piano
from tests.writing import document_of, draft_of

BAR = note("C5", 8) + note("D5", 8) + backup(16) + note("C3", 16, voice=5, staff=2)
REST = note("r", 16) + backup(16) + note("r", 16, voice=5, staff=2)
KEY = "<attributes><key><fifths>-2</fifths></key></attributes>"


def move(onset: int, pedal: str = "B", before: int = 0, after: int = -1) -> PedalMove:
    return PedalMove(Fraction(onset), float(onset), pedal, before, after)


def draft(*bars: str, moves: tuple[PedalMove, ...] = ()) -> Draft:
    return draft_of(document_of(piano(*bars)), plan=PedalPlan(moves=moves))


def test_a_setting_is_not_printed_again_a_bar_later():
    moved = draft(*[BAR] * 5, moves=(move(5), move(9, "E"), move(13, "A")))
    assert sections(moved, doubles=[Fraction(8), Fraction(12), Fraction(16)]) == (8, 16)
    assert sections(moved, [Fraction(12)], [Fraction(8)]) == (8, 12)


def test_a_new_key_shows_the_setting_also_where_a_pedal_moves_at_that_moment():
    assert sections(draft(BAR, KEY + BAR, moves=(move(4),))) == (4,)
    assert sections(draft(BAR, KEY + BAR, moves=(move(2),))) == (4,)


def test_nothing_new_is_not_told_but_at_rehearsal_marks():
    plain = draft(BAR, KEY + BAR, BAR)
    assert sections(plain) == ()
    assert sections(plain, doubles=[Fraction(8)]) == ()
    assert sections(plain, rehearsals=[Fraction(8)]) == (8,)


def test_double_bars_long_rests_and_jump_targets():
    moved = draft(BAR, BAR, BAR, moves=(move(1),))
    assert sections(moved, doubles=[Fraction(8)]) == (8,)
    assert sections(draft(BAR, *[REST] * 4, BAR, moves=(move(1),))) == (20,)
    assert sections(draft(BAR, *[REST] * 3, BAR, moves=(move(1),))) == ()
    start = '<barline location="left"><repeat direction="forward"/></barline>'
    stop = '<barline location="right"><repeat direction="backward"/></barline>'
    assert sections(draft(BAR, start + BAR, BAR + stop, BAR, moves=(move(1), move(9, "E")))) == (
        4, 12)


def test_a_glissando_shows_its_setting():
    slide = ('<glissando type="{}" number="1" line-type="wavy"/>')
    bar = (note("C4", 8, notations=slide.format("start")) + note("C6", 8, notations=slide.format(
        "stop")) + backup(16) + note("r", 16, voice=5, staff=2))
    assert sections(draft(BAR, bar, moves=(move(3),))) == (4,)


def test_the_setting_stands_behind_the_moves_of_its_moment():
    part = draft(BAR, KEY + BAR, moves=(move(4),))
    document = document_of(piano(BAR, KEY + BAR))
    harp = document.root.findall("part")[-1]
    write_pedals(harp, part.plan, document.score, sections(part))
    second = harp.findall("measure")[1]
    assert [d[0][0].tag for d in second.findall("direction")] == ["words", "harp-pedals"]
    assert second.findtext(".//pedal-tuning[pedal-step='B']/pedal-alter") == "-1"


def test_page_and_print_do_not_say_what_the_diagram_beside_shows():
    part = draft(BAR, KEY + BAR, moves=(move(4), move(4, "E", 0, 1), move(6, "A")))
    document = document_of(piano(BAR, KEY + BAR))
    harp = document.root.findall("part")[-1]
    write_pedals(harp, part.plan, document.score, sections(part))
    read = ElementTree.fromstring(etree.tostring(harp))
    settings = hold_settings(read)
    assert [bar for bar, _ in settings] == [1, 2]
    said = ["".join(d.itertext()).strip() for d in read.findall("measure/direction")]
    assert [words for words in said if words[1:2] in ("#", "$", "=")] == ["A$2"]
