"""Each notation of a source in a small score, converted whole: what becomes of it in the draft."""

from __future__ import annotations

import pytest
from lxml import etree

from arranger.commands.converting import convert
from arranger.commands.request import Request, Result
from arranger.io.musicxml_read import read
from arranger.model.errors import SourceError
from tests.handwritten import attributes, backup, chord, low, note, part, piano, score, words
from tests.schema import validate
from tests.score_reading import read_score
from tests.simulation_result import HARD
from tests.simulator import simulate
from tests.test_other_read import midi, strike, track
from tests.test_reduction import melody

REST = backup(16) + low("C3", 16)
TUNE = melody("C5", "D5", "E5", "F5")


@pytest.fixture
def converted(tmp_path):
    """Convert a score; every draft is valid, closed, and plays on the harp."""
    def run(root: etree._Element, **options) -> tuple[Result, etree._Element]:
        path = tmp_path / "score.musicxml"
        path.write_bytes(etree.tostring(root))
        result = convert(Request(path, page=False, **options))
        xml = result.files["draft.musicxml"]
        assert not validate(xml)
        assert not simulate(read_score(xml)).of(*HARD)
        return result, etree.fromstring(xml).findall("part")[-1]
    return run


def struck(result: Result) -> list[tuple[str, str]]:
    return [(n["onset"], n["string"]) for n in result.report["notes"] if not n["grace"]]


def names(result: Result) -> list[str]:
    return [n["string"] for n in result.report["notes"] if not n["grace"]]


def removed(result: Result) -> str:
    return " ".join(f["message"] for f in result.report["findings"] if f["code"] == "N2")


def solo(*measures: str, more: str = "", fifths: int = 0, beats: int = 4) -> str:
    first, *others = measures
    return part(attributes(1, fifths, beats, more=more) + first, *others)


CLEF = '<clef number="1"><sign>G</sign><line>2</line></clef>'


def with_clef(clef: str, *measures: str) -> etree._Element:
    root = score(solo(*measures), names=("Voice",))
    made = root.find("part/measure/attributes/clef")
    made.getparent().replace(made, etree.fromstring(clef))
    return root


def test_a_transposing_instrument_sounds_where_it_sounds(converted) -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    result, harp = converted(score(solo(TUNE, more=down, fifths=2), names=("Clarinet in B flat",)))
    assert names(result) == ["Bb4", "C5", "D5", "Eb5"]
    assert harp.find("measure/attributes/transpose") is None
    assert harp.findtext("measure/attributes/key/fifths") == "0"


@pytest.mark.parametrize("clef", [
    "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>",
    "<clef><sign>C</sign><line>3</line></clef>", "<clef><sign>C</sign><line>4</line></clef>",
    "<clef><sign>C</sign><line>1</line></clef>"])
def test_every_clef_becomes_treble_or_bass_and_the_sound_stays(converted, clef: str) -> None:
    result, harp = converted(with_clef(clef, melody("G3", "A3", "B3", "C4")))
    assert names(result) == ["G3", "A3", "B3", "C4"]
    assert {(c.findtext("sign"), c.findtext("line")) for c in harp.iter("clef")} <= {
        ("G", "2"), ("F", "4")}
    assert harp.find(".//clef-octave-change") is None


def test_an_octave_line_is_display(converted) -> None:
    line = ('<direction><direction-type><octave-shift type="{}" size="8"/></direction-type>'
            "<staff>1</staff></direction>")
    bar = line.format("down") + melody("C6", "D6", "E6", "F6") + line.format("stop") + REST
    result, harp = converted(piano(bar))
    assert names(result)[1:] == ["C6", "D6", "E6", "F6"] or "C6" in names(result)
    assert [s.get("type") for s in harp.iter("octave-shift")] == ["down", "stop"]


def test_a_pickup_is_a_short_bar(converted) -> None:
    root = piano(note("G4") + backup(4) + low("r"), TUNE + REST)
    root.find("part/measure").set("implicit", "yes")
    result, harp = converted(root)
    assert struck(result)[0] == ("0", "G4")
    assert ("1", "C5") in struck(result)
    assert harp.find("measure").get("implicit") == "yes"


def test_metre_and_key_change_within_the_piece(converted) -> None:
    change = ("<attributes><key><fifths>-3</fifths></key><time><beats>3</beats>"
              "<beat-type>4</beat-type></time></attributes>")
    second = change + melody("C5", "Eb5", "Ab5") + backup(12) + low("C3", 12)
    result, harp = converted(piano(TUNE + REST, second))
    assert ("6", "Ab5") in struck(result)
    assert [k.text for k in harp.iter("fifths")] == ["0", "-3"]
    assert [b.text for b in harp.iter("beats")] == ["4", "3"]


def test_two_metres_at_once(converted) -> None:
    six = part(attributes(1).replace("<beats>4</beats><beat-type>4", "<beats>6</beats>"
                                     "<beat-type>8") + "".join(
        note(n, 2) for n in ("C5", "D5", "E5", "F5", "G5", "A5")), ident="P1")
    three = part(attributes(1, beats=3) + melody("C3", "E3", "G3"), ident="P2")
    result, _ = converted(score(six, three, names=("Flute", "Cello")), parts=("all",))
    assert len(names(result)) == 9
    assert ("5/2", "A5") in struck(result)
    assert ("2", "G3") in struck(result)


def test_a_tuplet_within_a_tuplet(converted) -> None:
    """Three quavers in the time of two, the last of them three again: 1/3, 1/3, three of 1/9."""
    def of(name: str, length: int, actual: int, normal: int, kind: str, sign: str = "") -> str:
        return (f"<note><pitch><step>{name}</step><octave>5</octave></pitch>"
                f"<duration>{length}</duration><voice>1</voice><type>{kind}</type>"
                f"<time-modification><actual-notes>{actual}</actual-notes>"
                f"<normal-notes>{normal}</normal-notes></time-modification><staff>1</staff>"
                f"{f'<notations>{sign}</notations>' if sign else ''}</note>")
    outer = '<tuplet type="{}" number="1"/>'
    inner = '<tuplet type="{}" number="2"/>'
    bar = (of("C", 6, 3, 2, "eighth", outer.format("start")) + of("D", 6, 3, 2, "eighth")
           + of("E", 2, 9, 4, "16th", inner.format("start")) + of("F", 2, 9, 4, "16th")
           + of("G", 2, 9, 4, "16th", inner.format("stop") + outer.format("stop")))
    root = score(part(attributes(2, beats=1, divisions=18) + bar + backup(18)
                      + low("C3", 4).replace("<duration>4", "<duration>18")))
    result, harp = converted(root)
    assert [o for o, n in struck(result) if n != "C3"] == ["0", "1/3", "2/3", "7/9", "8/9"]
    assert len(list(harp.iter("tuplet"))) == 4


def test_graces_and_ornaments_stay_and_add_no_note(converted) -> None:
    ornament = "<ornaments><{}/></ornaments>"
    bar = (note("B4", grace=True) + note("C6", notations=ornament.format("trill-mark"))
           + note("D6", notations=ornament.format("mordent"))
           + note("E6", notations=ornament.format("turn")) + note("F6"))
    result, harp = converted(piano(bar + REST))
    assert names(result)[1:] == ["C6", "D6", "E6", "F6"] or len(names(result)) == 5
    assert sum(n["grace"] for n in result.report["notes"]) == 1
    assert [s.tag for s in harp.iterfind(".//ornaments/*")] == ["trill-mark", "mordent", "turn"]


@pytest.mark.parametrize(("sign", "wanted"), [
    ('<trill-mark/><accidental-mark>flat</accidental-mark>', ["D♭6"]), ("<trill-mark/>", []),
    ('<turn/><accidental-mark placement="below">flat</accidental-mark>', ["B♭5"]),
    ("<mordent/>", []), ('<inverted-mordent/><accidental-mark>flat</accidental-mark>', ["D♭6"])])
def test_an_ornament_whose_other_note_the_pedals_lack_is_told(converted, sign, wanted) -> None:
    ornament = note("C6", notations=f"<ornaments>{sign}</ornaments>")
    held = backup(16) + chord("B2 D3", voice=5, staff=2) * 4  # what the pedals must give
    result, _ = converted(piano(note("B5") + ornament + note("D6") + note("B5") + held))
    told = [f["message"] for f in result.report["findings"] if "ornament" in f["message"]]
    assert len(told) == len(wanted)
    assert all(name in line for name, line in zip(wanted, told, strict=True))


def test_a_tremolo_between_notes_stays_between_them(converted) -> None:
    sign = '<ornaments><tremolo type="{}">3</tremolo></ornaments>'
    bar = note("E5", 8, notations=sign.format("start")) + note(
        "G5", 8, notations=sign.format("stop"))
    _, harp = converted(piano(bar + REST))
    assert [t.get("type") for t in harp.iter("tremolo")] == ["start", "stop"]


def test_a_bowed_tremolo_is_taken_out_and_said(converted) -> None:
    sign = '<ornaments><tremolo type="single">3</tremolo></ornaments>'
    lines = (solo(note("E5", 16, notations=sign)), part(attributes(1) + note("C3", 16), ident="P2"))
    result, harp = converted(score(*lines, names=("Violin", "Cello")), parts=("all",))
    assert harp.find(".//tremolo") is None
    assert "bowed tremolo (1, first in bar 1)" in removed(result)


def test_a_beam_across_the_staves_keeps_every_note(converted) -> None:
    bar = (note("C3", 2, staff=2, beam="begin") + note("G3", 2, staff=2, beam="continue")
           + note("E4", 2, beam="continue") + note("C5", 2, beam="end") + note("r", 8))
    result, _ = converted(piano(bar))
    assert [n for _, n in struck(result)] == ["C3", "G3", "E4", "C5"]


def test_a_feathered_beam_keeps_its_rhythm(converted) -> None:
    bar = "".join(note(n, 2, beam=b) for n, b in (
        ("C5", "begin"), ("D5", "continue"), ("E5", "continue"), ("F5", "end"))).replace(
        '<beam number="1">begin', '<beam number="1" fan="accel">begin') + note("r", 8)
    result, harp = converted(piano(bar + REST))
    assert [o for o, n in struck(result) if n != "C3"] == ["0", "1/2", "1", "3/2"]
    assert harp.find(".//beam").get("fan") == "accel"


def test_a_hidden_voice_sounds_and_is_seen(converted) -> None:
    hidden = melody("E4", "F4", "G4", "A4").replace("<note>", '<note print-object="no">').replace(
        "<voice>1", "<voice>2")
    result, harp = converted(piano(TUNE + backup(16) + hidden + REST))
    assert {"E4", "F4", "G4", "A4"} <= set(names(result))
    assert harp.find("measure/note[pitch][@print-object]") is None


def test_cue_notes_are_left_out_and_said(converted) -> None:
    cue = note("G5").replace("<note>", "<note><cue/>")
    result, harp = converted(piano(cue + note("D5") + note("E5") + note("F5") + REST))
    assert "G5" not in names(result)
    assert harp.find(".//cue") is None
    assert "cue notes (1, first in bar 1)" in removed(result)
    assert ("1", "D5") in struck(result)


def test_an_ossia_staff_is_left_out_and_said(converted) -> None:
    details = ('<staff-details number="3"><staff-type>ossia</staff-type></staff-details>')
    root = score(part(attributes(3, more=details) + TUNE + backup(16) + low("C3", 16) + backup(16)
                      + note("B5", 16, voice=9, staff=3)))
    result, _ = converted(root)
    assert "B5" not in names(result)
    assert "C3" in names(result)
    assert "ossia (1, first in bar 1)" in removed(result)


def test_unpitched_notes_are_left_out_and_said(converted) -> None:
    drum = ("<note><unpitched/><duration>16</duration><voice>1</voice><type>whole</type></note>")
    root = score(solo(TUNE), part(attributes(1) + drum, ident="P2"),
                 part(attributes(1) + note("C3", 16), ident="P3"),
                 names=("Flute", "Side drum", "Cello"))
    result, _ = converted(root, parts=("all",))
    assert "without definite pitch of Side drum (1, first in bar 1)" in removed(result)


def test_a_quarter_tone_is_refused_with_its_place(converted) -> None:
    odd = note("C5").replace("<octave>", "<alter>0.5</alter><octave>")
    with pytest.raises(SourceError, match=r"bar 2, part P1: a quarter tone .*harp"):
        converted(piano(TUNE + REST, odd + REST))


def test_words_sung_chord_symbols_and_figures_are_kept(converted) -> None:
    sung = note("C5", 16).replace("</note>", "<lyric><text>Ah</text></lyric></note>")
    symbol = ("<harmony><root><root-step>C</root-step></root><kind>major-seventh</kind>"
              "</harmony>")
    figures = ("<figured-bass><figure><prefix>flat</prefix><figure-number>6</figure-number>"
               "</figure></figured-bass>")
    _, harp = converted(piano(symbol + sung + backup(16) + figures + low("C3", 16)))
    assert harp.findtext(".//lyric/text") == "Ah"
    assert harp.findtext(".//harmony/kind") == "major-seventh"
    assert harp.findtext(".//figured-bass/figure/prefix") == "flat"


@pytest.mark.parametrize("sign", [" ♭", "♯", "♮", "(♭)", "♭ ♯"])
def test_an_accidental_by_itself_is_no_pedal(converted, sign: str) -> None:
    trill = note("C6", 16, notations="<ornaments><trill-mark/></ornaments>")
    result, harp = converted(piano(words(sign) + trill + REST))
    assert sign.strip() in [(w.text or "").strip() for w in harp.iter("words")]
    assert "old pedal" not in removed(result)


def test_a_fermata_stays_once(converted) -> None:
    _, harp = converted(piano(note("C5", 16, notations="<fermata/>") + REST))
    assert len(list(harp.iter("fermata"))) == 1


def test_a_tempo_word_sets_the_tempo_where_no_number_stands(converted) -> None:
    result, _ = converted(piano(words("Andante") + TUNE + REST))
    assert result.report["tempo"] == [{"onset": "0", "bpm": "76"}]


def test_swing_stays_and_is_said(converted) -> None:
    swing = ("<direction><direction-type><words>Swing</words></direction-type><sound><swing>"
             "<first>2</first><second>1</second></swing></sound></direction>")
    bar = "".join(note(n, 2) for n in ("C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6"))
    result, harp = converted(piano(swing + bar + REST))
    assert [o for o, n in struck(result) if n != "C3"][1] == "1/2"
    assert harp.find(".//swing") is not None
    assert "swing" in result.report["settings"]["timing"]


def barline(content: str, where: str = "right") -> str:
    return f'<barline location="{where}">{content}</barline>'


FORWARD = barline('<repeat direction="forward"/>', "left")
BACKWARD = barline('<repeat direction="backward"/>')


def test_repeats_and_endings_are_written_once_and_played_in_order(converted) -> None:
    def ending(number: int, content: str) -> str:
        return barline(f'<ending number="{number}" type="start"/>', "left") + content
    opening, other = melody("B4", "C5", "D5", "E5"), melody("B4", "C#5", "D5", "E5")
    first = ending(1, other + REST) + barline(
        '<ending number="1" type="stop"/><repeat direction="backward"/>')
    second = ending(2, opening + REST) + barline('<ending number="2" type="stop"/>')
    root = piano(FORWARD + opening + REST, first, second)
    result, harp = converted(root)
    assert read(root).score.playing_order == (0, 1, 0, 2)
    assert len(harp.findall("measure")) == 3
    assert len(list(harp.iter("repeat"))) == 2
    moves = [(m["bar"], m["pedal"]) for m in result.report["pedals"]["moves"]]
    assert len(moves) == 2
    assert len(set(moves)) == 1  # sharpened for the first ending, and set back before it is left
    assert moves[0][0] == "2"


def test_da_capo_segno_and_coda_are_followed(converted) -> None:
    segno = "<direction><direction-type><segno/></direction-type></direction>"
    coda = "<direction><direction-type><coda/></direction-type></direction>"
    bars = [TUNE + REST, segno + TUNE + REST, words("To Coda") + TUNE + REST,
            TUNE + REST + words("D.S. al Coda"), coda + melody("C#5", "D5", "E5", "F5") + REST]
    root = piano(*bars)
    assert read(root).score.playing_order == (0, 1, 2, 3, 1, 2, 4)
    _, harp = converted(root)
    assert [w.text for w in harp.iter("words") if "C" in (w.text or "")][:1] == ["To Coda"]


def movements() -> etree._Element:
    """An allegro, then a minuet with trio whose bars are numbered anew."""
    final = barline("<bar-style>light-heavy</bar-style>")
    bars = [TUNE + REST, TUNE + REST + final, words("Menuetto") + TUNE + REST,
            TUNE + REST + final, words("Trio") + TUNE + REST,
            TUNE + REST + words("Menuetto D.C.") + final]
    root = piano(*bars)
    for measure, number in zip(root.iter("measure"), "121212", strict=True):
        measure.set("number", number)
    return root


def test_da_capo_goes_to_the_start_of_its_movement_and_ends_before_the_trio(converted) -> None:
    root = movements()
    assert read(root).score.playing_order == (0, 1, 2, 3, 4, 5, 2, 3)
    _, harp = converted(root)
    assert read_score(etree.tostring(root)).order == (0, 1, 2, 3, 4, 5, 2, 3)
    assert len(harp.findall("measure")) == 6


def test_the_timing_of_a_performance_is_rounded_and_said(tmp_path) -> None:
    path = tmp_path / "played.mid"
    late = b"\x05" + bytes([0x90, 64, 64]) + b"\x58" + bytes([0x80, 64, 0])
    path.write_bytes(midi(track(strike(60), late, strike(67))))
    result = convert(Request(path, page=False))
    assert [n["onset"] for n in result.report["notes"]][:2] == ["0", "1"]
    assert "(2 of 3 notes" in result.report["settings"]["timing"]
    steady = tmp_path / "steady.mid"
    steady.write_bytes(midi(track(strike(60), strike(64), strike(67))))
    assert "timing" not in convert(Request(steady, page=False)).report["settings"]
