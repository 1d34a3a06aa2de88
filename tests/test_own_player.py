"""A player's own file from five questions, and single limits from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from arranger.api import Request, convert
from arranger.cli import main
from arranger.model.errors import ChoiceError
from arranger.rulebook.own_player import QUESTIONS, own_player
from arranger.rulebook.players import load_player, with_limits
from tests.lever_simulator import Rig, replay

BASE = load_player("average")
DEMO = Path(__file__).parents[1] / "corpus" / "the-mill-race" / "score.musicxml"


def run(path: Path, answers: str, *more: str):  # type: ignore[no-untyped-def]
    return CliRunner().invoke(main, ["player", "new", str(path), *more], input=answers)


def test_five_questions_make_a_player(tmp_path):
    path = tmp_path / "anna.toml"
    done = run(path, "7\n8\n6 4 3\nC2 A6\n1.5\n")
    assert done.exit_code == 0, done.output
    assert "not training goals" in done.output
    assert "stop at pain" in done.output
    anna = load_player(path)
    assert (anna.comfortable_span_steps, anna.span_steps, anna.rolled_span_steps) == (6, 7, 9)
    assert (anna.finger_pair_1_2_steps, anna.finger_pair_2_3_steps) == (5, 3)
    assert (str(anna.left_hand_lowest), str(anna.right_hand_highest)) == ("C2", "A6")
    assert anna.foot_sustained_seconds == pytest.approx(0.667)
    assert anna.source("span_steps") == "measured by the player"
    assert anna.restrike_free_seconds == BASE.restrike_free_seconds
    text = path.read_text("utf-8")
    assert "a teacher or a doctor decides what is healthy" in text


def test_the_defaults_are_those_of_the_base(tmp_path):
    path = tmp_path / "same.toml"
    assert run(path, "\n\n\n\n\n", "--base", "beginner").exit_code == 0
    same, base = load_player(path), load_player("beginner")
    assert (same.span_steps, same.left_hand_lowest) == (base.span_steps, base.left_hand_lowest)
    assert same.fingers_per_hand == 3


def test_a_wrong_answer_is_asked_again(tmp_path):
    path = tmp_path / "p.toml"
    done = run(path, "wide\n7\n8\n6 4\n6 4 3\nG7 C1\nC2 A6\nmany\n2\n")
    assert done.exit_code == 0, done.output
    assert done.output.count("Error: ") == 4


def test_a_file_that_exists_is_not_touched(tmp_path):
    path = tmp_path / "p.toml"
    path.write_text("mine", "utf-8")
    done = run(path, "\n" * 5)
    assert done.exit_code == 2
    assert path.read_text("utf-8") == "mine"
    assert run(tmp_path / "p.txt", "\n" * 5).exit_code == 2


def test_answers_that_do_not_go_together():
    answers = ["9", "8", "6 4 3", "C2 A6", "2"]
    with pytest.raises(ChoiceError, match="cannot be wider than what you take without strain"):
        own_player("x", BASE, answers)
    assert len(QUESTIONS) == 5


@pytest.mark.parametrize("answer", ["", "0", "15", "8 9", "eight"])
def test_an_interval_must_be_one(answer):
    with pytest.raises(ChoiceError, match="give one number from 3 to 14"):
        QUESTIONS[0].limits(answer)


# --- limits from the command line

def test_every_limit_can_be_set():
    for key in BASE.keys:
        assert getattr(with_limits(BASE, [f"{key}={getattr(BASE, key)}"]), key) == getattr(
            BASE, key)
    wide = with_limits(BASE, ["span_steps=8", "lever-move-seconds=0.8"])
    assert (wide.span_steps, wide.lever_move_seconds) == (8, 0.8)
    assert wide.source("span_steps") == "set by the user"
    assert BASE.span_steps == 9


@pytest.mark.parametrize(("limit", "words"), [
    ("wings=2", "no limit 'wings' of a player; the limits are: fingers_per_hand, span_steps"),
    ("span_steps", "span_steps.value must be a whole number"),
    ("span_steps=8.5", "span_steps.value must be a whole number, not 8.5"),
    ("span_steps=-3", "span_steps.value must be above 0"),
    ("span_steps=5", "comfortable_span_steps is larger than span_steps; set both"),
    ("left_hand_lowest=low", "left_hand_lowest.value must be a string such as G2"),
])
def test_a_wrong_limit_is_named(limit, words):
    with pytest.raises(ChoiceError) as caught:
        with_limits(BASE, [limit])
    assert words in str(caught.value)


def test_a_limit_reaches_the_draft():
    result = convert(Request(DEMO, page=False, limits=("span_steps=7",)))
    assert result.report["settings"]["limits"] == "span_steps=7"
    for hand in "RL":
        for onset in {n["onset"] for n in result.report["notes"]}:
            grip = [n for n in result.report["notes"] if n["onset"] == onset and n["hand"] == hand
                    and not n["rolled"] and not n["grace"]]
            places = [7 * int(n["string"][-1]) + "CDEFGAB".index(n["string"][0]) for n in grip]
            assert not places or max(places) - min(places) <= 7


@pytest.mark.parametrize(("name", "harp", "rig"), [
    ("beginner", "lever-22", Rig("C3", 22, move=1.0, lead=0.5)),
    ("child", "lever-26", Rig("C3", 26, move=1.0, lead=0.5)),
    ("professional", "lever-38", Rig("A1", 38, move=0.35, lead=0.15))])
def test_drafts_keep_to_their_players_limits(name, harp, rig):
    player = load_player(name)
    result = convert(Request(DEMO, page=False, harp=harp, player=name))
    played = replay(result.files["draft.musicxml"], rig=rig, strings=player.fingers_per_hand,
                    span=player.span_steps, restrike=player.restrike_error_seconds)
    assert played.counts == {}
