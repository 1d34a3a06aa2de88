"""Clefs follow what is written on each staff, with few changes, none inside a beam."""

from __future__ import annotations

from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from arranger.io.write_clefs import write_clefs
from arranger.io.write_events import events
from arranger.search.states import cheapest_states
from tests.handwritten import backup, chord, note, piano
from tests.writing import written


def right(*names: str) -> str:
    return "".join(note(n, 16 // len(names)) for n in names)


def left(*names: str, length: int = 4, beam: str = "") -> str:
    return backup(16) + "".join(note(n, length, voice=5, staff=2, beam=b) for n, b in zip(
        names, beam.split() or [""] * len(names), strict=True))


def bars(*low: str) -> list[str]:
    return [right("C5") + left(*names.split()) for names in low]


def clefs(part: etree._Element) -> list[tuple[str, str, int]]:
    """Staff, sign, and bar with the place in sixteenths of every clef: ``2 F 1:0``."""
    found = []
    for measure in part.findall("measure"):
        at = 0
        for child in measure:
            for clef in child.findall("clef") if child.tag == "attributes" else ():
                found.append(f"{clef.get('number')} {clef.findtext('sign')} "
                             f"{measure.get('number')}:{at}")
            length = int(child.findtext("duration") or 0)
            if child.tag == "backup":
                at -= length
            elif child.find("chord") is None and child.find("grace") is None:
                at += length
    return found


def replanned(root: etree._Element) -> list[tuple[str, str, int]]:
    part = root.find("part")
    write_clefs(part)
    once = etree.tostring(part)
    write_clefs(part)
    assert etree.tostring(part) == once
    return clefs(part)


START = ["1 G 1:0", "2 F 1:0"]
LOW, HIGH = "C3 E3 G3 E3", "G5 E5 C5 E5"


def test_a_staff_in_its_own_register_keeps_its_clef():
    assert replanned(piano(*bars(LOW, LOW))) == START


def test_a_high_passage_of_the_left_hand_is_read_in_the_treble():
    assert replanned(piano(*bars(LOW, HIGH, HIGH, LOW))) == [*START, "2 G 2:0", "2 F 4:0"]


def test_one_note_above_the_staff_is_read_on_ledger_lines():
    assert replanned(piano(*bars(LOW, "E3 E4 G3 E3", LOW))) == START


def test_no_clef_comes_inside_a_beam():
    beamed = left("C2", "E3", "G5", "E5", "G5", "E5", "G5", "E5", length=2,
                  beam="begin continue continue end begin continue continue end")
    found = replanned(piano(*bars(LOW, LOW), right("C5") + beamed, *bars(HIGH, HIGH)))
    assert found[2:] == ["2 G 3:8"]


def test_another_voice_does_not_bring_a_clef_into_a_beam():
    beamed = left(*["G5", "E5"] * 2, length=4, beam="begin continue continue end")
    second = backup(16) + "<forward><duration>8</duration></forward>" + note("C2", 8, voice=6,
                                                                             staff=2)
    found = replanned(piano(*bars(HIGH), right("C5") + beamed + second, *bars(LOW)))
    assert [c for c in found if " 2:" in c] in ([], ["2 G 2:0"], ["2 F 2:0"])


def test_a_clef_of_the_source_that_serves_stays_where_it_is():
    clef = ('<attributes><clef number="2"><sign>{}</sign><line>{}</line></clef></attributes>')
    mild = "C4 E4 G4 E4"  # alone no reason for a change
    treble, bass = clef.format("G", 2), clef.format("F", 4)
    root = piano(*bars(LOW), treble + bars(mild)[0], bass + bars(LOW)[0])
    assert replanned(root) == [*START, "2 G 2:0", "2 F 3:0"]
    assert replanned(piano(*bars(LOW, mild, LOW))) == START


def test_clefs_whose_notes_have_gone_go_too():
    clef = ('<attributes><clef number="2"><sign>{}</sign><line>{}</line></clef></attributes>')
    rests = right("C5") + left("r", length=16)
    root = piano(*bars(LOW), clef.format("G", 2) + rests, clef.format("F", 4) + bars(LOW)[0])
    assert replanned(root) == START


@pytest.mark.parametrize("sign", [("C", "3", ""), ("G", "2", "<clef-octave-change>-1</clef-octave"
                                                           "-change>"), ("C", "4", "")])
def test_a_harpist_reads_treble_and_bass_only(sign):
    root = piano(*bars(LOW))
    old = root.findall(".//clef")[1]
    new = etree.fromstring('<clef number="2"><sign>{}</sign><line>{}</line>{}</clef>'.format(*sign))
    old.getparent().replace(old, new)
    assert replanned(root) == START


def test_notes_under_an_octave_line_are_read_where_they_stand():
    line = ('<direction><direction-type><octave-shift type="{}" size="15" number="1"/>'
            '</direction-type><staff>1</staff></direction>')
    high = right("D7", "C7", "D7", "C7")
    plain = piano(right("C3", "D3", "C3", "D3") + left(*LOW.split()), *bars(LOW))
    assert replanned(plain)[0] == "1 F 1:0"
    lifted = piano(line.format("down") + high + line.format("stop") + left(*LOW.split()))
    assert replanned(lifted) == START


def test_an_octave_line_without_notes_goes():
    line = ('<direction><direction-type><octave-shift type="{}" size="8" number="1"/>'
            '</direction-type><staff>1</staff></direction>')
    bar = line.format("down") + note("C4", 8) + line.format("stop") + note("C6", 8)
    kept = written(piano(bar + left("r", length=16)))
    assert len(list(kept.iter("octave-shift"))) == 2
    gone = written(piano(bar + left("r", length=16)), hand={"C4": "L"})
    assert list(gone.iter("octave-shift")) == []


def test_notes_that_change_hands_bring_their_clef():
    low = right("C3", "E3", "G3", "E3")
    root = piano(*[low + left("r", length=16)] * 3)
    harp = written(root, hand=dict.fromkeys(("C3", "E3", "G3"), "L"))
    assert clefs(harp) == START
    assert {e.staff for m in harp.findall("measure") for e in events(m) if not e.rest} == {"2"}


def test_a_grace_note_stands_behind_the_new_clef():
    grace = backup(16) + note("F5", 2, voice=5, staff=2, grace=True) + "".join(
        note(n, 4, voice=5, staff=2) for n in HIGH.split())
    found = replanned(piano(*bars(LOW), right("C5") + grace, *bars(HIGH, HIGH)))
    assert found[2:] == ["2 G 2:0"]
    middle = backup(16) + note("C2", 8, voice=5, staff=2) + note(
        "F5", 2, voice=5, staff=2, grace=True) + chord("G5 B5", 8, voice=5, staff=2)
    root = piano(*bars(LOW), right("C5") + middle, *bars(HIGH, HIGH))
    assert replanned(root)[2:] == ["2 G 2:8"]
    second = root.findall(".//measure")[1]
    at = next(a for a in second.findall("attributes"))
    assert at.getnext().find("grace") is not None


costs = st.lists(st.fixed_dictionaries({"a": st.integers(0, 9), "b": st.integers(0, 9)}),
                 min_size=1, max_size=6)


@given(costs, st.integers(0, 9))
def test_the_cheapest_states_are_cheapest(rows, price):
    def total(path):
        return sum(row[s] for row, s in zip(rows, path, strict=True)) + price * sum(
            a != b for a, b in pairwise(path))

    best = cheapest_states(rows, lambda _, old, new: price * (old != new))
    assert total(best) == min(total(p) for p in product("ab", repeat=len(rows)))
