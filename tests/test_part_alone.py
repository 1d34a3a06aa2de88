"""What is for all players comes into the printed part, over its upper staff, and once."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from arranger.report.part_alone import part_alone

BAR = "<note><rest/><duration>4</duration></note>"


def direction(shown: str, more: str = "", **attributes: str) -> str:
    told = "".join(f' {name}="{value}"' for name, value in attributes.items())
    return f"<direction{told}><direction-type>{shown}</direction-type>{more}</direction>"


def words(text: str, more: str = "", **attributes: str) -> str:
    return direction(f"<words>{text}</words>", more, **attributes)


def score(*parts: tuple[str, ...]) -> ET.Element:
    """Bars of four crotchets; the last of these parts is the harp's."""
    listed = "".join(f'<score-part id="P{k}"/>' for k in range(len(parts)))
    music = "".join(
        f'<part id="P{k}">' + "".join(
            f'<measure number="{n}">' + ("<attributes><divisions>1</divisions></attributes>"
                                         if n == 1 else "") + bar + "</measure>"
            for n, bar in enumerate(bars, 1)) + "</part>" for k, bars in enumerate(parts))
    return ET.fromstring(f"<score-partwise><part-list>{listed}</part-list>{music}"
                         "</score-partwise>")


def printed(root: ET.Element) -> list[list[tuple[str, str, str]]]:
    """For each bar of the part: sign, staff and place of what its directions show."""
    return [[(sign.text or sign.tag, mark.findtext("staff", "1"), mark.findtext("offset", "0"))
             for mark in measure.findall("direction") for sign in mark.iterfind("direction-type/*")]
            for measure in part_alone(root).findall("measure")]


def test_the_form_comes_from_another_part():
    voice = (direction("<segno/>", '<sound segno="a"/>') + BAR,
             BAR + words("Fine", '<sound fine="yes"/>'), words("To Coda") + BAR,
             direction("<coda/>") + BAR, BAR + words("D.S. al Fine"))
    found = printed(score(voice, (BAR,) * 5, (BAR,) * 5))
    assert found == [[("segno", "1", "0")], [("Fine", "1", "4")], [("To Coda", "1", "0")],
                     [("coda", "1", "0")], [("D.S. al Fine", "1", "4")]]


def test_a_form_that_is_only_sounded_is_printed():
    found = printed(score(('<sound segno="a"/>' + BAR, BAR + '<sound dalsegno="a"/>',
                           BAR + words("D.C. senza replica") + '<sound dacapo="yes"/>',
                           BAR + '<sound tempo="80"/>'), (BAR,) * 4))
    assert found == [[("segno", "1", "0")], [("D.S.", "1", "4")],
                     [("D.C. senza replica", "1", "4")], []]


def test_a_part_that_says_where_to_go_on_is_not_told_again():
    found = printed(score((BAR + words("Da capo al Fine"), BAR + words("Fine")),
                          (BAR + words("D.C."), BAR),
                          (BAR + words("D.C. al Fine"), BAR)))
    assert [[text for text, _, _ in bar] for bar in found] == [["D.C. al Fine"], ["Fine"]]
    empty = words("", '<sound fine="yes"/>')
    assert printed(score((BAR + empty,), (BAR,))) == [[("Fine", "1", "4")]]


@pytest.mark.parametrize("text", ["rit.", "poco a poco accel.", "a tempo", "(Tempo I)", "Cédez",
                                  "nach und nach breiter", "Tempo", "1° Tempo", "Mouvt",
                                  "calando", "colla voce", "a piacere", "au Mouvement"])
def test_a_change_of_tempo_is_for_all_whoever_is_told_it(text):
    for place in ("above", "below"):
        bars = (BAR, words(text, placement=place) + BAR)
        assert printed(score(bars, (BAR, BAR), (BAR, BAR)))[1] == [(text, "1", "0")]
        assert printed(score((BAR, BAR), bars, (BAR, BAR)))[1] == [(text, "1", "0")]


@pytest.mark.parametrize("text", ["più adagio", "Ziemlich langsam"])
def test_a_tempo_over_the_top_staff_is_for_all(text):
    bars = (BAR, words(text, placement="above") + BAR)
    assert printed(score(bars, (BAR, BAR), (BAR, BAR)))[1] == [(text, "1", "0")]
    # such words to a lower part tell how it is played, and so do those under a staff
    assert printed(score((BAR, BAR), bars, (BAR, BAR)))[1] == []
    assert printed(score((BAR, words(text, placement="below") + BAR), (BAR, BAR)))[1] == []


def test_of_changes_of_tempo_at_one_moment_the_first_stands():
    found, = printed(score((words("poco rit.") + BAR,), (words("ritard.") + BAR,), (BAR,)))
    assert found == [("poco rit.", "1", "0")]
    found, = printed(score((words("poco rit.") + BAR,), (words("cédez") + BAR,)))
    assert found == [("cédez", "1", "0")]


def test_headings_come_and_words_for_one_player_stay():
    double = '<barline location="right"><bar-style>light-light</bar-style></barline>'
    voice = (words("Recitativ.") + BAR, words("Grazioso e chiaro") + BAR + double,
             words("Air") + BAR + words("dolce") + double, words("Solo") + BAR,
             words("Reprise", system="only-top") + BAR, words("espress.") + BAR)
    found = printed(score(voice, (BAR,) * 6))
    assert [[text for text, _, _ in bar] for bar in found] == [
        ["Recitativ."], [], ["Air"], [], ["Reprise"], []]


def test_what_both_staves_and_another_part_say_is_said_once_and_on_top():
    said = words("Adagio", '<offset>{}</offset><staff>{}</staff><sound tempo="60"/>',
                 placement="above")
    metronome = direction("<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute>"
                          "</metronome>", "<staff>2</staff>", placement="above")
    root = score((said.format(1, 1) + BAR,),
                 (said.format(0, 2) + said.format(0, 1) + metronome + BAR,))
    found, = printed(root)
    assert found == [("Adagio", "1", "0"), ("metronome", "1", "0")]
    assert root.find("part/measure/direction/sound").get("tempo") == "60"


@pytest.mark.parametrize(("above", "staff"), [("Sostenuto", "1"), ("", "2")])
def test_words_between_the_staves_rise_where_another_part_has_them_for_all(above, staff):
    own = words("sostenuto", "<staff>2</staff>", placement="above") + BAR
    voice = (words(above, placement="above") if above else "") + BAR
    assert printed(score((BAR, voice), (BAR, own)))[1] == [("sostenuto", staff, "0")]


@pytest.mark.parametrize(("place", "found"), [
    ({}, "above"), ({"placement": "below"}, "below"), ({"placement": "above"}, "above")])
def test_a_tempo_without_a_place_stands_over_the_staff(place, found):
    part = part_alone(score((words("Lento.", **place) + words("dolce") + BAR,)))
    assert [mark.get("placement") for mark in part.iter("direction")] == [found, None]


def test_a_tempo_drawn_under_the_staff_stays_there():
    low = direction('<words default-y="-70">a tempo</words>')
    assert [mark.get("placement") for mark in part_alone(score((low + BAR,))).iter("direction")
            ] == [None]


def test_the_same_change_twice_in_a_bar_of_one_staff_stays():
    bar = "<note><rest/><duration>2</duration></note>"
    found, = printed(score((BAR,), (words("rit.") + bar + words("rit.") + bar,)))
    assert [text for text, _, _ in found] == ["rit.", "rit."]


def test_dynamics_beside_a_tempo_stay_with_their_player():
    mixed = ("<direction><direction-type><words>Lento</words></direction-type><direction-type>"
             "<dynamics><p/></dynamics></direction-type></direction>")
    found, = printed(score((mixed + BAR,), (BAR,)))
    assert found == [("Lento", "1", "0")]
