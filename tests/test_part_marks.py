"""Signs of a part are read at their place: pedals, dynamics, hairpins, damping, clefs."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.io.musicxml_read import read
from arranger.io.part_marks import read_marks
from arranger.model.marks import Clef, DampSign, Dynamic, Hairpin, PartMarks, PianoSign
from tests.handwritten import attributes, backup, note, part, score, words

BASS = backup(16) + note("C2", 16, voice=5, staff=2)


def direction(*signs: str, offset: int | None = None) -> str:
    types = "".join(f"<direction-type>{s}</direction-type>" for s in signs)
    moved = "" if offset is None else f"<offset>{offset}</offset>"
    return f"<direction>{types}{moved}<staff>1</staff></direction>"


def marks(*measures: str) -> PartMarks:
    first, *others = measures
    root = score(part(attributes() + first, *others), names=("Harp",))
    read_alone, with_score = read_marks(root, "P1"), read_marks(root, "P1", read(root).score)
    assert read_alone == with_score
    return with_score


def pedals(found: PartMarks) -> list[tuple[Fraction, dict[str, int], bool]]:
    return [(m.onset, dict(m.alters), m.full) for m in found.pedals]


def test_words_and_diagrams_stand_where_they_are_written() -> None:
    tuned = "".join(f"<pedal-tuning><pedal-step>{p}</pedal-step><pedal-alter>{a}</pedal-alter>"
                    "</pedal-tuning>" for p, a in zip("DCBEFGA", (0, 1, -1, 0, 0, 0, 0),
                                                      strict=True))
    found = marks(direction(f"<harp-pedals>{tuned}</harp-pedals>") + note("C4", 8)
                  + words("F♯ C♮") + note("C4", 8) + BASS,
                  note("C4", 8) + direction("<words>B♮</words>", offset=2) + note("C4", 8) + BASS)
    assert pedals(found) == [
        (Fraction(0), dict(zip("DCBEFGA", (0, 1, -1, 0, 0, 0, 0), strict=True)), True),
        (Fraction(2), {"F": 1, "C": 0}, False), (Fraction(13, 2), {"B": 0}, False)]
    assert [m.measure for m in found.pedals] == [0, 0, 1]
    assert found.pedals[1].text == "F♯ C♮"


def test_a_setting_on_two_lines_is_one_setting() -> None:
    found = marks(direction("<words>E♭ F G A</words>", "<words>D C B♭</words>")
                  + note("C4", 16) + BASS)
    assert pedals(found) == [(Fraction(0), {"D": 0, "C": 0, "B": -1, "E": -1, "F": 0, "G": 0,
                                            "A": 0}, True)]


def test_a_setting_in_two_directions_is_one_setting() -> None:
    found = marks(words("dolce") + words("E♭ F G A") + words("D C B♭", 2) + words("con moto")
                  + note("C4", 16) + BASS)
    assert [(o, len(a), whole) for o, a, whole in pedals(found)] == [(Fraction(0), 7, True)]
    apart = marks(words("E♭ F G A") + note("C4", 8) + words("D C B♭") + note("C4", 8) + BASS)
    assert pedals(apart) == []


def test_other_signs() -> None:
    found = marks(direction("<dynamics><ff/></dynamics>")
                  + direction('<wedge type="crescendo"/>') + note("C4", 8)
                  + direction('<wedge type="stop"/>') + direction("<damp-all/>") + note("C4", 8)
                  + direction("<damp/>") + direction('<pedal type="start"/>') + BASS)
    assert found.dynamics == (Dynamic(Fraction(0), "ff", 1),)
    assert found.hairpins == (Hairpin(Fraction(0), Fraction(2), "crescendo"),)
    assert found.damps == (DampSign(Fraction(2), True), DampSign(Fraction(4), False))
    assert found.piano == (PianoSign(Fraction(4), 0, "a sustain pedal sign"),)
    assert found.clefs == (Clef(Fraction(0), 1, "G", 2), Clef(Fraction(0), 2, "F", 4))


@pytest.mark.parametrize("sign", [
    "<harp-pedals><pedal-tuning><pedal-step>X</pedal-step><pedal-alter>0</pedal-alter>"
    "</pedal-tuning></harp-pedals>",
    "<harp-pedals><pedal-tuning><pedal-step>C</pedal-step><pedal-alter>9</pedal-alter>"
    "</pedal-tuning></harp-pedals>",
    "<harp-pedals/>", "<words>dolce</words>", "<words/>", '<wedge type="stop"/>'])
def test_what_is_no_pedal_makes_no_mark(sign: str) -> None:
    assert marks(direction(sign) + note("C4", 16) + BASS).pedals == ()
