"""A larger hand, more strings, faster feet: never dearer; and small hands can play their drafts.

Over the piano scores beside the project: a few in every run, all under the marker campaign. What is
compared are the proved bound of the freer player and the price of the other's plan: if the first
lay above the second, the more limited player's plan would beat the freer player's optimum.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import combinations
from pathlib import Path
from random import Random
from typing import Any

import pytest

from arranger.api import Request, convert
from arranger.model.ledger import OctaveShift
from arranger.passes.again import spare_strings
from arranger.passes.compass import fold, fold_price
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.grips import finger_sets
from arranger.plan.roles import roles
from arranger.plan.worth import worth
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player, with_limits
from arranger.rulebook.prices import load_prices
from tests.handwritten import note, piano, score_of
from tests.simulator import simulate

FOLDER = Path(__file__).parents[1].parent / "shared" / "data" / "piano"
FILES = sorted(FOLDER.glob("*.mxl"), key=lambda p: p.stat().st_size)
QUICK = (*FILES[:2], *FILES[3:4])
FEET = ("foot_move_seconds=0.2", "foot_two_notch_seconds=0.3", "foot_sustained_seconds=0.4")
WHO: dict[str, dict[str, Any]] = {
    "average": {}, "small hand": {"player": "small-hand"}, "large hand": {"player": "large-hand"},
    "fast feet": {"limits": FEET}, "beginner": {"player": "beginner"},
    "fewer strings": {"harp": "pedal-40"}}
#: The more limited one, the freer one.
PAIRS = (("small hand", "average"), ("average", "large hand"), ("small hand", "large hand"),
         ("average", "fast feet"), ("fewer strings", "average"), ("beginner", "average"))


@cache
def drafted(path: Path, who: str):  # type: ignore[no-untyped-def]
    return convert(Request(path, page=False, **WHO[who]))


def never_dearer(path: Path) -> None:
    for limited, freer in PAIRS:
        one, other = drafted(path, limited).report, drafted(path, freer).report
        assert other["bound"] <= one["cost"]["total"], (limited, freer)


def plays(path: Path, who: str) -> None:
    """The simulator, told the limits of this player, finds nothing that cannot be played."""
    result = drafted(path, who)
    player = load_player(WHO[who]["player"])
    told = result.report["settings"]
    found = simulate(
        result.files["draft.musicxml"],
        tempo=float(Fraction(told["tempo"])) if told["tempo_assumed"] else None,
        strings=player.fingers_per_hand, span=player.span_steps, foot_gap=player.foot_move_seconds,
        restrike=player.restrike_error_seconds, lead=player.pedal_lead_seconds)
    hard = [str(f) for f in found.findings if f.code.startswith("B") and f.code != "B5c"]
    assert hard == []
    fingers = {n["finger"] for n in result.report["notes"]} - {None}
    assert max(fingers) <= player.fingers_per_hand


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", QUICK, ids=lambda p: p.stem)
def test_a_freer_player_is_never_dearer(path):
    never_dearer(path)


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("who", ["small hand", "beginner"])
@pytest.mark.parametrize("path", QUICK, ids=lambda p: p.stem)
def test_small_hands_and_beginners_can_play_their_drafts(path, who):
    plays(path, who)


@pytest.mark.campaign
@pytest.mark.parametrize("path", [p for p in FILES if p not in QUICK], ids=lambda p: p.stem)
def test_all_files(path):
    never_dearer(path)
    for who in ("small hand", "beginner"):
        plays(path, who)
    drafted.cache_clear()


# --- what these rest on

def test_a_player_of_three_fingers_uses_three():
    assert finger_sets(2, 3) == ((2, 1), (3, 1), (3, 2))
    assert finger_sets(3, 3) == ((3, 2, 1),)
    assert len(finger_sets(2, 4)) == 6


@pytest.mark.parametrize("seed", range(60))
def test_of_a_string_the_worthiest_notes_stay(seed):
    """Against every subset of the notes of each string."""
    random = Random(seed)
    row = "".join(note(random.choice(("C5", "D5", "C5", "E5", "r")), 1) for _ in range(16))
    score, part = score_of(piano(row), random.choice((60, 90, 150, 200)))
    player = with_limits(load_player("average"), ("restrike_error_seconds=0.2",
                                                  "restrike_warning_seconds=0.25"))
    settings = Settings(load_harp("pedal-47"), player, load_prices())
    draft = start(score, part)
    left, paid = spare_strings(draft, settings)
    part_roles = roles(draft.notes)
    value = {n.id: worth(n, part_roles[n.id], settings.prices).drop for n in draft.notes}
    best = 0
    for position in {n.string for n in draft.notes}:
        mine = [n for n in draft.notes if n.string == position]
        best += min(sum(value[n.id] for n in mine) - sum(value[n.id] for n in some)
                    for k in range(len(mine) + 1) for some in combinations(mine, k)
                    if all(abs(score.tempo.seconds(a.onset) - score.tempo.seconds(b.onset))
                           >= 0.2 - 1e-6 for a, b in combinations(some, 2)))
    assert paid == best == sum(value[n.id] for n in draft.notes if n not in left.notes)
    assert {e.edit.note for e in left.ledger.entries} == {
        n.id for n in draft.notes} - {n.id for n in left.notes}


def test_folding_into_the_compass_has_its_price():
    score, part = score_of(piano(note("C4") + note("E7") + note("G7") + note("C4")), 60)
    settings = Settings(load_harp("pedal-40"), load_player("average"), load_prices())
    draft = start(score, part)
    folded = fold(draft, settings)
    assert [type(e.edit) for e in folded.ledger.entries] == [OctaveShift]
    assert fold_price(draft, folded, settings) == settings.prices["octave"]
    whole = replace(settings, harp=load_harp("pedal-47"))
    assert fold_price(draft, fold(draft, whole), whole) == 0
