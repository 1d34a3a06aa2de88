"""A whole score transposed: against music21, and what must not move."""

from __future__ import annotations

import warnings
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, convert
from arranger.io.musicxml_write import serialise
from arranger.io.source import open_source
from arranger.io.transpose import interval, transpose
from arranger.model.errors import ChoiceError
from tests.handwritten import attributes, backup, chord, note, part, piano, score
from tests.schema import validate
from tests.score_reading import read_score

ROOT = Path(__file__).parents[1]
DEMOS = sorted((ROOT / "corpus").glob("*/score.musicxml"))
DATA = sorted(p for p in (ROOT / "../shared/data").rglob("*.mxl")
              if p.stat().st_size < 60_000)[::7]
HARMONY = ("<harmony><root><root-step>{}</root-step>{}</root><kind>major</kind>"
           "<bass><bass-step>{}</bass-step></bass><frame><frame-strings>6</frame-strings>"
           "<frame-frets>5</frame-frets></frame></harmony>")


def moved(root: etree._Element, semitones: int) -> etree._Element:
    transpose(root, semitones)
    return root


def by_music21(path: Path, semitones: int) -> tuple[list[tuple[float, str]], list[int]]:
    from music21 import converter
    from music21.interval import intervalFromGenericAndChromatic
    root = open_source(path)
    found = interval(semitones, [int(k.findtext("fifths") or 0) for k in root.iter("key")] or [0])
    generic = found.steps + 1 if found.steps >= 0 else found.steps - 1
    whole = converter.parse(serialise(root).decode(), format="musicxml")
    return facts(whole.transpose(intervalFromGenericAndChromatic(generic, semitones)))


def facts(stream) -> tuple[list[tuple[float, str]], list[int]]:  # type: ignore[no-untyped-def]
    from music21 import harmony, key
    notes = [(float(e.getOffsetInHierarchy(stream)), p.nameWithOctave)
             for e in stream.recurse().notes if not isinstance(e, harmony.Harmony)
             for p in getattr(e, "pitches", ())]
    return sorted(notes), [k.sharps for k in stream.recurse().getElementsByClass(key.KeySignature)]


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.parent.name)
@pytest.mark.parametrize("semitones", [-3, 2])
def test_demos_sound_as_music21_transposes_them(path, semitones):
    agrees(path, semitones)


def test_a_key_leaves_the_singer_in_range():
    """The song's voice has C sharp 4 to A flat 5; only two semitones down fit these."""
    song = ROOT / "corpus/lantern-on-the-water/score.musicxml"
    asked = Request(song, page=False, transpose="best")
    lower = convert(replace(asked, sung_range="B3-F#5")).report["settings"]["transpose"]
    assert lower == -2
    with pytest.raises(ChoiceError, match="no key within a fourth"):
        convert(replace(asked, sung_range="C4-C5"))
    with pytest.raises(ChoiceError, match="leave B3-F#5; try --transpose best"):
        convert(replace(asked, transpose="2", sung_range="B3-F#5"))


@pytest.mark.parametrize(("more", "said"), [
    ({"sung_range": "C4-F5"}, "goes with --transpose"),
    ({"sung_range": "F5-C4", "transpose": "1"}, "no range"),
    ({"sung_range": "low", "transpose": "1"}, "no range")])
def test_a_range_that_says_nothing_is_refused(more, said):
    with pytest.raises(ChoiceError, match=said):
        convert(replace(Request(ROOT / "corpus/lantern-on-the-water/score.musicxml"), **more))


@pytest.mark.campaign
@pytest.mark.skipif(not DATA, reason="no shared data here")
@pytest.mark.parametrize("path", DATA, ids=lambda p: p.stem[:40])
@pytest.mark.parametrize("semitones", [-5, -1, 3, 4])
def test_scores_sound_as_music21_transposes_them(path, semitones):
    agrees(path, semitones)


def agrees(path: Path, semitones: int) -> None:
    """Pitches and keys are equal, but for what has no name with two signs and seven at most."""
    from music21 import converter
    warnings.simplefilter("ignore")
    expected, keys = by_music21(path, semitones)
    text = serialise(moved(open_source(path), semitones)).decode()
    actual, new_keys = facts(converter.parse(text, format="musicxml"))
    plain = {(at, name) for at, name in expected if "###" not in name and "---" not in name}
    assert len(actual) == len(expected)
    assert len(plain - set(actual)) <= len(set(expected) - plain)
    for one, two in zip(keys, new_keys, strict=True):
        assert one == two or (abs(one) > 7 and (one - two) % 12 == 0)


def test_accidentals_chord_symbols_and_diagrams(tmp_path):
    root = piano(HARMONY.format("B", "<root-alter>-1</root-alter>", "D")
                 + note("F#4", 8, accidental="sharp") + note("Bb4", 8))
    moved(root, 2)
    assert [a.text for a in root.iter("accidental")] == ["sharp"]
    assert [e.text for e in root.iter("root-step", "root-alter", "bass-step", "bass-alter")] == [
        "C", "E"]
    assert list(root.iter("frame")) == []
    assert [k.findtext("fifths") for k in root.iter("key")] == ["2"]
    assert [n.name for n in read_score(serialise(root)).notes] == ["G#4", "C5"]
    moved(root, -1)
    assert [e.text for e in root.iter("root-step", "root-alter")] == ["C", "-1"]
    assert [a.text for a in root.iter("accidental")] == ["natural"]
    validate(serialise(root))


@pytest.mark.parametrize(("fifths", "semitones", "expected"), [
    (0, 1, -5), (0, -1, 5), (5, -1, -2), (5, 1, 0), (-6, 1, 1), (4, 3, 1), (0, 6, 6), (0, 12, 0)])
def test_the_key_with_fewest_signs_is_taken(fifths, semitones, expected):
    found = interval(semitones, [fifths])
    assert found.key(fifths) == fifths + found.fifths
    assert abs(fifths + found.fifths) == abs(expected)


def test_kept_parts_and_transposing_instruments_move_along(tmp_path):
    horn = part(attributes(1, 1, more="<transpose><diatonic>-4</diatonic><chromatic>-7</chromatic>"
                           "</transpose>") + note("G4", 16), ident="P1")
    drum = ('<part id="P2"><measure number="1"><attributes><divisions>4</divisions><key><fifths>0'
            "</fifths></key><clef><sign>percussion</sign></clef></attributes><note><unpitched/>"
            "<duration>16</duration><type>whole</type></note></measure></part>")
    keys = part(attributes(2, 0) + chord("C4 E4", 16) + backup(16)
                + note("C3", 16, staff=2, voice=2), ident="P3")
    path = tmp_path / "three.musicxml"
    path.write_bytes(serialise(score(horn, drum, keys, names=("Horn", "Drum", "Piano"))))
    result = convert(Request(path, parts=("Piano",), page=False, transpose="3"))
    before, after = read_score(path), read_score(result.files["draft.musicxml"])
    assert [n.midi + 3 for n in before.notes if n.part == "P1"] == [
        n.midi for n in after.notes if n.part == "P1"]
    assert {n.midi for n in after.notes if n.part == after.part_id("Harp")} == {63, 67, 51}
    tree = etree.fromstring(result.files["draft.musicxml"])
    assert tree.findtext("part[@id='P2']/measure/attributes/key/fifths") == "0"
    assert result.report["settings"]["transpose"] == 3
    assert Fraction(0) == after.notes[0].onset


@pytest.mark.parametrize("text", ["much", "1.5", "99", "--3"])
def test_a_wrong_transposition_is_refused(text):
    with pytest.raises(ChoiceError, match="give semitones from -24 to 24, or best"):
        convert(Request(DEMOS[0], page=False, transpose=text))


def test_the_best_key_of_a_pedal_harp_needs_no_more_moves(tmp_path):
    bar = "".join(note(n, 2) for n in ("C#5", "D#5", "E#5", "F##5", "G#5", "F##5", "E#5", "C#5"))
    path = tmp_path / "sharp.musicxml"
    path.write_bytes(serialise(piano(bar, bar, fifths=7)))
    plain = convert(Request(path, page=False))
    best = convert(Request(path, page=False, transpose="best"))
    assert (best.report["summary"]["pedal_moves"], len(best.report["ledger"])) <= (
        plain.report["summary"]["pedal_moves"], len(plain.report["ledger"]))
