"""A pedal moved on a string that is held or rings; grace notes, which want the pedals too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from arranger.passes.inspect import checked
from arranger.rulebook.examples import read_example
from tests.checking import as_case
from tests.handwritten import backup, note, words
from tests.test_check_marks import diagram, found

HELD_C2 = backup(16) + note("C2", 16, voice=5, staff=2)


def told(said: list[dict[str, Any]], *codes: str) -> list[tuple[str, ...]]:
    return [(f["code"], f["bar"], f["beat"], f["severity"]) for f in said if f["code"] in codes]


def tune(names: str) -> str:
    """Crotchets of the right hand, words between them."""
    return "".join(words(n[1:]) if n.startswith("!") else note(n) for n in names.split())


@pytest.mark.parametrize("names", ["r r C#5 r", "r C5 C#5 r", "C4 C5 C#5 r", "C5 r C#5 C#4"])
def test_a_held_string_slides_whatever_is_plucked_after_it(tmp_path: Path, names: str) -> None:
    said = found(tmp_path, tune(names) + HELD_C2)
    assert told(said, "P13", "P2") == [("P13", "1", "3", "warning")]
    assert next(f for f in said if f["code"] == "P13")["message"].startswith("C2 is held")


def test_what_was_held_before_another_change_is_not_told_again(tmp_path: Path) -> None:
    said = found(tmp_path, tune("r C#5 r C#6") + HELD_C2)
    assert told(said, "P13") == [("P13", "1", "2", "warning")]


@pytest.mark.parametrize(("names", "expected", "remedy"), [
    ("E4 !C♯ E4 G4 E4", [("P13", "1", "2", "warning")], "move C♯ to bar 1, beat 4"),
    # the foot has another pedal to move later: not too early, and yet heard
    ("E4 !C♯ E4 G4 !B♭ E4", [("P2", "2", "1", "warning")], ""),
    ("E4 E4 G4 !C♯ E4", [], ""),  # the last beat, and three seconds after its pluck
])
def test_a_mark_under_a_held_note(tmp_path: Path, names: str, expected: list[tuple[str, ...]],
                                  remedy: str) -> None:
    said = found(tmp_path, diagram() + tune(names) + HELD_C2, tune("C#4 E4 G4 E4"))
    assert told(said, "P13", "P2") == expected
    if remedy:
        assert next(f for f in said if f["code"] == "P13")["remedies"][0]["title"] == remedy


def test_a_mark_over_a_string_that_has_died_away(tmp_path: Path) -> None:
    said = found(tmp_path, diagram() + tune("C7 r !C♯ r r"), tune("C#4 E4 G4 E4"))
    assert told(said, "P13", "P2") == []


@pytest.mark.parametrize(("row", "expected"), [
    ({"right": "F4 | F#4", "seconds": 0.75}, "advice"),
    ({"right": "F4 | F#4", "seconds": 0.9}, ""),          # 0.65 s, 11 decibels less
    ({"right": "F6 | F#6", "seconds": 0.75}, ""),
    ({"left": "C2 | C#3", "seconds": 0.75}, "warning"),
    ({"right": "E4 | C5 | C#6", "left": "C2 | E3 | G3", "seconds": 0.5}, "warning"),
])
def test_how_loud_a_string_is_when_its_pedal_moves(row: dict[str, Any], expected: str) -> None:
    case = as_case(read_example({"bad": "x", **row}, Path("row"), "row."))
    assert {d.severity for d in checked(case, ["P2"])} == ({expected} if expected else set())


def test_the_tempo_at_which_the_string_is_quiet_enough(tmp_path: Path) -> None:
    row = {"bad": "x", "right": "F4 | F#4", "seconds": 0.75}
    (one,) = checked(as_case(read_example(row, Path("row"), "row.")), ["P2"])
    limit = int(one.message.rsplit(" ", 1)[1])
    for bpm, quiet in ((limit, True), (limit + 2, False)):
        row["seconds"] = 60 / bpm
        assert (checked(as_case(read_example(row, Path("row"), "row.")), ["P2"]) == []) == quiet


@pytest.mark.parametrize("bars", [6, 7])
def test_gut_strings_that_ring_in_many_bars_are_told_once(tmp_path: Path, bars: int) -> None:
    said = [f for f in found(tmp_path, *[
        note("F4", 2) + note("F#4", 2) + note("r", 4) + note("r", 8)] * bars)
        if f["code"] == "P2"]
    assert sum(len(f["places"]) for f in said) == bars
    assert ("in 7 bars (1, 2, 3, 4, 5, 6, 7)" in said[0]["message"]) == (bars == 7)


# grace notes

def grace(name: str) -> str:
    return note(name, 2, grace=True)


def test_a_grace_note_wants_its_mark(tmp_path: Path) -> None:
    said = found(tmp_path, diagram() + tune("F4 !C♯ C#4 G4") + grace("F#5") + tune("G5"))
    assert told(said, "P6", "P7", "P8") == [("P6", "1", "4", "error")]
    said = found(tmp_path, diagram() + tune("F4 !C♯ C#4 !F♯ G4") + grace("F#5") + tune("G5"))
    assert told(said, "P6", "P7", "P8", "P11") == []


@pytest.mark.parametrize(("music", "expected"), [
    (note("F4", 1) + grace("F#4") + note("G4", 3) + note("G4", 12), ["5/4"]),
    (grace("F#4") + note("G4", 1) + note("F4", 3) + note("A4", 12), ["5/4"]),
    (note("F4", 4) + grace("F#4") + note("G4", 12), []),
    (grace("F#4") + grace("F5") + note("G4", 16), ["1"]),
    (grace("F#4") + note("F4", 16), ["1"]),
])
def test_the_foot_has_to_be_in_time_for_a_grace_note(tmp_path: Path, music: str,
                                                     expected: list[str]) -> None:
    said = found(tmp_path, music)
    assert [f["beat"] for f in said if f["code"] == "P1"] == expected
    assert all(f["severity"] != "advice" for f in said if f["code"] == "P1")
