"""What ``convert`` says besides what is wrong: by the rules that ``check`` judges a part by."""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from arranger.checks.case import Judge, open_case
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_marks import read_marks
from arranger.model.diagnostic import Diagnostic
from arranger.passes.inspect import checked
from arranger.passes.notice import notices
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, low, note, piano
from tests.writing import document_of

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
TUNE = note("E5", 16)


def both(root: etree._Element, *codes: str, bpm: int = 120) -> list[Diagnostic]:
    """What convert says of a draft by some rules; check must say the same of the draft written."""
    document = document_of(root)
    document.root.find("part/measure").insert(
        0, etree.fromstring(f'<direction><sound tempo="{bpm}"/></direction>'))
    document = read(document.root, "test")
    draft = arrange(document.score, "P1", SETTINGS).draft
    found = [d for d in notices(draft, (), SETTINGS) if d.code in codes]
    back = read(etree.fromstring(write(document, draft)), "draft")
    judge = Judge(SETTINGS.harp, SETTINGS.player, SETTINGS.prices)
    case = open_case(back.score, "P1", judge, read_marks(back.root, "P1", back.score), {}, {})

    def told(findings: list[Diagnostic]) -> set[tuple[Fraction, str, str, str]]:
        return {(d.where.onset, d.code, d.severity, d.message) for d in findings}

    assert told(found) == told(checked(case, codes))
    return found


def test_a_wire_string_wants_more_time_than_a_gut_string():
    def repeated(name: str) -> etree._Element:
        return piano(TUNE + backup(16) + low(name, 2) * 8)

    (found,) = both(repeated("G2"), "R1")
    assert "G2 is plucked again after 0.25 s" in found.message
    assert found.severity == "warning"
    assert both(repeated("A3"), "R1") == []
