"""Small scenes of reach: rolled chords, hands far apart, staves that are no hands, low trills.

As in ``test_scenes``: the answer a harpist would give, found unasked, and the reason told; where no
book is named the scene stands for common practice.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, convert
from arranger.checks.case import Case
from arranger.model.draft import Draft
from arranger.model.harp import HarpString
from arranger.model.ledger import OctaveShift
from arranger.model.pitch import Pitch
from arranger.options.spots import risks
from arranger.passes.inspect import checked
from arranger.passes.notice import notices
from arranger.report.page_time import ROLL, draft_notes, moments, tempo_of
from tests.checking import case_of
from tests.handwritten import backup, chord, low, note, piano
from tests.test_scenes import PLAYER, SETTINGS, by_onset, drafted, named
from tests.test_scenes_of_fingers import line
from tests.writing import document_of

#: A left-hand chord wider than a hand, whose top is the tune once the crotchet above is over.
WIDE = (note("r", 4) + note("C7", 4) + note("r", 8),
        low("r", 4) + chord("D3 A3 G4", 12, voice=5, staff=2))


def part(right: str, left: str, bpm: int) -> Case:
    """One bar as a harp part that is to be checked."""
    document = document_of(piano(right + backup(16) + left))
    score = replace(document.score, tempo=document.score.tempo.scaled(Fraction(bpm)))
    return case_of(replace(document, score=score), score.parts[-1].id)


def told(draft: Draft) -> set[tuple[str, str]]:
    return {(e.rule, e.reason) for e in draft.ledger.entries}


def test_an_unmarked_chord_is_plucked_plain_and_a_marked_one_rolled():
    """Sibelius Academy manual: plain unless marked (older books roll every chord: Rimsky-Korsakov,
    Principles of Orchestration, ch. I)."""
    marked = "".join(note(n, 8, chord=n != "D5", notations="<arpeggiate/>")
                     for n in ("D5", "F5", "A5", "D6"))
    draft = drafted(chord("C5 E5 G5 C6", 8) + marked, low("r", 16), 60)
    assert named([n for n in draft.notes if n.rolled]) == ["D5", "F5", "A5", "D6"]
    assert len(draft.notes) == 8
    assert draft.ledger.entries == ()


def test_a_chord_wider_than_the_hand_is_rolled_and_the_report_says_why():
    """Sibelius Academy manual: rolled chords can span much more than a tenth."""
    draft = drafted(*WIDE, 60)
    assert [(n.pitch.name, n.rolled) for n in draft.notes] == [
        ("D3", True), ("A3", True), ("G4", True), ("C7", False)]
    assert told(draft) == {("H5", "wider than the hand spans at once")}


def test_a_hand_that_is_far_is_not_called_to_a_wide_chord():
    """Rolled or not is weighed with all else: the right hand, at the top just before and after,
    would leap down for one note; a roll is the lesser evil, and the report says why."""
    high = line("C7 D7 E7 F7") + note("r", 1)
    run, rest = high[:high.index("<note><rest/>")], "".join(note("r", 1))
    right = run + rest + "".join(note(n, 1) for n in ("F7", "E7", "D7")) + note("r", 8)
    left = low("r", 4) + chord("D3 A3 G4", 12, voice=5, staff=2)
    busy = drafted(right, left, 90)
    assert named([n for n in busy.notes if n.rolled]) == ["D3", "A3", "G4"]
    assert {n.hand for n in busy.notes if n.rolled} == {"L"}
    assert ("H5", "wider than the hand spans at once") in told(busy)
    near = drafted(note("G5", 4) + note("r", 4) + note("G5", 8), left, 90)
    assert not any(n.rolled for n in near.notes)


def test_a_short_chord_is_not_rolled():
    """A roll takes time for every note; where there is none the chord is thinned or shared."""
    short = chord("C3 G3 F4", 2, voice=5, staff=2)
    draft = drafted(note("r", 4) + note("C7", 2) + note("r", 2) + note("r", 8),
                    low("r", 4) + short + low("r", 2) + low("r", 8), 60)
    assert not any(n.rolled for n in draft.notes)


def test_a_rolled_chord_rises_and_its_last_note_falls_on_the_beat(tmp_path: Path):
    """Rimsky-Korsakov: upwards; Freund and Cutler, Extreme Orchestration: the last note with the
    beat. What is heard and what is written."""
    source = tmp_path / "wide.musicxml"
    right, left = WIDE
    source.write_bytes(etree.tostring(piano(right + backup(16) + left)))
    result = convert(Request(source, page=False))
    report = result.report
    heard = [(round(at, 3), n.name) for at, n in moments(draft_notes(report), tempo_of(report))
             if n.rolled]
    beat = tempo_of(report).seconds(Fraction(1))
    assert heard == [(round(beat - 2 * ROLL, 3), "D3"), (round(beat - ROLL, 3), "A3"),
                     (round(beat, 3), "G4")]
    signs = list(etree.fromstring(result.files["draft.musicxml"]).iter("arpeggiate"))
    assert len(signs) == 3
    assert {sign.get("direction", "up") for sign in signs} == {"up"}


def test_what_lies_between_hands_too_far_apart_comes_to_the_nearer_one():
    """Rimsky-Korsakov: written close, no great space between the hands. Neither can hold it."""
    draft = drafted(chord("C6 E6 A6 C7", 16), chord("C2 G2 B3", 16, voice=5, staff=2), 60)
    (notes,) = by_onset(draft)
    assert named([n for n in notes if n.hand == "L"]) == ["C2", "G2", "B2"]
    assert not any(n.rolled for n in notes)
    assert [type(e.edit) for e in draft.ledger.entries] == [OctaveShift]
    assert told(draft) == {("H2", "B3 lies outside both hands' grip")}


def test_a_doubling_between_the_hands_is_left_out_before_it_is_moved():
    """Common practice: the doubling goes first; E sounds above."""
    draft = drafted(chord("C6 E6 A6 C7", 16), chord("C2 G2 E4", 16, voice=5, staff=2), 60)
    (notes,) = by_onset(draft)
    assert named([n for n in notes if n.hand == "L"]) == ["C2", "G2"]
    assert told(draft) == {("H2", "doubling E4: no hand can hold it with the rest of the chord")}


def test_a_note_of_a_moving_line_is_left_out_before_it_leaves_its_octave():
    """Common practice: an octave is for the whole figure; a single quaver breaks the line."""
    right = chord("C6 E6 A6 C7", 2) + note("r", 2) + note("r", 12)
    left = chord("C2 G2 B3", 2, voice=5, staff=2) + low("r", 2) + low("r", 12)
    draft = drafted(right, left, 60)
    assert named([n for n in draft.notes if n.hand == "L"]) == ["C2", "G2"]
    assert told(draft) == {("H2", "inner note B3: no hand can hold it with the rest of the chord")}


def test_what_no_hand_can_hold_is_left_out_and_no_pedal_is_blamed():
    """The same where no octave brings it into a hand."""
    draft = drafted(chord("C6 E6 A6 C7", 16), chord("C2 G2 F4", 16, voice=5, staff=2), 60)
    assert "F4" not in named(list(draft.notes))
    assert told(draft) == {("H2", "inner note F4: no hand can hold it with the rest of the chord")}


@pytest.mark.parametrize(("lowest", "left"), [("G2", []), ("C3", ["A2", "B2"])])
def test_how_low_the_right_hand_reaches_is_a_setting(lowest: str, left: list[str]):
    """Freund and Cutler, Extreme Orchestration, say G2; Orchestration Online about C3."""
    limit = replace(PLAYER, right_hand_lowest=HarpString.of(Pitch.parse(lowest)))
    draft = drafted("".join(note(n) for n in ("A2", "E3", "B2", "C3")), low("r", 16), 100,
                    settings=replace(SETTINGS, player=limit))
    assert [n.pitch.name for n in draft.notes if n.hand == "L"] == left
    assert told(draft) == {("H3", f"{n} is out of the right hand's reach") for n in left}


@pytest.mark.parametrize("names", ["C4 E4 G4 C5 E5 G5", "C2 G2 E3 C4 G4 E5"])
def test_a_staff_is_no_hand(names: str):
    """Sibelius Academy manual (after Gould): staves show the register, the player shares. What
    stands on one staff is no fault of a part, and a draft loses nothing for it."""
    one_staff = chord(names, 16)
    assert [d for d in checked(part(one_staff, low("r", 16), 60)) if d.code[0] == "H"] == []
    draft = drafted(one_staff, low("r", 16), 60)
    assert named(list(draft.notes)) == names.split()
    assert {n.hand for n in draft.notes} == {"L", "R"}


def test_only_a_high_trill_is_let_pass():
    """Berlioz 1855, ch. "La Harpe": its effect is tolerable on high notes only."""
    trill = "<ornaments><trill-mark/></ornaments>"
    case = part(note("C4", 8, notations=trill) + note("C6", 8, notations=trill), low("r", 16), 60)
    assert [(d.code, d.message) for d in checked(case)] == [
        ("R4", "a trill on C4 is a blur on the harp; only high strings bear it")]


@pytest.mark.parametrize(("names", "warned"), [("E2 F2", True), ("B5 C6", False)])
def test_a_trill_written_out_cuts_low_strings_short(names: str, warned: bool):
    """The same source; wire strings want twice the time (Orchestration Online, "Stomping"). A part
    and a draft are told the same."""
    trill = " ".join([names] * 8)
    bar = (note("r", 16), line(trill, 1, low)) if warned else (line(trill), low("r", 16))
    wanted = {"R1"} if warned else set()
    assert {d.code for d in checked(part(*bar, 100))} == wanted
    draft = drafted(*bar, 100)
    assert len(draft.notes) == 16
    assert {d.code for d in notices(draft, (), SETTINGS)} == wanted


def test_a_moving_left_hand_under_a_quick_tune_is_told():
    """Orchestration Online, 70: easy for pianists, not for harpists. Every note is kept."""
    tune = line("E5 F5 G5 A5 B5 C6 D6 B5 C6 A5 B5 G5 A5 F5 G5 E5")
    moving = line("C2 G2 E3 C4 G4 C4 E3 G2 C2 G2 E3 C4 G4 C4 E3 G2", 1, low)
    still = chord("C3 G3 E4", 16, voice=5, staff=2)
    busy, calm = (drafted(tune, left, 100) for left in (moving, still))
    assert len(busy.notes) == 32
    assert busy.cost["hands"] > calm.cost["hands"]
    turns = {d: [r for r in risks(draft, SETTINGS) if r.kind == "turn"]
             for d, draft in (("busy", busy), ("calm", calm))}
    assert turns["calm"] == []
    assert all("in the left hand turns over" in r.sentence for r in turns["busy"])
    assert turns["busy"]


def test_a_chord_a_string_too_wide_is_played_on_the_nearer_twin_of_its_outer_note():
    """Of what a hand cannot span a respelling is tried before roll and loss (common practice)."""
    draft = drafted(WIDE[0], low("r", 4) + chord("C3 G3 F4", 12, voice=5, staff=2), 60)
    assert named([n for n in draft.notes if n.hand == "L"]) == ["C3", "G3", "E#4"]
    assert not any(n.rolled for n in draft.notes)
