"""Pitches of MIDI named by their keys, measured against scores that are spelled."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.io.musicxml_read import read
from arranger.io.source import open_source
from arranger.io.spelling import spelled
from arranger.model.pitch import Pitch

SCALES = ["C4 D4 E4 F4 G4 A4 B4 C5", "Eb4 F4 G4 Ab4 Bb4 C5 D5 Eb5", "B3 C#4 D#4 E4 F#4 G#4 A#4 B4",
          "A3 B3 C4 D4 E4 F4 G#4 A4", "F3 G3 Ab3 Bb3 C4 Db4 E4 F4", "Ab3 Bb3 C4 Db4 Eb4 F4 G4 Ab4"]


@pytest.mark.parametrize("names", SCALES)
def test_scales_and_their_leading_notes(names: str) -> None:
    pitches = [Pitch.parse(n) for n in names.split()] * 2
    assert list(spelled([p.midi for p in pitches])) == pitches


@given(st.lists(st.integers(21, 108), max_size=80))
def test_the_sound_never_changes(midis: list[int]) -> None:
    assert [p.midi for p in spelled(midis)] == midis


def corpus(every: int) -> tuple[float, float, int]:
    """Share of notes spelled as in the score, by the algorithm and by a fixed table."""
    import music21
    root = Path(music21.__file__).parent / "corpus"
    fixed = dict(enumerate(("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")))
    good = plain = count = 0
    for kind in ("bach", "mozart", "haydn", "schumann_robert", "corelli", "monteverdi"):
        paths = sorted(p for p in (root / kind).rglob("*") if p.suffix in (".mxl", ".xml"))
        for path in paths[::every]:
            notes = [n for n in read(open_source(path)).score.notes if not n.grace]
            made = spelled([n.midi for n in notes])
            good += sum(m == n.pitch for m, n in zip(made, notes, strict=True))
            plain += sum(fixed[n.midi % 12] == n.pitch.name.rstrip("-0123456789") for n in notes)
            count += len(notes)
    return good / count, plain / count, count


def test_nearly_all_notes_of_spelled_scores_get_their_name() -> None:
    share, fixed, count = corpus(60)
    assert count > 2000
    assert share > 0.985
    assert share > fixed


@pytest.mark.campaign
def test_the_whole_corpus_is_spelled_as_well() -> None:
    share, fixed, _ = corpus(4)
    assert share > 0.985
    assert share > fixed


def test_a_midi_file_is_read_with_its_names(tmp_path: Path) -> None:
    from music21 import note, stream
    names = ["Eb4", "F4", "G4", "Ab4", "Bb4", "C5", "Db5", "C5", "Bb4", "Ab4", "Gb4", "F4"] * 3
    line = stream.Part()
    for name in names:
        line.append(note.Note(name.replace("b", "-"), quarterLength=1))
    line.write("midi", tmp_path / "tune.mid")
    read_back = read(open_source(tmp_path / "tune.mid")).score.notes
    assert [n.pitch.name for n in read_back] == names
