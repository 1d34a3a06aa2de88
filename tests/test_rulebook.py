from __future__ import annotations

import re
import shutil
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from arranger.checks.playable import findings
from arranger.model.draft import Draft, HarpNote
from arranger.model.errors import ChoiceError, RuleError
from arranger.model.harp import HarpString, PedalSetting
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from arranger.passes.inspect import CHECKS
from arranger.rulebook import files, harps, players, prices, rules
from arranger.rulebook.catalogue import SHOWN_HARP, SHOWN_PLAYER, catalogue
from arranger.rulebook.examples import Example, read_example
from arranger.rulebook.files import rules_folder
from arranger.rulebook.harps import harp_limits, load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.rulebook.rules import FAMILIES, Rule, read_rule, read_rules, rule, rulebook
from tests.rule_oracles import HARP, JUDGES, PLAYER

RULES = list(rulebook().values())
CASES = [pytest.param(r, e, id=f"{r.code}-{e.says}") for r in RULES for e in r.examples]
PYTHON = Path(rules.__file__).parents[1]
PLAYERS = ("average", "beginner", "child", "large-hand", "professional", "small-hand", "student")
HARPS = {"pedal-47": 47, "pedal-46": 46, "pedal-44": 44, "pedal-40": 40, "single-action": 41,
         "lever-22": 22, "lever-26": 26, "lever-27": 27, "lever-33": 33, "lever-34": 34,
         "lever-36": 36, "lever-38": 38, "wire": 30}
#: Rules of chords that stand still, which the check of a draft judges too.
STILL = ("H1", "H2", "H3", "H4", "C1")


# --- the rules themselves

def test_files_and_codes_are_one_to_one() -> None:
    paths = [p for family in FAMILIES.values() for p in (rules_folder() / family).glob("*.toml")]
    assert len({p.stem.split("-")[0] for p in paths}) == len(paths) == len(RULES) >= 22
    assert len({r.name for r in RULES}) == len(RULES)


@pytest.mark.parametrize("each", RULES, ids=lambda r: r.code)
def test_rule_is_complete(each: Rule) -> None:
    assert each.sources
    assert {e.good for e in each.examples} == {True, False}, "a good and a bad example"
    assert 1 <= len(re.findall(r"[.?!](?: |$)", each.why)) <= 4
    for limit in each.limits.values():
        assert limit.unit
        assert limit.source
    for source in each.sources:
        assert len(source.quote.split()) <= 25
        assert source.kind or (source.author and source.title)


@pytest.mark.parametrize("each", RULES, ids=lambda r: r.code)
def test_keys_a_rule_judges_by_exist(each: Rule) -> None:
    assert set(each.player) <= set(PLAYER.keys)
    assert set(each.harp) <= set(harp_limits(rules_folder() / "harps" / "pedal-47.toml"))


#: What the planner weighs comfort by, and no rule judges.
PLANNED_BY = {"travel_steps_per_second", "afresh_seconds", "same_finger_seconds",
              "grip_memory_seconds"}


def test_every_limit_of_a_player_or_harp_serves_a_rule() -> None:
    assert {key for r in RULES for key in r.player} == set(PLAYER.keys) - PLANNED_BY
    served = {key for r in RULES for key in r.harp}
    assert served == set(harp_limits(rules_folder() / "harps" / "pedal-47.toml"))


def test_every_number_of_a_rule_is_judged_by() -> None:
    judges = "".join(Path(__file__).with_name(name).read_text("utf-8")
                     for name in ("rule_oracles.py", "lever_rule_judges.py"))
    checks = "".join(p.read_text("utf-8") for p in (PYTHON / "checks").glob("*.py"))
    for each in RULES:
        text = judges + checks if each.code in CHECKS else judges
        for limit in each.limits:
            assert f'"{limit}"' in text, f"{each.code}: nothing reads {limit}"


@pytest.mark.parametrize(("each", "example"), [c for c in CASES if c.values[0].code in JUDGES])
def test_example_is_true(each: Rule, example: Example) -> None:
    assert JUDGES[each.code](each, example) is not example.good


def test_a_rule_without_a_judge_here_has_a_check() -> None:
    """Examples of the rules of parts are put to the checks themselves (test_check_rules)."""
    assert {r.code for r in RULES} - set(JUDGES) <= set(CHECKS)


@pytest.mark.parametrize(("each", "example"), [c for c in CASES if c.values[0].code in STILL])
def test_check_of_a_draft_agrees_with_the_example(each: Rule, example: Example) -> None:
    found = {d.code for d in findings(as_draft(example), HARP, PLAYER)}
    assert (each.code in found) is not example.good


def as_draft(example: Example) -> Draft:
    """Return the example as a draft in quarter notes at 60, its pedals standing where wanted."""
    count = len(example.attacks)
    bar = Measure(0, "1", Fraction(0), Fraction(count))
    plucks = [(Fraction(i), p) for i, attack in enumerate(example.attacks) for p in attack]
    notes = tuple(HarpNote(Note(f"n{i}", "P1", 0, onset, Fraction(1), p.pitch), p.pitch, p.hand,
                           p.finger, example.rolled) for i, (onset, p) in enumerate(plucks))
    tempo = TempoMap((TempoMark(Fraction(0), Fraction(60)),))
    score = Score("", (Part("P1", "Harp", 2),), (bar,), tuple(n.source for n in notes), tempo, (0,))
    return Draft(score, "P1", notes)


def test_a_wrong_example_would_be_found() -> None:
    each = rule("H1")
    example = each.examples[0]
    assert JUDGES["H1"](each, replace(example, good=True)) is True


def test_every_code_cited_in_the_program_exists() -> None:
    cited = {}
    for path in PYTHON.rglob("*.py"):
        for code in re.findall(r'"([PSHRLOMCNTVK][1-9]\d?)"', path.read_text("utf-8")):
            cited[code] = path.name
    names = {str(HarpString(p)) for p in range(7 * 9)}  # "C1" and "C4" are strings as well
    unknown = {code: path for code, path in cited.items() if code not in rulebook()}
    assert {c: p for c, p in unknown.items() if c not in names} == {}
    assert {"H1", "P1"} <= set(cited)


def test_numbers_of_a_rule() -> None:
    assert rule("P2").number("audible_decibels") == -20
    with pytest.raises(RuleError, match="rule P2 has no number loudness"):
        rule("P2").number("loudness")
    with pytest.raises(RuleError, match="rule R3 has no number below"):
        rule("R3").number("below")


def test_unknown_code_lists_the_rules() -> None:
    with pytest.raises(ChoiceError, match=r"no rule 'X9'; the rules are: P1, P2, .*V1"):
        rule("X9")


def test_all_is_read_in_less_than_60_ms() -> None:
    def once() -> float:
        for cached in (rules.rulebook, harps._named, players._named, prices.load_prices,
                       files.rules_folder):
            cached.cache_clear()
        start = time.process_time()
        rulebook()
        for name in PLAYERS:
            load_player(name)
        for name in HARPS:
            load_harp(name)
        load_prices()
        return time.process_time() - start
    assert min(once() for _ in range(5)) < 0.060


# --- the catalogue

def test_list_names_every_rule_on_one_short_line() -> None:
    lines = catalogue().splitlines()
    assert max(map(len, lines)) <= 80
    for each in RULES:
        assert sum(line.split()[:2] == [each.code, each.severity] for line in lines) == 1
    assert "…" not in catalogue()


@pytest.mark.parametrize("each", RULES, ids=lambda r: r.code)
def test_text_of_a_rule(each: Rule) -> None:
    text = catalogue(each.code.lower())
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    assert each.title in flat
    assert each.why in flat
    for limit in each.limits.values():
        assert limit.source in flat
        assert limit.unit in flat
    for key in each.player:
        assert PLAYER.source(key) in flat
        assert f"{key.replace('_', ' ')} (player {SHOWN_PLAYER})" in flat
    for key in each.harp:
        assert f"{key.replace('_', ' ')} (harp {SHOWN_HARP})" in flat
    for source in each.sources:
        assert source.quote in flat
    for example in each.examples:
        assert example.says in flat


# --- players

@pytest.mark.parametrize("name", PLAYERS)
def test_player_names_unit_and_source_of_every_limit(name: str) -> None:
    player = load_player(name)
    assert player.keys
    for key in player.keys:
        assert player.source(key)
        assert player.unit(key)
        assert getattr(player, key) is not None
    text = (rules_folder() / "players" / f"{name}.toml").read_text("utf-8")
    notice = " ".join(text.split("title =")[0].replace("#", " ").split())
    assert "not training goals" in notice
    assert "stop at pain" in notice
    assert "a teacher or a doctor decides" in notice


def test_average_player() -> None:
    assert PLAYER.fingers_per_hand == 4
    assert PLAYER.span_steps == 9
    assert str(PLAYER.right_hand_lowest) == "G2"
    assert PLAYER.foot_two_notch_seconds == 1.5 * PLAYER.foot_move_seconds
    both = PLAYER.source("right_hand_lowest")
    assert "Freund and Cutler" in both
    assert "Orchestration Online" in both


def test_players_differ_in_what_they_say() -> None:
    small, large = load_player("small-hand"), load_player("large-hand")
    assert small.span_steps < PLAYER.span_steps < large.span_steps
    assert small.foot_move_seconds == PLAYER.foot_move_seconds
    assert small.source("foot_move_seconds") == PLAYER.source("foot_move_seconds")
    assert load_player("student").foot_move_seconds > PLAYER.foot_move_seconds


def test_own_player_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('title = "me"\nbase = "average"\n[span_steps]\nvalue = 8\nunit = "steps"\n'
                    'source = "my hand"\n', "utf-8")
    mine = load_player(path)
    assert (mine.name, mine.span_steps, mine.source("span_steps")) == ("mine", 8, "my hand")
    assert mine.collision_seconds == PLAYER.collision_seconds
    assert load_player(str(path)) == mine


ENTRY = '\n[span_steps]\nvalue = {}\nunit = "steps"\nsource = "my hand"\n'


@pytest.mark.parametrize(("text", "words"), [
    ('title = "me"', "fingers_per_hand is missing"),
    ('title = "me"\nbase = "nobody"', "unknown player 'nobody'; choose one of: average,"),
    ('title = "me"\nbase = "average"\n[spam]\nvalue = 1', "unknown key spam"),
    ('base = "average"', "title is missing"),
    ('title = ""\nbase = "average"', "title is empty"),
    ('title = "me"\nbase = "average"' + ENTRY.format('"9"'), "span_steps.value must be a whole"),
    ('title = "me"\nbase = "average"' + ENTRY.format("true"), "span_steps.value must be a whole"),
    ('title = "me"\nbase = "average"' + ENTRY.format("0"), "span_steps.value must be above 0"),
    ('title = "me"\nbase = "average"' + ENTRY.format("6"), "comfortable_span_steps is larger than"),
    ('title = "me"\nbase = "average"\nspan_steps = 9', "span_steps must be a table, not 9"),
    ('title = "me"\nbase = "average"\n[span_steps]\nvalue = 9', "span_steps.unit is missing"),
    ('title = "me"\nbase = "average"\n[right_hand_lowest]\nvalue = "low"\nunit = "x"\nsource = "x"',
     "right_hand_lowest.value must be a string such as G2"),
    ("title = ", "not TOML"),
])
def test_wrong_player_file(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, "utf-8")
    with pytest.raises((RuleError, ChoiceError), match=re.escape(words)) as caught:
        load_player(path)
    assert str(path) in str(caught.value) or "nobody" in words


def test_missing_player_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(RuleError, match=r"none\.toml: cannot be read"):
        load_player(tmp_path / "none.toml")


@pytest.mark.parametrize("name", ["octopus", "../harps/pedal-47", ""])
def test_unknown_player_lists_the_names(name: str) -> None:
    with pytest.raises(ChoiceError, match="choose one of: average, beginner, child, large-hand"):
        load_player(name)


# --- harps and prices

@pytest.mark.parametrize(("name", "count"), HARPS.items())
def test_harp(name: str, count: int) -> None:
    harp = load_harp(name)
    assert (harp.name, len(harp.strings)) == (name, count)
    assert harp.fixed <= set(harp.strings)
    for _, unit, source in harp_limits(rules_folder() / "harps" / f"{name}.toml").values():
        assert unit
        assert source


def test_unknown_harp_lists_the_names() -> None:
    with pytest.raises(ChoiceError, match=r"unknown harp 'lyre'; choose one of: .*pedal-40, .*-47"):
        load_harp("lyre")


@pytest.mark.parametrize(("old", "new", "words"), [
    ("value = 47", "value = 48", "strings is 48, but C1 to G7 are 47"),
    ('"C1", "D1"', '"C0", "D1"', "fixed names C0, which this harp does not have"),
    ('"C1", "D1"', '"Cb1", "D1"', "fixed must name strings such as C1, not 'Cb1'"),
    ('value = "C1"', 'value = "low"', "lowest must name strings such as C1"),
    ("[wire_top]", "[wired]", "unknown key wired"),
])
def test_wrong_harp_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: str, new: str,
                         words: str) -> None:
    folder = copied(tmp_path, monkeypatch)
    path = folder / "harps" / "pedal-47.toml"
    path.write_text(path.read_text("utf-8").replace(old, new), "utf-8")
    with pytest.raises(RuleError, match=re.escape(words)):
        harps._named.__wrapped__("pedal-47")


def copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "rules"
    shutil.copytree(rules_folder(), folder)
    monkeypatch.setattr(files, "rules_folder", lambda: folder)
    return folder


def test_prices_are_whole_numbers_with_a_source() -> None:
    assert load_prices()
    assert all(isinstance(value, int) and value >= 0 for value in load_prices().values())


@pytest.mark.parametrize(("text", "words"), [
    ('[price.drop]\nvalue = 3', "price.drop.source is missing"),
    ('[price.drop]\nvalue = 3.5\nsource = "x"', "price.drop.value must be a whole number, not 3.5"),
    ('[price.drop]\nvalue = -3\nsource = "x"', "price.drop.value must be 0 to"),
    ('[price.drop]\nvalue = 3\nsource = "x"\nunit = "x"', "unknown key price.drop.unit"),
    ("[prices.drop]\nvalue = 3", "unknown key prices"),
    ("", "price is missing"),
])
def test_wrong_prices(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "prices.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(RuleError, match=re.escape(words)):
        load_prices(path)


# --- wrong rule files

@pytest.mark.parametrize(("old", "new", "words"), [
    ('severity = "error"', 'severity = "fatal"', "severity must be error, warning or advice"),
    ('code = "H1"', 'code = "R1"', "code 'R1' does not belong to family 'hands'"),
    ('name = "five-fingers"', 'name = "six"', "the file must be called H1-six.toml"),
    ('why = """', 'because = """', "unknown key because"),
    ('title = "Harp notation manual"', "", "sources[1].title is missing"),
    ('author = "Don Freund', 'kind = "rumour"\nauthor = "Don Freund', "sources[2].kind must be"),
    ('right = "C4 E4 G4 B4 D5"', 'right = "C4 E4 H4"', "examples[1].right: not a pitch name: 'H4'"),
    ('right = "C4 E4 G4 B4 D5"', 'right = "C4/5"', "examples[1].right: no finger '5' in 'C4/5'"),
    ('bad = "five notes', 'so = "five notes', "unknown key examples[1].so"),
    ("[[sources]]", "[limits.most]\nvalue = 3\nunit = \"x\"\n[[sources]]", "limits.most.source is"),
])
def test_wrong_rule_file(tmp_path: Path, old: str, new: str, words: str) -> None:
    (tmp_path / "hands").mkdir()
    path = tmp_path / "hands" / "H1-five-fingers.toml"
    good = (rules_folder() / "hands" / path.name).read_text("utf-8")
    assert old in good
    path.write_text(good.replace(old, new, 1), "utf-8")
    with pytest.raises(RuleError, match=re.escape(words)) as caught:
        read_rule(path)
    assert str(path) in str(caught.value)


def test_one_code_twice(tmp_path: Path) -> None:
    (tmp_path / "hands").mkdir()
    text = (rules_folder() / "hands" / "H1-five-fingers.toml").read_text("utf-8")
    (tmp_path / "hands" / "H1-five-fingers.toml").write_text(text, "utf-8")
    (tmp_path / "hands" / "H1-six.toml").write_text(text.replace("five-fingers", "six"), "utf-8")
    with pytest.raises(RuleError, match=r"H1-six\.toml: code H1 is taken by five-fingers"):
        read_rules(tmp_path)


def test_notation_of_examples() -> None:
    example = read_example({"good": "so", "right": "C4 E4/1 | -", "left": "- | Bb2", "seconds": 1,
                            "setting": "D C Bb | E F G A", "harmony": "C E"}, Path("x"), "e.")
    first, second = example.attacks
    assert [(p.pitch, p.hand, p.finger) for p in first] == [
        (Pitch("C", 0, 4), "R", None), (Pitch("E", 0, 4), "R", 1)]
    assert [(p.pitch, p.hand) for p in second] == [(Pitch("B", -1, 2), "L")]
    assert example.setting == PedalSetting.of({"B": -1})
    assert (example.seconds, example.harmony) == (1.0, frozenset({0, 4}))
    with pytest.raises(RuleError, match="right has 1 attacks, left 2"):
        read_example({"bad": "so", "right": "C4", "left": "C3 | D3"}, Path("x"), "e.")
    with pytest.raises(RuleError, match="needs one of good and bad"):
        read_example({"right": "C4"}, Path("x"), "e.")
