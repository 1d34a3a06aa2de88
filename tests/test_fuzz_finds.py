"""Inputs that once did harm, cut to what matters; and a short campaign of new ones."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, convert
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.write_divisions import set_divisions
from arranger.model.errors import ArrangerError
from tests.fuzz_judge import judged, made
from tests.simulator import simulate
from tests.test_hostile_input import DIVISIONS, GOOD, HEAD, NOTE, TAIL

LATER = NOTE.replace("<step>C", "<step>D")
ALONE = GOOD.replace('<part id="P1">', '<part id="P\n1">').replace(
    '<score-part id="P1">', '<score-part id="P&#10;1">').replace('<part id="P\n1">',
                                                                '<part id="P&#10;1">')


def staff(text: str) -> str:
    return f"<staff>{text}</staff></note>"


def chord(duration: int, octave: int) -> str:
    return NOTE.replace("<note>", "<note><chord/>").replace(
        "<duration>2", f"<duration>{duration}").replace("<octave>4", f"<octave>{octave}")


SHARP = NOTE.replace("</step>", "</step><alter>1</alter>")
ENDING = '<barline location="left"><ending number="1" type="start"/></barline>'
BACK = ('<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/>'
        "</barline>")
#: Verovio's process ends on a clef for a staff that a kept part does not have.
UNDRAWN = GOOD.replace("</part-list>", '<score-part id="P2"><part-name>Flute</part-name>'
                       "</score-part></part-list>").replace(
    "</part>", '</part><part id="P2"><measure number="7">' + DIVISIONS + NOTE + "</measure>"
    '<measure number="8"><attributes><clef number="2"><sign>F</sign><line>4</line></clef>'
    "</attributes>" + NOTE + "</measure></part>").replace(
    "</measure></part><part", f'</measure><measure number="8">{NOTE}</measure></part><part', 1)


#: what it is: (score, the line it is refused with, or nothing where it is read)
FINDS = {
    "staff of words": (GOOD.replace("</note>", staff("up")), "<staff> is not a number: 'up'"),
    "staff 0 of a part with two lines for a name": (
        ALONE.replace("</note>", staff("0")), "part P 1: <staff> is 0; 1 to 20 can be read"),
    "empty staff": (GOOD.replace("</note>", staff("\n  ") * 1) + " ", ""),
    "staves of words": (GOOD.replace("</divisions>", "</divisions><staves>D</staves>"),
                        "<staves> is not a number"),
    "step in small letters": (GOOD.replace("<step>C", "<step> c "), ""),
    "step of a number": (GOOD.replace("<step>C", "<step>7"), "'7' is no step"),
    "two part-lists": (GOOD.replace("<part-list>", "<part-list/><part-list>"), "two part-lists"),
    "a part listed twice": (GOOD.replace("</part-list>", '<score-part id="P1"><part-name/>'
                                         "</score-part></part-list>"), "have the same id"),
    "a part without an id": (GOOD.replace('<part id="P1">', "<part>").replace(
        '<score-part id="P1">', "<score-part>"), ""),
    "a part without an id that its line has": (GOOD.replace('<part id="P1">', "<part>"), ""),
    "a pitch that has a voice for an octave": (GOOD.replace("</note>", "</note>" + NOTE.replace(
        "<octave>4</octave>", "<voice>4</voice>"), 1), "the octave is missing"),
    "a note inside a note": (GOOD.replace("</note>", LATER + "</note>", 1),
                             "a note stands inside a note"),
    "a rest with a pitch": (GOOD.replace("<note>", "<note><rest/>", 1),
                            "pitched and a rest, or twice pitched"),
    "a length written twice and never told": (GOOD.replace(NOTE, NOTE.replace(
        NOTE[NOTE.index("<duration>"):NOTE.index("</duration>") + 11],
        "<type>4</type><type>quarter</type>"), 1), ""),
    "a zero byte": (GOOD.replace("Harp", "\0"), "damaged"),
    "offset of words": (GOOD.replace("<note>", "<direction><direction-type><words>dolce</words>"
                                     "</direction-type><offset>two</offset></direction><note>", 1),
                        ""),
    "slur without a number": (GOOD.replace("</note>", '<notations><slur type="start" number="a"/>'
                                           "</notations></note>"), ""),
    "stray divisions": (GOOD.replace("</note>", "<divisions>7</divisions></note>", 1), ""),
    "pedal words behind an arrow": (GOOD.replace(
        "<note>", "<direction><direction-type><words>→ F♯</words></direction-type></direction>"
        "<note>", 1), ""),
    "a bar that opens with a gap": (HEAD + DIVISIONS + "<forward><duration>6</duration></forward>"
                                    + NOTE + TAIL, ""),
    "a chord longer than its first note": (
        HEAD + DIVISIONS + NOTE + chord(5, 4) + "".join(chord(4, n) for n in range(1, 8)) + LATER
        + TAIL, ""),
    "a chord without its first note": (HEAD + DIVISIONS + chord(2, 4) + LATER + TAIL, ""),
    "a chord on a grace note": (HEAD + DIVISIONS + "<note><grace/><pitch><step>E</step><octave>5"
                                "</octave></pitch></note>" + chord(2, 4) + LATER + TAIL, ""),
    "a note of no length": (
        HEAD + DIVISIONS + NOTE + LATER.replace("<duration>2", "<duration>0") + TAIL, ""),
    "a first ending without a second": (
        HEAD + DIVISIONS + NOTE + LATER + chord(2, 5).replace("C", "B") + '</measure>'
        '<measure number="8">' + ENDING + SHARP + BACK + TAIL, ""),
    "divisions that change inside a bar": (
        HEAD + DIVISIONS.replace("2", "1") + "<note><type>quarter</type></note>"
        + chord(2, 4).replace("<duration>2</duration>", "").replace("</note>", staff("2"))
        + DIVISIONS.replace("2", "8") + TAIL, ""),
}


@pytest.mark.parametrize("kind", FINDS)
def test_a_find_is_refused_in_one_line_or_comes_out_as_told(kind: str, tmp_path: Path) -> None:
    score, line = FINDS[kind]
    path = tmp_path / "find.musicxml"
    path.write_text(score)
    if line:
        with pytest.raises(ArrangerError) as caught:
            convert(Request(path, parts=("P1",), page=False))
        assert line in str(caught.value)
        assert str(caught.value).isprintable()
        return
    result = convert(Request(path, parts=("P1",), page=False))
    xml = result.files["draft.musicxml"]
    draft = read(parse(xml, "draft")).score
    told = {(n["onset"], n["midi"]) for n in result.report["notes"] if not n["grace"]}
    assert told == {(str(n.onset), n.midi) for n in draft.notes if not n.grace}
    assert simulate(xml).of("B1", "B1b", "B1d", "B5n") == ()


def test_a_draft_that_ends_its_engraver_is_delivered(tmp_path: Path) -> None:
    path = tmp_path / "find.musicxml"
    path.write_text(UNDRAWN)
    result = convert(Request(path, parts=("P1",), pdf=True), tmp_path / "out")
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {
        "draft.musicxml", "report.json", "report.html", "draft.mid"}
    drawn = 'class="engraving"' in result.files["report.html"].decode()
    assert drawn != bool(result.report.get("not_engraved"))  # a later verovio may draw it


def test_a_grace_note_stays_where_it_stands_though_only_another_voice_goes_on() -> None:
    one = NOTE.replace("</note>", "<voice>1</voice></note>")
    two = LATER.replace("<note>", "<note><grace/>").replace("<duration>2</duration>",
                                                            "<voice>2</voice>")
    begun = one.replace("<voice>1", "<voice>2")
    score = HEAD + DIVISIONS + begun + one + two + one + TAIL
    (grace,) = [n for n in read(parse(score.encode(), "")).score.notes if n.grace]
    assert grace.onset == 2
    score = HEAD + DIVISIONS + begun + one + two + TAIL
    (grace,) = [n for n in read(parse(score.encode(), "")).score.notes if n.grace]
    assert grace.onset == Fraction(31, 16)  # at the very end of the last note of its voice


def test_divisions_of_a_bar_inside_a_note_count_for_nothing() -> None:
    inner = f'<measure number="1">{DIVISIONS.replace("2", "3")}</measure></note>'
    part = etree.fromstring(HEAD + DIVISIONS + NOTE.replace("</note>", inner) + LATER + TAIL)[1]
    set_divisions(part, 6)
    assert [d.text for d in part.iter("duration")] == ["6", "6"]


@pytest.mark.parametrize(("mode", "count"), [("readers", 150), ("pipeline", 25)])
def test_a_short_campaign_finds_nothing(mode: str, count: int, tmp_path: Path) -> None:
    outcomes = []
    for number in range(count):
        suffix, content = made(mode, 2, number)
        if suffix in (".mid", ".mei", ".krn", ".abc"):
            continue  # music21 takes long to start
        path = tmp_path / f"input{suffix}"
        path.write_bytes(content)
        outcomes.append((number, *judged(mode, path, number)))
    assert [found for found in outcomes if found[1] not in ("read", "refused")] == []
    assert {found[1] for found in outcomes} == {"read", "refused"}
