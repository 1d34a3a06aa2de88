"""Worked examples of the treatises, each with the verdict its author gives, put to the checks.

The names of the rows are those of the project's list of examples; sources stand in the rules that
judge them. Rows about lever harps, numbering and notations of settings are tested elsewhere.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from arranger.passes.inspect import checked, inspect
from arranger.rulebook.examples import read_example
from tests.checking import as_case

Row = dict[str, Any]
CHROMATIC = "Eb3 | E3 | F3 | F#3 | G3 | Ab3 | A3 | Bb3 | B3 | C4 | C#4 | D4"
#: Rejected or warned of: the passage, and the rule that says so.
REFUSED: dict[str, tuple[Row, str]] = {
    "A1 chromatic scale, Allegro": ({"right": CHROMATIC, "seconds": 0.15}, "P1"),
    "A1 the same, as a run": ({"right": CHROMATIC, "seconds": 0.3}, "P5"),
    "A2 D and E pedals within one bar": (
        {"right": "A4 | G#4 | A4 | B4 | C#5 | D5 | E5 | D#5 | E5 | E#5 | F#5 | G#5",
         "seconds": 0.2}, "P1"),
    "A4 F natural below F sharp": ({"left": "F3 A3", "right": "F#4 A4"}, "S1"),
    "A5 double flats": ({"right": "Dbb4 Fb4 Abb4 Cb5"}, "N4"),
    "A8 one string repeated": ({"right": "Bb4 | Bb4 | Bb4 | Bb4", "seconds": 0.15,
                                "setting": "D C Bb | Eb F G A"}, "R1"),
    "A10 a trill in the middle": ({"right": "C4", "signs": ["trill"]}, "R4"),
    "A11 octaves in both hands, fast": (
        {"right": "Eb3 | G3 | Bb3 | Eb4 | G4 | Bb4 | Eb5 | G5 | Bb5 | Eb6 | G6",
         "left": "Eb2 | G2 | Bb2 | Eb3 | G3 | Bb3 | Eb4 | G4 | Bb4 | Eb5 | G5",
         "seconds": 0.1}, "H11"),
    "A27 G, G sharp and A": ({"right": "G4 G#4 A4"}, "S1"),
    "A28 F and F sharp as spelled": ({"right": "F4 F#4"}, "S1"),
    "A29 C and C sharp as spelled": ({"right": "C4 C#4"}, "S1"),
    "A31 a tremolo on D": ({"right": "D5", "signs": ["tremolo"], "seconds": 2.0}, "R5"),
    "A31 a tremolo on G": ({"right": "G4", "signs": ["tremolo"], "seconds": 2.0}, "R5"),
    "A31 a tremolo on A": ({"right": "A4", "signs": ["tremolo"], "seconds": 2.0}, "R5"),
    "A32 low C flat, then low C sharp": ({"left": "Cb1 | C#1", "seconds": 9.0}, "C2"),
    "A33 low D changed": ({"left": "D1 | Db1", "seconds": 4.0}, "C2"),
    "A34 every pedal anew without a rest": (
        {"right": "Db4 F4 | D#4 F#4 | B4", "setting": "Db C Bb | Eb F Gb Ab",
         "marks": ["2 D# C# B | E F# G# A#"], "seconds": 0.5}, "P12"),
    "A37 D and B by one foot at once": (
        {"right": "D4 B4 C4 | D#4 Bb4 C#4", "seconds": 0.4}, "P3"),
    "A39 five pedals of the right foot in a second": (
        {"right": "E4 F4 G4 A4 | Eb4 F#4 G#4 Ab4 | E4", "seconds": 0.9}, "P3"),
    "A46 a step under the thumb of a tenth": ({"right": "C4 G4 D5 E5"}, "H8"),
    "A48 ten notes": ({"left": "C3 E3 G3 B3 D4", "right": "F4 A4 C5 E5 G5"}, "H1"),
    "A54 a harmonic far too low": ({"left": "D2", "signs": ["harmonic"]}, "O1"),
    "A56 two harmonics more than the left hand takes": (
        {"left": "C3 E3 A3", "right": "C5 E5", "signs": ["harmonic"]}, "O2"),
    "A57 a harmonic written where it sounds": ({"right": "C6", "signs": ["harmonic"]}, "O3"),
}
#: Accepted: nothing worse than advice may be said.
ACCEPTED: dict[str, Row] = {
    "A3 Berlioz's own correction": {
        "right": "C#5 | B4 | A4 | G#4 | A4 | B4 | C#5 | D5 | E5 | - | C#5 | A5 | G#5",
        "setting": "D C# B | E F# G# A", "seconds": 0.2},
    "A4 cured": {"left": "A3", "right": "F#4 A4"},
    "A5 better written": {"right": "C4 E4 G4 B4"},
    "A6 C flat and B": {"right": "Cb5", "left": "B4"},
    "A7 E flat and D sharp": {"right": "Eb5", "left": "D#5"},
    "A9 two strings in turn": {"right": "Bb4 | A#4 | Bb4 | A#4", "seconds": 0.15,
                               "setting": "D C Bb | Eb F G A#"},
    "A11 slow": {"right": "Eb3 | G3 | Bb3 | Eb4 | G4 | Bb4 | Eb5 | G5",
                 "left": "Eb2 | G2 | Bb2 | Eb3 | G3 | Bb3 | Eb4 | G4", "seconds": 0.5},
    "A14 C flat for B major": {
        "right": "Eb5 Gb5 Cb6 Eb6 | Fb5 Gb5 Bb5 Db6 | Eb5 Gb5 Cb6 | Db5 Fb5 Gb5 Bb5 | "
                 "Cb5 Eb5 Gb5 Cb6", "setting": "Db Cb Bb | Eb Fb Gb Ab", "seconds": 0.5},
    "A17 Berlioz's harmonics": {"right": "E3 | G3 | C4 | F3 | A3 | C4 | F3",
                                "signs": ["harmonic"], "seconds": 0.8},
    "A26 B sharp, C sharp, D": {"right": "B#3 C#4 D4"},
    "A28 E sharp and F sharp": {"right": "E#4 F#4"},
    "A28 F and G flat": {"right": "F4 Gb4"},
    "A29 C and D flat": {"right": "C4 Db4"},
    "A30 tremolo of two unison pairs": {
        "right": "D#4 F#4 | - | D#4 F#4 | -", "left": "- | Eb4 Gb4 | - | Eb4 Gb4",
        "setting": "D# C B | Eb F# Gb A", "seconds": 0.1, "skip": "F# and Gb are two letters"},
    "A34 D flat to C flat": {
        "right": "Db4 F4 Ab4 | - | - | Cb4 Eb4 Gb4 Cb5", "setting": "Db C Bb | Eb F Gb Ab",
        "marks": ["2 Cb Fb"], "seconds": 0.6},
    "A36 alternating triads without a pedal": {
        "right": "C4 E4 G4 | Db4 F4 Ab4", "setting": "Db C B | E F G Ab", "seconds": 0.5,
        "skip": "G and A flat are two letters"},
    "A38 one pedal of each foot at once": {"right": "C4 F4 | C#4 F#4", "seconds": 0.5},
    "A45 the large interval on top": {"right": "C4 D4 E4 C5"},
    "A49 right hand low: the left hand takes it": {"right": "F2"},
    "A55 left-hand harmonics": {"left": "A2 | C3 | A4 | A5", "signs": ["harmonic"],
                                "seconds": 1.0},
    "A56 three in the left hand within six strings": {
        "left": "C3 E3 A3", "signs": ["harmonic"]},
}


def case(row: Row, good: bool):  # type: ignore[no-untyped-def]
    table = {k: v for k, v in row.items() if k != "skip"}
    example = read_example({"good" if good else "bad": "x", **table}, Path("row"), "row.")
    return as_case(example)


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str) -> None:
    row, code = REFUSED[name]
    assert code in {d.code for d in checked(case(row, False))}


@pytest.mark.parametrize("name", ACCEPTED)
def test_accepted(name: str) -> None:
    said = [(d.code, d.message) for d in inspect(case(ACCEPTED[name], True), {}).findings
            if d.severity != "advice"]
    assert said == []


@pytest.mark.parametrize(("right", "titles"), [
    ("F4 F#4", {"write E♯4 for F4", "write G♭4 for F♯4"}),
    ("C4 C#4", {"write D♭4 for C♯4", "write B♯3 for C4"}),
    ("G4 G#4 A4", set()),
])
def test_remedies_of_a_clash(right: str, titles: set[str]) -> None:
    (found,) = [d for d in inspect(case({"right": right}, False), {}).findings if d.code == "S1"]
    assert found.severity == "error"
    assert {r.title for r in found.remedies if r.fidelity == "same-sound"} == titles
