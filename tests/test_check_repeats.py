"""What comes together only as the music is played: after a repeat, a D.S., another ending."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, check
from arranger.plan.unfolded import stretches, within
from tests.checking import part_of
from tests.handwritten import note
from tests.test_check_marks import bar, diagram, found, harp

FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
BACK = '<barline location="right"><repeat direction="backward"/></barline>'


def ending(number: int, inside: str, back: bool = False) -> str:
    left = f'<barline location="left"><ending number="{number}" type="start"/></barline>'
    right = f'<ending number="{number}" type="stop"/>'
    return (f'{left}{inside}<barline location="right">{right}'
            f'{"<repeat direction=" + chr(34) + "backward" + chr(34) + "/>" if back else ""}'
            "</barline>")


def sign(kind: str, sound: str) -> str:
    return (f"<direction><direction-type>{kind}</direction-type><sound {sound}/></direction>")


OPENING = diagram() + bar("C4 E4 G4 C5")
PLAIN, SHARP = bar("F4 G4 A4 B4"), bar("!F♯ G4 F#4 A4 B4")
SEGNO = sign("<segno/>", 'segno="s"')
DAL_SEGNO = sign("<words>D.S.</words>", 'dalsegno="s"')
FINE = sign("<words>Fine</words>", 'fine="yes"')


@pytest.mark.parametrize(("bars", "places"), [
    ((OPENING, FORWARD + PLAIN, SHARP + BACK, bar("A4 B4 C5 D5")), ["2 1"]),
    ((OPENING, SEGNO + PLAIN, bar("A4 B4 C5 D5") + FINE, SHARP + DAL_SEGNO), ["2 1"]),
    ((OPENING, FORWARD + PLAIN, ending(1, SHARP, back=True), ending(2, bar("A4 B4 C5 D5"))),
     ["2 1"]),
    # marked before the jump, or at its aim, or shown there
    ((OPENING, FORWARD + PLAIN, bar("!F♯ G4 F#4 A4 !F♮ B4") + BACK), []),
    ((OPENING, FORWARD + bar("!F♮ F4 G4 A4 B4"), SHARP + BACK), []),
    ((OPENING, FORWARD + diagram() + PLAIN, SHARP + BACK), []),
    # the second ending is never played after the first
    ((OPENING, FORWARD + PLAIN, ending(1, bar("!F♯ G4 F#4 A4 !F♮ B4"), back=True),
      ending(2, bar("G4 F4 A4 B4"))), []),
    ((OPENING, FORWARD + PLAIN, ending(1, bar("!F♯ G4 F#4 A4 !F♮ B4"), back=True),
      ending(2, bar("G4 F#4 A4 B4"))), ["4 2"]),
])
def test_marks_are_followed_as_the_music_is_played(tmp_path: Path, bars: tuple[str, ...],
                                                   places: list[str]) -> None:
    said = found(tmp_path, *bars)
    errors = [f for f in said if f["severity"] == "error"]
    assert [f"{f['bar']} {f['beat']}" for f in errors] == places
    assert {f["code"] for f in errors} <= {"P6"}
    assert all(f["remedies"] for f in errors)
    assert not any(f["code"] == "P9" for f in said)


def test_the_jump_is_named_and_the_mark_goes_before_it(tmp_path: Path) -> None:
    (one,) = (f for f in found(tmp_path, OPENING, FORWARD + PLAIN, SHARP + BACK)
              if f["code"] == "P6")
    assert one["message"].endswith("stands at F♯ when bar 2 is played after bar 3")
    assert one["remedies"][0]["title"] == "mark F♮ bar 3, beat 4"


def test_a_mark_that_no_pass_needs_is_doubled(tmp_path: Path) -> None:
    said = found(tmp_path, OPENING, FORWARD + bar("F4 !F♮ G4 A4 B4") + BACK,
                 bar("F4 !F♯ A4 F#4 B4"))
    assert [f["bar"] for f in said if f["code"] == "P9"] == ["2"]


def quick(last: str, first: str = "F4") -> tuple[str, ...]:
    """Bars at 60 whose repeat brings two eighths together."""
    return (bar("C4 E4 G4 C5"), FORWARD + note(first, 2) + note("G4", 2) + note("A4", 12),
            note("A4", 12) + note("A4", 2) + note(last, 1) + note("B4", 1) + BACK)


@pytest.mark.parametrize(("bars", "told"), [
    (quick("F#4"), [("P1", "2", "error")]),
    (quick("F4"), []), (quick("F#4", "F#4"), []),
])
def test_no_foot_gets_from_the_end_of_a_repeat_to_its_beginning(
        tmp_path: Path, bars: tuple[str, ...], told: list[tuple[str, str, str]]) -> None:
    path = tmp_path / "part.musicxml"
    path.write_bytes(etree.tostring(harp(*bars)).replace(b'tempo="60"', b'tempo="150"'))
    report = check(Request(path)).report
    assert [(f["code"], f["bar"], f["severity"]) for f in report["findings"]
            if f["severity"] == "error"] == told
    limits = [b for b in report["tempo_limits"]["bars"] if b["limit"] == "feet" and b["ratio"] < 1]
    assert [b["bar"] for b in limits] == [bar for _, bar, _ in told]


def test_endings_that_never_follow_one_another_are_no_change(tmp_path: Path) -> None:
    path = tmp_path / "part.musicxml"
    path.write_bytes(etree.tostring(harp(
        bar("C4 E4 G4 C5"), FORWARD + bar("F4 G4 A4 B4"),
        ending(1, note("A4", 12) + note("A4", 3) + note("F#4", 1), back=True),
        ending(2, note("F4", 4) + note("A4", 12)))).replace(b'tempo="60"', b'tempo="150"'))
    found = check(Request(path)).report["findings"]
    assert [f["bar"] for f in found if f["code"] == "P1" and f["severity"] == "error"] == ["2"]


def test_stretches_of_bars_and_when_they_are_played(tmp_path: Path) -> None:
    path = tmp_path / "part.musicxml"
    path.write_bytes(etree.tostring(harp(OPENING, FORWARD + PLAIN, SHARP + BACK, note("C4", 16))))
    one, two = stretches(part_of(path).score)
    assert (one.first, one.last, one.later, one.came) == (0, 2, 0.0, None)
    assert (two.first, two.last, two.came) == (1, 3, 2)
    assert two.later == pytest.approx(8.0)  # two bars of four seconds


@pytest.mark.parametrize(("order", "kept"), [
    ((0, 1, 2, 1, 2, 3, 4), (1, 2, 1, 2, 3)),    # the repeat lies inside
    ((0, 1, 2, 3, 4, 0, 1, 2, 3, 4), (1, 2, 3)),   # it comes from elsewhere
    ((1, 2, 0, 1, 2, 3), (1, 2, 3)),
])
def test_of_an_excerpt_only_its_own_jumps_are_played(order: tuple[int, ...],
                                                     kept: tuple[int, ...]) -> None:
    assert within(order, 1, 3) == kept
