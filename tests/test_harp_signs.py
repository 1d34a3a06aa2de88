"""Several parts on one harp: a sign that all have is printed once, and the page is laid afresh."""

from __future__ import annotations

from lxml import etree

from arranger.io.harp_part import as_harp_part
from tests.handwritten import attributes, backup, note, part, piano, score
from tests.schema import validate
from tests.writing import LEFT, document_of, draft_of, written


def direction(sign: str, more: str = "") -> str:
    return f"<direction {more}><direction-type>{sign}</direction-type></direction>"


def dynamic(level: str) -> str:
    return direction(f"<dynamics><{level}/></dynamics>")


def wedge(kind: str) -> str:
    return direction(f'<wedge type="{kind}" number="1"/>')


def combined(*measures: str) -> etree._Element:
    """One measure for each player, top to bottom, as one harp part."""
    root = score(*(part(attributes(1) + m, ident=f"P{i}") for i, m in enumerate(measures, 1)),
                 names=tuple("ABCD"[:len(measures)]))
    made = as_harp_part(root, tuple(f"P{i}" for i in range(1, len(measures) + 1)))
    return made.root.findall("part")[-1]


def test_one_dynamic_and_one_hairpin_for_both_staves():
    bar = dynamic("p") + wedge("crescendo") + note("C5", 8) + wedge("stop") + note("D5", 8)
    harp = combined(bar, bar, bar, bar)
    assert [[d.tag for d in s] for s in harp.iter("dynamics")] == [["p"]]
    assert [w.get("type") for w in harp.iter("wedge")] == ["crescendo", "stop"]
    assert {d.findtext("staff") or "1" for d in harp.iter("direction")} == {"1"}


def levels(harp: etree._Element) -> list[list[str]]:
    return [[d.tag for sign in measure.iter("dynamics") for d in sign]
            for measure in harp.findall("measure")]


def test_of_levels_at_one_moment_the_tune_gives_the_one():
    harp = combined(dynamic("p") + note("C5", 16), dynamic("p") + note("C5", 16),
                    dynamic("mf") + note("C4", 16), dynamic("pp") + note("C3", 16))
    assert levels(harp) == [["p"]]


def test_a_sign_set_a_hair_beside_its_note_belongs_to_it():
    late = dynamic("fp").replace("</direction-type>", "</direction-type><offset>-7</offset>")
    harp = combined(dynamic("fp") + note("C5", 8) + note("D5", 8),
                    note("E4", 8) + late + note("F4", 8))
    assert levels(harp) == [["fp"]]
    apart = late.replace("-7", "-2")  # half a beat early: not the next note's
    assert levels(combined(dynamic("fp") + note("C5", 8) + note("D5", 8),
                           note("E4", 8) + apart + note("F4", 8))) == [["fp", "fp"]]


def test_the_level_of_an_accompaniment_leaves_that_of_the_tune():
    harp = combined(dynamic("mp") + note("C5", 8) + note("D5", 8),
                    note("E4", 8) + dynamic("p") + note("F4", 8),
                    note("C4", 8) + dynamic("sf") + note("C4", 8))
    assert levels(harp) == [["mp", "sf"]]


def test_a_tune_that_has_none_or_is_silent_leaves_it_to_the_others():
    assert levels(combined(note("C5", 16), dynamic("p") + note("E4", 16),
                           dynamic("f") + note("C3", 16))) == [["p"]]
    assert levels(combined(dynamic("f") + note("C5", 8) + note("r", 8),
                           note("E4", 8) + dynamic("p") + note("E4", 8))) == [["f", "p"]]


def players(*lines: tuple[str, ...], tune: tuple[str, ...] = ()) -> etree._Element:
    """Bars for each player, top to bottom, as one harp part."""
    ids = tuple(f"P{i}" for i in range(1, len(lines) + 1))
    root = score(*(part(attributes(1) + bars[0], *bars[1:], ident=ident)
                   for ident, bars in zip(ids, lines, strict=True)), names=ids)
    return as_harp_part(root, ids, tune=tune).root.findall("part")[-1]


def test_a_tune_taken_over_brings_its_level():
    rest = note("r", 16)
    first = (dynamic("ff") + note("C6", 16), note("C6", 16), rest, rest)
    other = (dynamic("p") + note("C5", 16), note("C5", 16), note("D5", 16), note("E5", 16))
    assert levels(players(first, other)) == [["ff"], [], ["p"], []]
    swelling = (other[0], wedge("crescendo") + note("C5", 16) + wedge("stop"), *other[2:])
    assert levels(players(first, swelling)) == [["ff"], [], [], []]
    late = wedge("crescendo").replace("</direction-type>", "</direction-type><offset>12</offset>")
    for swell, said in ((late, []), (wedge("crescendo"), ["mf"])):  # after the level, or before
        bar = swell + note("C5", 8) + dynamic("mf") + note("C5", 8)
        assert levels(players(first, (other[0], bar, *other[2:]))) == [["ff"], [], said, []]


def test_one_high_bar_of_another_takes_no_tune():
    tune = (dynamic("mp") + note("C5", 16), note("C5", 16), note("C5", 16))
    other = (dynamic("f") + note("C4", 16), note("C6", 8) + dynamic("pp") + note("C6", 8),
             note("C4", 16))
    assert levels(players(tune, other)) == [["mp"], [], []]


def test_the_part_that_is_said_to_hold_the_tune_gives_the_level():
    high, low = (dynamic("pp") + note("C6", 16),), (dynamic("f") + note("C4", 16),)
    assert levels(players(high, low)) == [["pp"]]
    assert levels(players(high, low, tune=("P2",))) == [["f"]]


def test_slurs_of_one_staff_that_go_together_are_one():
    slur = '<slur type="{}" number="1"/>'
    bar = "".join(note(n, 8, notations=slur.format(k)) for n, k in (("C5", "start"),
                                                                   ("D5", "stop")))
    other = note("C5", 4) + "".join(note(n, 4, notations=slur.format(k)) for n, k in (
        ("C5", "start"), ("D5", "stop"))) + note("C5", 4)
    assert [s.get("type") for s in combined(bar, bar, note("r", 16)).iter("slur")] == [
        "start", "stop"]
    assert len(list(combined(bar, other, note("r", 16)).iter("slur"))) == 4


def test_rests_and_stems_of_two_players():
    stemmed = note("C5", 8).replace("<staff>", "<stem>up</stem><staff>") + note("r", 8)
    harp = combined(stemmed, stemmed, note("r", 16))
    assert list(harp.iter("stem")) == []
    rests = [n for n in harp.iter("note") if n.find("rest") is not None
             and n.findtext("staff") == "1"]
    assert [n.get("print-object") for n in rests] == [None, "no"]


def test_one_fermata_a_staff():
    held = "<fermata/>"
    bar = note("C5", 16, notations=held) + backup(16) + note("E4", 16, voice=2, notations=held)
    bar += backup(16) + note("C3", 16, voice=5, staff=2, notations=held)
    harp = written(piano(bar))
    assert [n.findtext("staff") for n in harp.iter("note")
            if n.find("notations/fermata") is not None] == ["1", "2"]


def test_slurs_of_a_single_chord_and_ends_without_a_fellow_go():
    slur = '<slur type="{}" number="{}"/>'
    bar = (note("C5", 8, notations=slur.format("start", 1) + slur.format("stop", 2))
           + note("D5", 8, notations=slur.format("stop", 1)) + LEFT)
    assert len(list(written(piano(bar)).iter("slur"))) == 2
    assert list(written(piano(bar), drop="D5").iter("slur")) == []
    alone = note("C5", 16, notations=slur.format("start", 1) + slur.format("stop", 1))
    assert list(written(piano(alone + LEFT)).iter("slur")) == []


def test_slurs_of_one_number_are_told_apart_by_their_voice():
    slur = '<slur type="{}" number="1"/>'
    upper = (note("C5", 8) + note("D5", 8, notations=slur.format("start")),
             note("E5", 8, notations=slur.format("stop")) + note("F5", 8))
    lower = backup(16) + note("C3", 8, voice=5, staff=2, notations=slur.format("start")) + note(
        "D3", 8, voice=5, staff=2, notations=slur.format("stop"))
    harp = written(piano(upper[0] + lower, upper[1] + LEFT), drop="D5")
    kinds = [(n.find("pitch/step").text, s.get("type")) for n in harp.iter("note")
             for s in n.iter("slur")]
    assert kinds == [("C", "start"), ("D", "stop")]


def test_a_rest_in_place_of_a_note_is_hidden_beside_another_voice():
    bar = (note("C5", 16) + backup(16) + note("E4", 8, voice=2) + note("F4", 8, voice=2) + LEFT)
    harp = written(piano(bar), drop="E4")
    (rest,) = [n for n in harp.iter("note") if n.find("rest") is not None]
    assert rest.get("print-object") == "no"


def test_the_layout_of_the_source_is_forgotten_but_above_and_below():
    placed = note("C5", 16).replace("<note>", '<note default-x="9">')
    first = ('<print new-page="yes"><system-layout/></print>' + direction(
        '<words default-y="20" relative-x="3">a</words>') + direction(
        '<words default-y="-70">b</words>') + placed)
    voice = part(attributes(1) + note("C5", 16), '<print new-system="yes"/>' + note("C5", 16))
    harp = part(attributes() + first + LEFT, note("C5", 16) + LEFT, ident="P2")
    root = score(voice, harp, names=("Voice", "Piano"))
    root.insert(0, etree.fromstring("<credit page='2'><credit-words>x</credit-words></credit>"))
    made = as_harp_part(root, ("P2",)).root
    assert made.find("credit") is None
    assert list(made.iter("print")) == []
    assert {a for e in made.iter() for a in e.attrib} & {"default-x", "default-y", "relative-x"} \
        == set()
    assert [d.get("placement") for d in made.iter("direction")] == ["above", "below"]
    own = as_harp_part(root, ("P2",), keep_fingering=True).root
    assert [p.get("new-system") for p in own.iter("print")] == ["yes"]


def test_a_voice_of_hidden_rests_leaves_the_measure_and_its_length_stays():
    bar = note("C3", 16) + backup(16) + note("r", 16, voice=5, staff=2)
    document = document_of(piano(bar, note("C5", 16) + LEFT))
    draft = draft_of(document, hand={"C3": "L"})
    from arranger.io.musicxml_write import write
    out = write(document, draft)
    assert validate(out) == []
    first = etree.fromstring(out).find(".//measure")
    # one rest is left, on the other staff: the voice of the hidden one is gone
    assert [(n.findtext("staff"), n.get("print-object")) for n in first.findall("note")] == [
        ("2", None), ("1", None)]
