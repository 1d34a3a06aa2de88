from __future__ import annotations

import pytest

from arranger.io.pedal_names import read_pedal_text
from arranger.model.harp import PedalSetting


@pytest.mark.parametrize(("text", "meant"), [
    ("F♯", {"F": 1}), ("F#", {"F": 1}), ("Bb", {"B": -1}), ("C♮", {"C": 0}), ("Cn", {"C": 0}),
    ("F♯ C♮", {"F": 1, "C": 0}), ("F#, C#", {"F": 1, "C": 1}), ("G♭→♯", {"G": 1}),
    ("(F♯)", {"F": 1}), ("F♯\u00a0/ B♭", {"F": 1, "B": -1}),
    ("F sharp", {"F": 1}), ("B flat", {"B": -1}), ("C natural", {"C": 0}), ("C nat.", {"C": 0}),
    ("Fis", {"F": 1}), ("Es As", {"E": -1, "A": -1}), ("Ges, His", {"G": -1, "B": 1}),
    ("fa dièse", {"F": 1}), ("si bémol", {"B": -1}), ("ut ♮", {"C": 0}), ("Sol♯", {"G": 1}),
    ("Eb-E", {"E": 0}), ("E♭-E♮", {"E": 0}), ("F# to F♮", {"F": 0}), ("H♮", {"B": 0}),
    ("D♯–C♮", {"D": 1, "C": 0}), ("Si bémol – La bémol", {"B": -1, "A": -1}),
    ("Pedals: F♯", {"F": 1}), ("F♯\u2009C♮", {"F": 1, "C": 0}),
    ("E nat., A flat", {"E": 0, "A": -1}),
    ("fa diesis", {"F": 1}), ("re bemolle", {"D": -1}), ("do bequadro", {"C": 0}),
])
def test_changes(text: str, meant: dict[str, int]) -> None:
    assert read_pedal_text(text) == meant


@pytest.mark.parametrize(("text", "meant"), [
    ("D C B | E F G A", "D C B | E F G A"), ("D♭ C B♭ / E♭ F G A♭", "Db C Bb | Eb F G Ab"),
    ("DC#B|EF#GA", "D C# B | E F# G A"), ("Set: D C B E♭ F G A", "D C B | Eb F G A"),
    ("E♭ F G A♭\nD C B♭", "D C Bb | Eb F G Ab"), ("^v-|vv-^", "Db C# B | E# F# G Ab"),
])
def test_settings(text: str, meant: str) -> None:
    assert PedalSetting.of(read_pedal_text(text)) == PedalSetting.parse(meant)
    assert len(read_pedal_text(text)) == 7


@pytest.mark.parametrize("text", [
    "", "F", "B", "A", "D C B", "Es war einmal", "la", "dolce", "F sharp minor", "sol", "As before",
    "con moto", "Abe", "8vb", "D.C. al Fine", "f", "C b c", "a 2", "si", "Bbb", "F##", "rit.",
    "an", "An", "en", "En", "in", "bb", "Ges.", "Da", "A tempo", "Fa", "E", "H", "Dm", "C#m",
    "F#m7", "Bb7", "C/E", "G7", "Am", "Ab maj", "fis moll", "Fis-Dur", "E flat major",
    "B♭ Clarinet", "Clar. in B♭", "Corni in F", "muta in Es", "2 b", "II.", "G-P.", "=B", "(x)",
    "A-B", "Ped.", "Pedal", "Des pas sur la neige", "D.S.", "M.D.", "A B C", "F#-B major", "C to D",
    "Re", "Mi", "do not", "fa la la", "-", "|", "---|----x", "E. B. Flat"])
def test_anything_else_is_no_pedal(text: str) -> None:
    assert read_pedal_text(text) == {}
