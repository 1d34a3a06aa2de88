"""The demo scores: valid, complete, as their SOURCE.toml says."""

from __future__ import annotations

import re
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from tests.schema import validate

CORPUS = Path(__file__).parents[1] / "corpus"
SCORES = sorted(CORPUS.glob("*/score.musicxml"))
BARS = {"lantern-on-the-water": 37, "the-mill-race": 42, "the-evening-watch": 20}


@pytest.fixture(params=SCORES, ids=lambda path: path.parent.name)
def path(request) -> Path:
    return request.param


def tree(path: Path) -> etree._Element:
    return etree.fromstring(path.read_bytes(), etree.XMLParser(load_dtd=False, no_network=True))


def source(path: Path) -> dict:
    return tomllib.loads(path.with_name("SOURCE.toml").read_text("utf-8"))


def test_the_three_scores_are_there():
    assert {p.parent.name for p in SCORES} == set(BARS)


def test_schema(path):
    assert validate(path.read_bytes()) == []


def test_source_says_where_it_comes_from(path):
    told, root = source(path), tree(path)
    assert told["title"] == root.findtext("work/work-title")
    assert "(invented)" in told["composer"]
    assert root.findtext("identification/creator[@type='composer']") in told["composer"]
    assert told["origin"] == "written for this project"
    assert told["licence"] == "MIT"
    names = [n.text for n in root.iterfind("part-list/score-part/part-name")]
    assert len(names) == len(told["parts"])
    assert set(told["arrange"]) <= set(names)
    assert told["scenario"].strip()


def test_bars_are_described_once_each(path):
    numbers = [m.get("number") for m in tree(path).find("part").iterfind("measure")]
    told = []
    for entry in source(path)["bars"]:
        first, _, last = entry["bars"].partition("-")
        told += [str(n) for n in range(int(first), int(last or first) + 1)]
        assert entry["tests"]
    assert told == numbers
    assert len(numbers) == BARS[path.parent.name]


def test_every_voice_fills_its_bar(path):
    for part in tree(path).iterfind("part"):
        beats = Fraction(0)
        divisions = int(part.findtext("measure/attributes/divisions"))
        for measure in part.iterfind("measure"):
            time = measure.find("attributes/time")
            if time is not None:
                beats = Fraction(4 * int(time.findtext("beats")), int(time.findtext("beat-type")))
            full = Fraction(1, 2) if measure.get("implicit") == "yes" else beats
            ends, now = [], Fraction(0)
            for element in measure:
                length = Fraction(int(element.findtext("duration", "0")), divisions)
                if element.tag == "backup":
                    ends.append(now)
                    now -= length
                elif element.tag in ("note", "forward") and element.find("chord") is None:
                    now += length
            assert {*ends, now} == {full}, (part.get("id"), measure.get("number"))


def test_ties_slurs_beams_and_tuplets_are_closed(path):
    for part in tree(path).iterfind("part"):
        for kind in ("tied", "slur", "tuplet"):
            marks = [e.get("type") for e in part.iter(kind)]
            assert marks.count("start") == marks.count("stop"), kind
        beams = [b.text for b in part.iterfind("measure/note/beam[@number='1']")]
        assert beams.count("begin") == beams.count("end") > 0 or not beams


def test_words_follow_the_melody():
    root = tree(CORPUS / "lantern-on-the-water" / "score.musicxml")
    words = ""
    for lyric in root.iterfind("part[@id='P1']//lyric[@number='1']"):
        joined = lyric.findtext("syllabic") in ("begin", "middle")
        words += lyric.findtext("text") + ("" if joined else " ")
    assert words.startswith("The lamp is lit beside the water, the oars are drawn")
    assert words.rstrip().endswith("and day comes walking down the hill.")
    sung = [n for n in root.iterfind("part[@id='P1']//note")
            if n.find("pitch") is not None and n.find("tie[@type='stop']") is None]
    assert all(n.find("lyric") is not None for n in sung)


def test_the_song_holds_what_it_promises():
    root = tree(CORPUS / "lantern-on-the-water" / "score.musicxml")
    piano = root.find("part[@id='P2']")
    names = {f"{n.findtext('step')}{n.findtext('alter', '0')}{n.findtext('octave')}"
             for n in piano.iter("pitch")}
    assert {"C-11", "B-24", "A04"} <= names  # low C flat, B double flat, A natural
    assert chord_sizes(piano, 5) == [5, 5, 5]
    assert [r.get("direction") for r in piano.iter("repeat")] == ["forward", "backward"]
    assert [k.text for k in piano.iter("fifths")] == ["-5", "4", "-5"]


def chord_sizes(part: etree._Element, size: int) -> list[int]:
    """Lengths of the written chords of at least ``size`` notes."""
    sizes: list[int] = []
    for note in part.iter("note"):
        if note.find("chord") is not None:
            sizes[-1] += 1
        else:
            sizes.append(1)
    return [s for s in sizes if s >= size]


def test_the_clarinet_is_written_a_tone_higher():
    root = tree(CORPUS / "the-evening-watch" / "score.musicxml")
    assert root.findtext("part[@id='P2']//transpose/chromatic") == "-2"
    keys = [p.findtext("measure/attributes/key/fifths") for p in root.iterfind("part")]
    assert keys == ["-1", "1", "-1", "-1"]


def test_the_piano_piece_has_a_pickup_graces_and_triplets():
    part = tree(CORPUS / "the-mill-race" / "score.musicxml").find("part")
    assert part.find("measure").get("implicit") == "yes"
    assert len(list(part.iter("grace"))) >= 6
    assert len(list(part.iter("tuplet"))) >= 40
    assert [k.text for k in part.iter("fifths")] == ["1", "-3", "1"]


def test_music21_reads_the_same_number_of_bars_and_notes(path):
    from music21 import converter  # slow to import (0.4 s)
    score = converter.parse(path, forceSource=True)
    written = sum(n.find("pitch") is not None for n in tree(path).iter("note"))
    assert sum(len(n.pitches) for n in score.flatten().notes) == written
    assert len(score.parts[0].getElementsByClass("Measure")) == BARS[path.parent.name]


def test_no_trace_of_a_program_or_a_date(path):
    text = path.read_text("utf-8")
    assert not re.search(r"encoding-date|<software>|\b20\d\d\b", text)
