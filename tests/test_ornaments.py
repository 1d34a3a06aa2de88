"""The notes an ornament sign stands for."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.passes.start import start
from arranger.plan.ornaments import Wish, auxiliaries, wishes
from arranger.plan.slices import slices
from tests.handwritten import backup, low, note, piano, score_of
from tests.test_scenes import drafted


def of(name: str, *marks: str, onset: int = 1) -> Note:
    return Note("n", "P1", 0, Fraction(onset), Fraction(1), Pitch.parse(name),
                marks=frozenset(marks))


@pytest.mark.parametrize(("marks", "fifths", "wanted"), [
    (("trill",), 0, ["C6"]), (("trill",), 2, ["C#6"]), (("trill", "above-natural"), 2, ["C6"]),
    (("mordent",), 0, ["A5"]), (("mordent", "inverted"), 0, ["C6"]), (("mordent",), -4, ["Ab5"]),
    (("turn",), 3, ["C#6", "A5"]), (("turn", "below-flat"), 3, ["C#6", "Ab5"]), ((), 0, [])])
def test_by_key_and_sign(marks: tuple[str, ...], fifths: int, wanted: list[str]) -> None:
    found = auxiliaries(of("B5", *marks), (), fifths)
    assert [p.name for p in found] == wanted


def test_what_the_line_last_was_in_the_bar_counts() -> None:
    bar = (of("C#6", onset=0), of("C6", onset=2))
    assert [p.name for p in auxiliaries(of("B5", "trill"), bar, 0)] == ["C#6"]
    assert [p.name for p in auxiliaries(of("B5", "trill", onset=3), bar, 0)] == ["C6"]


MORDENT = "<ornaments><inverted-mordent/></ornaments>"
TRILL = "<ornaments><trill-mark/></ornaments>"


def test_a_trill_asks_while_it_lasts_and_a_mordent_at_once() -> None:
    music = (note("C5", 8, notations=TRILL) + note("E5", 4, notations=MORDENT) + note("r", 4)
             + backup(16) + low("C3") * 4)
    draft = start(*score_of(piano(music), 60))
    d, f = (Pitch.parse(name) for name in ("D5", "F5"))
    assert wishes(draft, slices(draft.notes, draft.source.tempo), 61) == (
        (Wish(d, 31),), (Wish(d, 31),), (Wish(f, 61),), ())


@pytest.mark.parametrize("sign", [MORDENT, TRILL])
def test_the_pedal_is_set_for_an_ornament(sign: str) -> None:
    """D flat before it and D natural after: the pedal moves before the ornament, not after."""
    draft = drafted(note("E5", 4) + note("C5", 8, notations=sign) + note("D5", 4),
                    low("Db4", 1) + low("r", 1) + low("r", 2) + low("r", 12), 60)
    (move,) = draft.plan.moves
    assert (move.pedal, move.after) == ("D", 0)
    assert move.onset < 1


def test_no_note_is_lost_for_an_ornament() -> None:
    """D flat all through: a trill on C that wants D natural goes without it."""
    draft = drafted(note("C5", 16, notations=TRILL), "".join(low("Db3", 1) for _ in range(16)), 90)
    assert len(draft.notes) == 17
    assert draft.plan.moves == ()


def test_a_note_with_an_ornament_is_not_respelled_to_spare_a_move() -> None:
    plain, adorned = (drafted(note("D5", 8) + note("D#5", 8, notations=sign), low("Eb3", 16),
                              130, fifths=-3) for sign in ("", MORDENT))
    assert [n.pitch.name for n in plain.notes if n.onset] == ["Eb5"]
    assert [n.pitch.name for n in adorned.notes if n.onset] == ["D#5"]
