"""What ``convert`` says besides what is wrong: by the rules that ``check`` judges a part by."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, check, convert
from arranger.checks.case import Judge, open_case
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_marks import read_marks
from arranger.model.diagnostic import Diagnostic
from arranger.model.ledger import Roll
from arranger.passes.inspect import checked
from arranger.passes.notice import notices
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.rulebook.examples import read_example
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.checking import as_case
from tests.handwritten import backup, chord, low, note, piano
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


TRILL = "<ornaments><trill-mark/></ornaments>"


def test_a_trill_low_down_or_under_the_top_of_its_chord_is_told():
    (low_down,) = both(piano(note("A4", 16, notations=TRILL)), "R4")
    assert low_down.message.startswith("a trill on A4 is a blur")
    (under,) = both(piano(note("C5", 16, notations=TRILL) + note("E5", 16, chord=True)), "R4")
    assert under.message.startswith("the trill of C5 stands over a chord and is read as one on E5")
    assert both(piano(note("C5", 16) + note("E5", 16, chord=True, notations=TRILL)), "R4") == []


def test_a_tremolo_between_wire_strings_is_told():
    def tremolo(one: str, two: str) -> etree._Element:
        sign = '<ornaments><tremolo type="{}">3</tremolo></ornaments>'
        return piano(TUNE + backup(16)
                     + note(one, 8, voice=5, staff=2, notations=sign.format("start"))
                     + note(two, 8, voice=5, staff=2, notations=sign.format("stop")))

    found = both(tremolo("C2", "C3"), "R4", "R5")
    assert [d.message.split(":")[0] for d in found if d.code == "R4"] == ["a tremolo on C2 buzzes"]
    assert [d for d in both(tremolo("C3", "C4"), "R4", "R5") if d.code == "R4"] == []


def test_an_ornament_wants_its_other_note_of_pedals_and_of_levers():
    sign = "<ornaments><trill-mark/><accidental-mark>flat</accidental-mark></ornaments>"
    document = document_of(piano(note("C6", 8, notations=sign) + note("D6", 8) + backup(16)
                                 + low("D3", 16)))
    for harp, code in (("pedal-47", "P1"), ("lever-34", "K1")):
        settings = replace(SETTINGS, harp=load_harp(harp))
        draft = arrange(document.score, "P1", settings).draft
        (found,) = [d for d in notices(draft, (), settings) if d.code == code]
        assert found.message.startswith("the ornament on C6 wants D♭6, and ")
        assert "stands at D♮" in found.message


def rolls(root: etree._Element, **prices: int) -> dict[str, str]:
    """Notes the draft rolls and the source does not, with the reason that is told."""
    document = document_of(root)
    settings = replace(SETTINGS, prices={**SETTINGS.prices, **prices})
    draft = arrange(document.score, "P1", settings).draft
    named = {n.id: n.pitch.name for n in draft.notes}
    return {named[e.edit.note]: e.reason for e in draft.ledger.entries if isinstance(e.edit, Roll)}


def test_a_roll_that_spreads_over_the_hand_is_not_called_a_wide_chord():
    sign = "<arpeggiate/>"
    small = rolls(piano(note("C4", 16, notations=sign) + backup(16) + note("F4", 16, voice=2)
                        + backup(16) + low("C2", 16)))
    assert small == {"F4": "rolled with the other notes of this hand, which the source rolls"}


def test_a_wide_chord_is_rolled_because_it_is_wide():
    bar = chord("E4 A4 C5 A5", 16) + backup(16) + chord("D2 A2 F3 G3", 16, voice=5, staff=2)
    wide = rolls(piano(bar), octave=1000)
    assert len(wide) > 1
    assert set(wide.values()) == {"wider than the hand spans at once"}


DEMOS = sorted((Path(__file__).parents[1] / "corpus").glob("*/score.musicxml"))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.parent.name)
def test_a_draft_is_told_what_its_check_tells(path: Path, tmp_path: Path):
    """But for what only a draft has: notes of tune and bass it changed, signs taken out."""
    made = convert(Request(path, parts=("all",), page=False))
    written = tmp_path / "draft.musicxml"
    written.write_bytes(made.files["draft.musicxml"])
    tables = [Counter((f["code"], f["severity"], f["bar"], f["message"]) for f in report["findings"]
                      if f["code"] not in ("T4", "N2"))
              for report in (made.report, check(Request(written, page=False)).report)]
    assert tables[0] == tables[1]
    assert tables[0]


def test_marks_of_one_foot_close_together_are_told_in_a_part_too():
    def marked(seconds: float) -> list[str]:
        row = {"right": "C5 | C5 | C5 | Eb5 Ab5", "setting": "D C B | E F G A",
               "marks": ["2 Eb", "3 Ab"], "seconds": seconds, "good": "marks of one foot"}
        return [d.message.split(";")[0] for d in checked(as_case(read_example(
            row, Path("row"), "row.")), ["P3"])]

    assert marked(0.3) == ["one foot moves E♭ and A♭ within 0.30 s"]
    assert marked(0.6) == []
