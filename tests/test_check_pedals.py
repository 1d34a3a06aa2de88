"""The foot that cannot do everything in any order; the pace it cannot keep."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from arranger.api import Request, check
from arranger.passes.inspect import checked
from arranger.plan.foot_order import FootMove, in_some_order
from arranger.rulebook.examples import read_example
from tests.checking import as_case
from tests.handwritten import chord, note
from tests.test_check_marks import harp

MOVE = st.tuples(st.integers(0, 12), st.integers(1, 8), st.integers(1, 4))


def in_turn(moves: list[FootMove]) -> bool:
    free = 0.0
    for after, before, need in moves:
        start = max(free, after)
        if start >= before:
            return False
        free = start + need
    return True


def test_the_tempo_line_begins_with_the_part_as_spelled(tmp_path: Path) -> None:
    path = tmp_path / "part.musicxml"
    path.write_bytes(etree.tostring(harp(
        chord("B3 C4 D4", 2) + note("r", 2) + chord("Bb3 C#4 D#4", 4) + note("r", 8))
        ).replace(b'tempo="60"', b'tempo="120"'))
    first, second = check(Request(path)).report["tempo_limits"]["told"]
    assert first == "as spelled, bar 1 plays at crotchet 80, not 120: the feet need the time"
    assert second.startswith("spelled otherwise, bar 1 plays at crotchet 120")


@given(st.lists(MOVE, max_size=5))
def test_an_order_is_found_where_there_is_one(rows: list[tuple[int, int, int]]) -> None:
    moves = [FootMove(float(a), float(a + width), float(need)) for a, width, need in rows]
    assert in_some_order(moves) == any(in_turn(list(p)) for p in permutations(moves))


@pytest.mark.parametrize(("right", "seconds", "severity"), [
    ("D4 C4 B4 | D#4 C#4 Bb4", 0.4, "error"),       # three moves in 0.4 s
    ("D4 C4 B4 | D#4 C#4 Bb4", 1.0, "warning"),     # faster than two a second can go on
    ("D4 C4 B4 | D#4 C#4 Bb4", 1.6, ""),
    ("D4 C4 B4 | D#4 C#4 Bb4", 0.7, "error"),       # the third would end after the pluck
    ("D4 C4 | D#4 C#4", 0.4, "error"),
    ("D4 C4 | D#4 C#4", 0.5, ""),
    ("D4 C4 | D#4 C#4", 0.6, ""),
    ("D4 F4 | D#4 F#4", 0.5, ""),                   # one of each foot
])
def test_one_foot(right: str, seconds: float, severity: str) -> None:
    table = {"bad": "x", "right": right, "seconds": seconds}
    found = {d.severity for d in checked(as_case(read_example(table, Path("r"), "r.")))
             if d.code == "P3"}
    assert found == ({severity} if severity else set())
