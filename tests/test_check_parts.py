"""Harp parts by composers of the harp's own century: few errors, each with its reason."""

from __future__ import annotations

import time
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from arranger.api import Request, check
from arranger.checks.case import Case
from arranger.passes.inspect import Inspection, inspect
from tests.checking import FILES, part_of

pytestmark = pytest.mark.skipif(not FILES, reason="the harp parts are not here")

#: Remaining errors: piece of the file name, bar, rule; and why it is right to say so.
ERRORS = {
    ("brahms_op45_1", "158", "H1"): "closing chord of ten strings; players leave out doublings",
    ("r-1740", "36", "S1"): "G sharp under G: a slip in one of two copies, the other has no clash",
    ("r-1740", "59", "S1"): "A sharp under A, also in bar 60: as in bar 36",
    ("r-333", "19", "H1"): "nine strings in one plain chord",
    ("n26881--008", "102", "H2"): "B1, B2 and A3 under five notes: no two hands hold them",
    ("n26881--009", "54", "S1"): "G sharp against G, also in bars 55 and 56: A flat is meant",
    ("n26881--010", "70", "H1"): "ten strings of a diminished seventh, rolled",
    ("n26882--001-002", "148", "H1"): "nine strings, rolled",
    ("n26882--001-007", "83", "H1"): "nine strings in one plain chord",
}


@cache
def looked_at(path: Path) -> tuple[Case, Inspection]:
    case = part_of(path)
    return case, inspect(case, {})


def bars_with_notes() -> int:
    return sum(len({n.measure for n in looked_at(p)[0].notes}) for p in FILES)


def counted(severity: str) -> int:
    return sum(d.severity == severity for p in FILES for d in looked_at(p)[1].findings)


def test_errors_are_those_named_here_and_few() -> None:
    found = {(p.stem, d.where.bar, d.code) for p in FILES for d in looked_at(p)[1].findings
             if d.severity == "error"}
    for stem, bar, code in found:
        assert [1 for piece, *place in ERRORS if piece in stem and place == [bar, code]] == [1]
    assert len(found) == len(ERRORS)
    assert counted("error") <= bars_with_notes() / 100


def test_hands_and_fingers_are_found_for_all_but_a_few_attacks() -> None:
    """No note of the part is changed for it; where none serve, more strings are asked than fit."""
    grips = [(a, g) for p in FILES for case in (looked_at(p)[0],)
             for a, g in zip(case.attacks, case.grips, strict=True)]
    whole = [len(g.fingers) == len({n.pitch.position for n in a.notes}) for a, g in grips]
    assert sum(whole) >= 0.99 * len(whole)
    assert all(bool(g.fault) != found for (_, g), found in zip(grips, whole, strict=True))


def test_warnings_are_few() -> None:
    assert 0 < counted("warning") <= 5 * bars_with_notes() / 100


def test_enough_is_looked_at() -> None:
    totals: Counter[str] = Counter()
    for path in FILES:
        found = looked_at(path)[1]
        totals.update(attacks=found.attacks, chords=found.chords, moves=found.moves)
    assert totals["attacks"] > 4000
    assert totals["chords"] > 1500
    assert totals["moves"] > 250


@pytest.mark.parametrize(("size", "limit"), [("bars", 2), ("notes", 4)])
def test_the_longest_and_the_densest_part_are_checked_in_seconds(size: str, limit: int) -> None:
    cases = {path: looked_at(path)[0] for path in FILES}
    most = max(FILES, key=lambda p: len(cases[p].score.measures if size == "bars"
                                        else cases[p].notes))
    start = time.process_time()
    check(Request(most, page=False))
    assert time.process_time() - start < limit
