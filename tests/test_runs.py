"""Long runs go to both hands in turn where the other hand has time to come and to go."""

from __future__ import annotations

from itertools import groupby

import pytest

from arranger.model.draft import HarpNote
from arranger.passes.runs import share_runs
from arranger.passes.start import start
from tests.handwritten import backup, chord, low, note, piano, score_of
from tests.test_scenes import SETTINGS

UP = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6",
      "D6")


ARPEGGIO = ("C4", "E4", "G4", "C5", "E5", "G5", "C6", "E6")


def shared(right: str, left: str, bpm: int = 90) -> list[HarpNote]:
    """The line of the upper staff of one bar, its hands as shared."""
    draft = share_runs(start(*score_of(piano(right + backup(16) + left), bpm)), SETTINGS)
    return sorted((n for n in draft.notes if n.source.staff == 1), key=lambda n: n.onset)


def in_turn(notes: list[HarpNote]) -> list[tuple[str, int]]:
    return [(hand, len(list(group))) for hand, group in groupby(notes, key=lambda n: n.hand)]


def run(names: tuple[str, ...]) -> str:
    return "".join(note(n, 1) for n in names)


def test_the_other_hand_may_pluck_just_before_the_run_if_it_is_wanted_only_later():
    line = shared(run(UP[:12]) + note("r", 4), low("C3", 4) + low("r", 12))
    assert in_turn(line) == [("R", 4), ("L", 4), ("R", 4)]


def test_it_must_have_time_to_come():
    line = shared(run(UP[:12]) + note("r", 4), low("C3", 4) + low("r", 12), 240)
    assert in_turn(line) == [("R", 12)]


@pytest.mark.parametrize(("bass", "groups"), [
    (low("r", 8), [("R", 4), ("L", 4)]),  # free for good
    (low("C2", 8), [("R", 8)])])  # wanted far away at once
def test_it_must_have_time_to_go(bass, groups):
    assert in_turn(shared(run(ARPEGGIO) + note("r", 8), low("r", 8) + bass)) == groups


def test_where_it_has_no_time_to_go_the_first_hand_ends_the_run():
    line = shared(run(UP[:15]) + note("r", 1),
                  low("r", 8) + low("r", 4) + low("r", 2) + low("r", 1) + low("C2", 1))
    assert in_turn(line) == [("R", 3), ("L", 3), ("R", 3), ("L", 3), ("R", 3)]


def test_a_hand_far_away_needs_longer():
    """Three octaves cannot be crossed within three semiquavers at crotchet 120."""
    high = tuple(n[0] + str(int(n[1]) + 1) for n in UP[:12])
    for bass, groups in (("A4", 3), ("C1", 1)):
        line = shared(chord("B4 D5", 1) + run(high) + note("r", 2) + note("r", 1),
                      low(bass, 4) + low("r", 12), 120)
        assert len(in_turn(line[2:])) == groups
