"""The part for the stand: complete, whole, embedded fonts, the same bytes; the sound file."""

from __future__ import annotations

import io
import os
import re
import stat
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from arranger.api import Request, convert
from arranger.cli import main
from arranger.model.errors import ChoiceError
from arranger.report.engraver import EngravingError
from arranger.report.part_alone import part_alone
from arranger.report.part_pages import (
    _EMPTY,
    _HURRY,
    _PAGE,
    _THIN,
    GAP,
    TURN,
    Line,
    best_pages,
    free_hands,
    part_lines,
    share_pages,
)
from arranger.report.part_pdf import part_pdf
from arranger.report.pdf_drawing import outline
from arranger.report.pdf_text import music_code, runs_of, sign
from arranger.report.wav import sound_font, synthesiser, wav_bytes
from tests.engraver_fakes import REFUSES, fake_verovio
from tests.page_reading import notes
from tests.sample_report import sample_draft, sample_report

pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed; it comes with the dev extra")
pdfium = pytest.importorskip("pypdfium2",
                             reason="pypdfium2 is not installed; it comes with the dev extra")
SCORE = Path(__file__).parents[1] / "corpus" / "lantern-on-the-water" / "score.musicxml"


@pytest.fixture(scope="module")
def made():
    result = convert(Request(SCORE, ("Piano",), pdf=True, page=False))
    data = result.files["part.pdf"]
    return SimpleNamespace(report=result.report, xml=result.files["draft.musicxml"], data=data,
                           pdf=pypdf.PdfReader(io.BytesIO(data)))


def pictures(data: bytes):
    """Pages as rows of grey values, a point a pixel."""
    document = pdfium.PdfDocument(data)
    return [page.render(scale=1, grayscale=True).to_numpy().squeeze() for page in document]


def test_all_notes_and_bars_are_in_the_lines(made):
    lines = part_lines(made.xml, {})[0]
    told = {n["id"]: n for n in made.report["notes"]}
    seen = list(notes([line.drawing for line in lines]))
    assert {n.id for n in seen} >= set(told)
    assert all(re.sub("[#b]", "", told[n.id]["string"]) in n.either for n in seen
               if n.id in told)
    firsts = [line.first for line in lines]
    assert firsts[0] == 1
    assert firsts == sorted(set(firsts))
    assert max(n.bar for n in seen) == len(made.report["bars"])
    # two staves in every line: nothing of the voice, and no staff hidden
    for line in lines:
        for measure in line.drawing.iter("g"):
            if measure.get("class") == "measure":
                assert len(measure.findall("g[@class='staff']")) == 2


def test_title_page_numbers_and_standing_diagrams(made):
    texts = [page.extract_text() for page in made.pdf.pages]
    count = len(texts)
    assert count >= 2
    assert "Lantern on the Water" in texts[0]
    assert "Ottoline Farrowmere" in texts[0]
    for number, text in enumerate(texts, 1):
        assert f"{number} / {count}" in text
    assert all("Harp: Lantern on the Water" in text for text in texts[1:])
    # the letters of a diagram on every page, although only some bars print one
    assert all(re.search(r"D\s*C\s*B\s*E\s*F\s*G\s*A", text) for text in texts)


def test_every_pedal_move_is_printed(made):
    """Letters are text, signs are shapes: each move is its letter on a line of its own.

    What moves where a whole setting is printed is seen in that, but for two notches.
    """
    boxes = sum(page.get_contents().get_data().count(b" re S") for page in made.pdf.pages)
    doubles = sum(abs(m["to"] - m["from"]) == 2 for m in made.report["pedals"]["moves"])
    assert boxes == doubles
    words = [word for line in part_lines(made.xml, {})[0] for text in line.drawing.iter("text")
             if re.fullmatch(r"([A-G][♭♮♯]\s?)+", "".join(text.itertext()).strip())
             for word in re.findall("[A-G][♭♮♯]", "".join(text.itertext()))]
    sign_of = {-1: "♭", 0: "♮", 1: "♯"}
    shown = {int(bar.get("number")) for bar in ET.fromstring(made.xml).iterfind("part/measure")
             if bar.find("direction/direction-type/harp-pedals") is not None}
    moves = [(m, f"{m['pedal']}{sign_of[m['to']]}") for m in made.report["pedals"]["moves"]]
    assert sorted(words) == sorted(word for m, word in moves
                                   if m["beat"] != "1" or int(m["bar"]) not in shown
                                   or abs(m["to"] - m["from"]) == 2)


def test_the_tempo_of_the_score_stands_in_the_part(made):
    """In the demo the marks stand in the voice; a player of the part alone needs them."""
    words = " ".join("".join(t.itertext()) for line in part_lines(made.xml, {})[0]
                     for t in line.drawing.iter("text"))
    assert "A little faster" in words
    assert words.count("A little faster") == 1


def test_marks_for_all_keep_their_place_in_the_part_taken_out():
    mark = ("<direction><direction-type><words>Faster</words></direction-type>{offset}"
            '<sound tempo="90"/></direction>')
    note = "<note><rest/><duration>{}</duration></note>"
    root = ET.fromstring(
        '<score-partwise><part-list><score-part id="A"/><score-part id="B"/></part-list>'
        '<part id="A"><measure number="1"><attributes><divisions>2</divisions></attributes>'
        + note.format(4) + "<direction><direction-type><words>dolce</words></direction-type>"
        "</direction>" + mark.format(offset="<offset>-1</offset>") + note.format(4)
        + '</measure></part><part id="B"><measure number="1"><attributes><divisions>12</divisions>'
        "</attributes>" + note.format(48) + "</measure></part></score-partwise>")
    part = part_alone(root)
    assert [p.get("id") for p in root.findall("part")] == ["B"]
    put, = part.findall("measure/direction")
    # one and a half quarters in: 18 of 12 a quarter
    assert [child.tag for child in put] == ["direction-type", "offset", "staff", "sound"]
    assert put.findtext("offset") == "18"
    assert part_alone(root) is part
    assert len(part.findall("measure/direction")) == 1


def test_fonts_are_embedded(made):
    found = set()
    for page in made.pdf.pages:
        for font in page["/Resources"]["/Font"].values():
            described = font.get_object()
            assert "SourceSerifPro" in described["/BaseFont"]
            assert "/FontFile2" in described["/FontDescriptor"]
            found.add(described["/BaseFont"])
    assert found


def test_nothing_is_cut_off_and_no_page_is_empty(made):
    every = pictures(made.data)
    for number, picture in enumerate(every, 1):
        dark = picture < 160
        assert picture.shape == (842, 596) or picture.shape == (842, 595)
        assert not dark[:20].any()
        assert not dark[-20:].any()
        assert not dark[:, :20].any()
        assert not dark[:, -20:].any()
        assert dark[60:800].any(axis=1).mean() > (0.4 if number < len(every) else 0.1)


def test_no_colour_is_needed(made):
    for page in made.pdf.pages:
        told = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)", page.get_contents().get_data())
        assert all(len(set(colour)) == 1 for colour in told)


def test_the_same_bytes_again(made):
    assert part_pdf(made.report, made.xml) == made.data


def test_a_check_or_a_lever_harp_prints_too():
    report = sample_report()
    del report["ledger"], report["pedals"], report["bars"]
    assert part_pdf(report, sample_draft()).startswith(b"%PDF")


def test_a_score_that_cannot_be_drawn_is_one_line(monkeypatch, tmp_path):
    fake_verovio(REFUSES, tmp_path, monkeypatch)
    with pytest.raises(EngravingError, match="cannot draw"):
        part_pdf(sample_report(), sample_draft())


def price(cuts: tuple[int, ...], lines, free, first: float, room: float) -> float | None:
    """Price of cutting before these lines, reckoned plainly; None if a page overflows."""
    total, edges = 0.0, [0, *cuts, len(lines)]
    for start, end in pairwise(edges):
        height = first if start == 0 else room
        used = sum(line.height for line in lines[start:end]) + GAP * (end - start - 1)
        if used > height and end - start > 1:
            return None
        if end < len(lines):
            total += _PAGE + _EMPTY * max(0.0, 1 - used / height) ** 2
            total += _HURRY * max(0.0, 1 - free.get(lines[end].first, 0.0) / TURN)
        elif start:
            total += _THIN * max(0.0, 0.5 - used / height) ** 2
    return total


@pytest.mark.parametrize("seed", range(8))
def test_page_turns_are_the_best_there_are(seed):
    heights = [300 + (seed * 37 + k * 91) % 260 for k in range(9)]
    free = {4 * k + 1: ((seed + k * k) % 5) / 2 for k in range(9)}
    lines = [Line(ET.Element("svg"), height, 4 * k + 1) for k, height in enumerate(heights)]
    pages = share_pages(lines, free, 1500, 2000)
    assert [line for page in pages for line in page] == lines
    cuts, at = [], 0
    for page in pages[:-1]:
        at += len(page)
        cuts.append(at)
    every = [price(some, lines, free, 1500, 2000) for size in range(9)
             for some in combinations(range(1, 9), size)]
    assert price(tuple(cuts), lines, free, 1500, 2000) == pytest.approx(
        min(p for p in every if p is not None))


def test_no_line_is_left_alone_on_the_last_page():
    lines = [Line(ET.Element("svg"), 300, k) for k in range(1, 8)]
    free = dict.fromkeys(range(1, 8), TURN)
    # four would fill the pages before, and the last would have one
    assert [len(page) for page in share_pages(lines[:5], free, 1350, 1350)] == [3, 2]
    assert [len(page) for page in share_pages(lines, free, 1350, 1350)] == [4, 3]


def test_lines_are_drawn_a_little_smaller_where_that_saves_a_page():
    lines = [Line(ET.Element("svg"), 300, k) for k in range(1, 9)]
    free = dict.fromkeys(range(1, 9), TURN)
    room = 8 * 300 + 7 * GAP
    (page,), scale = best_pages([lines], free, 0.97 * room, room)
    assert (len(page), scale) == (8, 0.96)
    pages, scale = best_pages([lines], free, 0.8 * room, room)
    assert (len(pages), scale) == (2, 1)


def test_a_line_higher_than_the_page_has_its_own():
    lines = [Line(ET.Element("svg"), height, k) for k, height in enumerate((500, 3000, 500), 1)]
    assert [len(page) for page in share_pages(lines, {}, 1000, 1000)] == [1, 1, 1]


def test_a_hand_that_rests_over_the_barline_can_turn():
    report = sample_report()
    # at 90 a crotchet lasts 2/3 s: before bar 2 right and left struck last at 2, strike again at 4
    assert free_hands(report)[2] == pytest.approx(2 * 2 / 3)
    report["notes"] = [n for n in report["notes"] if n["hand"] == "R" or n["onset"] != "2"]
    assert free_hands(report)[2] == pytest.approx(4 * 2 / 3)  # the left from 0 to 4
    assert free_hands({"notes": []}) == {}


def test_outlines():
    assert list(outline("M1 2l3 -1h2V9z")) == [
        ("M", (1, 2)), ("L", (4, 1)), ("L", (6, 1)), ("L", (6, 9)), ("Z", ())]
    assert list(outline("m1 1 2 2"))[-1] == ("L", (3, 3))
    assert list(outline("M0 0c1 0 2 1 2 2s1 2 2 2"))[-1] == ("C", (2, 3, 3, 4, 4, 4))
    (_, curve), = list(outline("M0 0q3 3 6 0"))[1:]
    assert curve == pytest.approx((2, 2, 4, 2, 6, 0))
    (_, smooth), = list(outline("M0 0Q3 3 6 0t6 0"))[2:]
    assert smooth == pytest.approx((8, -2, 10, -2, 12, 0))


def test_signs_come_from_the_music_font():
    assert [music_code(c) for c in "♭♮♯A♩♪"] == [0xE260, 0xE261, 0xE262, 0, 0xECA5, 0xECA7]
    assert all(sign(music_code(c))[1] > 100 for c in "♩♪\U0001d15e")
    path, wide = sign(0xE262)
    assert path.startswith("M")
    assert wide > 100
    assert sign(0xF8FE) == ("", 0.0)


def test_text_runs_keep_place_face_and_size():
    text = ET.fromstring('<text x="5" y="7" text-anchor="middle" font-size="0px"><tspan>'
                         '<tspan font-size="400px" font-style="italic">ab</tspan>'
                         '<tspan x="9" y="20" font-size="300px">c</tspan></tspan></text>')
    (x, y, anchor, first), (x2, y2, _, second) = runs_of(text, frozenset({"tempo"}))
    assert (x, y, anchor, x2, y2) == (5, 7, "middle", 9, 20)
    assert (first[0].text, first[0].size, first[0].italic, first[0].bold) == ("ab", 400, True, True)
    assert (second[0].text, second[0].size, second[0].italic) == ("c", 300, False)


FAKE = """#!/bin/sh
while [ "$1" != "-F" ]; do shift; done
{does}
"""


def program(folder: Path, does: str) -> Path:
    path = folder / "fluidsynth"
    path.write_text(FAKE.replace("{does}", does))
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def test_wav_without_a_synthesiser_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("arranger.report.wav.FOLDERS", ())
    monkeypatch.setattr("arranger.report.wav.sound_font", lambda: None)
    done = CliRunner().invoke(main, ["convert", str(SCORE), "--part", "Piano", "--wav",
                                     "-o", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "needs the program fluidsynth and a General MIDI sound font (.sf2)" in done.output
    assert not (tmp_path / "out").exists()


def test_the_sound_font_can_be_named(monkeypatch, tmp_path):
    font = tmp_path / "mine.sf2"
    font.write_bytes(b"RIFF")
    monkeypatch.setenv("SOUNDFONT", str(font))
    assert sound_font(()) == font
    monkeypatch.delenv("SOUNDFONT")
    assert sound_font(()) is None
    (tmp_path / "FluidR3_GM.sf2").write_bytes(b"RIFF")
    (tmp_path / "aaa.sf2").write_bytes(b"RIFF")
    assert sound_font((str(tmp_path),)).name == "FluidR3_GM.sf2"


def test_wav_hands_the_midi_file_over(monkeypatch, tmp_path):
    path = program(tmp_path, 'cat "$4" > "$2"')
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    font = tmp_path / "some.sf2"
    font.write_bytes(b"RIFF")
    monkeypatch.setenv("SOUNDFONT", str(font))
    assert synthesiser() == (str(path), font)
    assert wav_bytes(b"MThd", str(path), font) == b"MThd"


def test_a_synthesiser_that_fails_is_one_line(tmp_path):
    path = program(tmp_path, "echo no such driver >&2; exit 3")
    with pytest.raises(ChoiceError, match="failed: no such driver"):
        wav_bytes(b"", str(path), tmp_path / "x.sf2")


def test_the_real_synthesiser_if_there_is_one():
    try:
        found = synthesiser()
    except ChoiceError:
        pytest.skip("fluidsynth with a sound font is not installed")
    from arranger.model.score import TempoMap, TempoMark
    from arranger.report.midi import midi_bytes
    tempo = TempoMap((TempoMark(Fraction(0), Fraction(60)),))
    sound = wav_bytes(midi_bytes([(Fraction(0), Fraction(1), 60)], tempo), *found)
    assert sound[:4] == b"RIFF"
    samples = memoryview(sound[44:len(sound) - len(sound) % 2]).cast("h")
    assert max(samples[:88200]) > 500
