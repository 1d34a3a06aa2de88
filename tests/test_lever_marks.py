"""Lever marks that stand in a part: read, followed, judged, and not written a second time."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest
from lxml import etree

from arranger.api import Request, check, convert
from arranger.io.lever_words import read_lever_text
from arranger.io.musicxml_write import serialise
from arranger.model.marks import LeverSign
from arranger.rulebook.examples import Example, read_example
from arranger.rulebook.rules import rule
from tests.handwritten import attributes, backup, chord, note, part, score, words
from tests.lever_rule_judges import JUDGED_AS_MARKED
from tests.test_lever_harps import TEMPO, random_score

CODES = ("K4", "K5", "K6")


def file(tmp_path: Path, root: etree._Element) -> Path:
    path = tmp_path / "part.musicxml"
    path.write_bytes(serialise(root))
    return path


def lever_part(right: str, left: str = "", marks: dict[float, str] | None = None, tempo: int = 60,
               ) -> etree._Element:
    """A part of one long bar, an attack a crotchet; ``marks`` by attack from 0, halves too."""
    tops, lows = right.split("|"), left.split("|") if left else []
    body = ""
    for at, top in enumerate(tops):
        for late in (0.0, 0.5):
            said = (marks or {}).get(at + late)
            if said:
                offset = f"<offset>{int(4 * late)}</offset>"
                body += words(said, 2).replace("<staff>", f"{offset}<staff>")
        body += chord(top, 4) if top.strip() not in ("-", "") else note("r", 4)
    if lows:
        body += backup(4 * len(tops)) + "".join(
            chord(x, 4, staff=2, voice=2) if x.strip() != "-" else note("r", 4, staff=2, voice=2)
            for x in lows)
    return score(part(attributes(2, beats=len(tops)) + TEMPO.format(tempo) + body), names=("Harp",))


def judged(tmp_path: Path, root: etree._Element, **more: object):  # type: ignore[no-untyped-def]
    return check(Request(file(tmp_path, root), harp="lever-34", page=False, **more))


def told(result, codes: tuple[str, ...] = CODES) -> list[tuple[str, str]]:  # type: ignore[no-untyped-def]
    return [(f["code"], f["message"]) for f in result.report["findings"] if f["code"] in codes]


# --- reading

@pytest.mark.parametrize(("text", "signs"), [
    ("lever F♯4", ["F#4"]), ("lever F♯4, C♯5", ["F#4", "C#5"]), ("Levers: F#, Bb", ["F#", "Bb"]),
    ("set levers F# C", ["F#", "C"]), ("Lever changes: F#4 and C#5", ["F#4", "C#5"]),
    ("levers: C♮ D♮ E♭ F♯ G♮ A♮ B♭; but F♮4 (C4 = middle C)",
     ["C", "D", "Eb", "F#", "G", "A", "Bb", "F4"]),
    ("lever", []), ("levers up", []), ("leverage", []), ("Bb7", []), ("F#", []), ("lever Fine", []),
    ("all levers down", [])])
def test_lever_words(text, signs):
    def sign(name: str) -> LeverSign:
        found = re.fullmatch(r"([A-G])([#b]?)(\d?)", name)
        assert found
        return LeverSign(found[1], {"#": 1, "b": -1, "": 0}[found[2]],
                         int(found[3]) if found[3] else None)
    assert read_lever_text(text) == tuple(map(sign, signs))


# --- the rules

def as_root(example: Example) -> etree._Element:
    marks: dict[float, str] = {}
    for text in example.marks:
        at, _, said = text.partition(" ")
        marks[float(at) - 1] = said
    rows = {hand: " | ".join(" ".join(p.pitch.name for p in attack if p.hand == hand) or "-"
                             for attack in example.attacks) for hand in "RL"}
    left = rows["L"] if set(rows["L"]) - set("-| ") else ""
    return lever_part(rows["R"], left, marks, round(60 / (example.seconds or 1)))


@pytest.mark.parametrize(("code", "example"), [
    pytest.param(code, e, id=f"{code}-{e.says}") for code in CODES for e in rule(code).examples])
def test_examples(code, example, tmp_path):
    result = judged(tmp_path, as_root(example))
    assert (code in {c for c, _ in told(result)}) is not example.good
    if example.good:
        assert told(result) == []


def test_random_marks_are_judged_like_the_slow_judges(tmp_path):
    """Random marks over random notes: the same verdict by rule as the obvious judges."""
    random, kinds = Random(7), set()
    for _ in range(60):
        names = [random.choice(("F4", "F#4", "G4", "C5", "C#5", "F5", "F#5")) for _ in range(8)]
        lows = [random.choice(("-", "-", "A2", "E3")) for _ in range(8)]
        marks = ["1 levers " + " ".join(random.sample(["F", "F#5", "C", "G"], 3))]
        marks += [f"{at} lever {random.choice(('F#4', 'F4', 'C#5', 'C5', 'F#5'))}"
                  for at in sorted(random.sample(range(2, 9), random.randint(0, 3)))]
        example = read_example(
            {"bad": "x", "right": " | ".join(names), "left": " | ".join(lows), "marks": marks,
             "seconds": random.choice((0.5, 1.0, 2.0))}, Path("row"), "row.")
        found = {c for c, _ in told(judged(tmp_path, as_root(example)))}
        expected = {code for code in CODES if JUDGED_AS_MARKED[code](rule(code), example)}
        assert found == expected, (names, lows, marks)
        kinds |= {frozenset(found)}
    assert len(kinds) >= 4


# --- what would work

def test_a_missing_mark_is_proposed_where_the_left_hand_is_free(tmp_path):
    root = lever_part("F4 | A4 | C5 | F#4 | A4 | F4", "A2 | - | - | A2 | - | A2",
                      {0: "levers F G A", 5: "lever C#5"})
    result = judged(tmp_path, root)
    (found,) = [f for f in result.report["findings"] if f["code"] == "K4"]
    assert found["severity"] == "error"
    assert found["message"].startswith("F♯4 is wanted, but by the marks its lever leaves it at F4")
    (cure,) = [r for r in found["remedies"] if r["fidelity"] == "same-sound"]
    assert cure["title"].startswith("mark lever F♯4 in bar 1, beat 3")
    assert [e["kind"] for e in cure["edits"]] == ["insert-lever", "insert-lever"]
    assert [e["pitch"] for e in cure["edits"]] == ["F#4", "F4"]
    marked = result.files["marked.musicxml"].decode()
    assert marked.count("levers F G A") == 1
    assert "levers: " not in marked, "a setting stands already"
    assert "lever F♯4" in marked


def test_a_wrong_setting_is_set_right(tmp_path):
    result = judged(tmp_path, lever_part("F4 | A4 | F4", "", {0: "levers F# A"}))
    (found,) = [f for f in result.report["findings"] if f["code"] == "K4"]
    assert [r["title"] for r in found["remedies"]] == ["set F4 before the piece"]


def test_a_mark_at_the_note_itself_goes_earlier(tmp_path):
    result = judged(tmp_path, lever_part("F4 | A4 | A4 | F#4", "", {0: "levers F", 3: "lever F#4"}))
    (found,) = [f for f in result.report["findings"] if f["code"] == "K5"]
    assert found["severity"] == "warning"
    assert [r["title"] for r in found["remedies"]] == ["mark lever F♯4 in bar 1, beat 3½"]
    none = judged(tmp_path, lever_part("F4 | F#4", "", {0: "levers F", 1: "lever F#4"}, tempo=240))
    assert {f["severity"] for f in none.report["findings"] if f["code"] == "K5"} == {"error"}


def test_without_marks_nothing_is_said_of_them(tmp_path):
    assert told(judged(tmp_path, lever_part("F4 | A4 | A4 | F#4"))) == []


def test_a_letter_without_octave_is_the_string_that_wants_it(tmp_path):
    marks = {0: "levers F", 2: "lever F#"}
    assert told(judged(tmp_path, lever_part("F4 | F5 | A4 | A4 | F#5 | F4", "", marks))) == []
    both = judged(tmp_path, lever_part("F4 | F5 | A4 | A4 | F#5 F#4 | A4", "", marks))
    assert told(both) == []
    assert both.report["summary"]["lever_moves"] == 2


def test_pitch_words_count_where_the_part_speaks_of_levers(tmp_path):
    plain = lever_part("F4 | A4 | A4 | A4 | F#4 | F4", "", {2: "F#"})
    assert told(judged(tmp_path, plain)) == [], "a chord or a pedal may be meant"
    spoken = lever_part("F4 | A4 | A4 | A4 | F#4 | F4", "", {0: "levers F", 2: "F#"})
    assert [c for c, _ in told(judged(tmp_path, spoken))] == ["K4"]


# --- drafts of the program itself

@pytest.mark.parametrize("seed", range(6))
def test_a_lever_draft_is_checked_as_it_is_marked(seed, tmp_path):
    """What convert marks is found right by check, told as its plan, and not marked again."""
    source = file(tmp_path, random_score(Random(900 + seed)))
    draft = convert(Request(source, harp="lever-34", page=False))
    path = tmp_path / "draft.musicxml"
    path.write_bytes(draft.files["draft.musicxml"])
    found = check(Request(path, harp="lever-34", page=False, parts=("Harp",)))
    assert told(found, ("K1", *CODES)) == []
    assert found.report["summary"]["lever_moves"] == draft.report["summary"]["lever_moves"]
    assert found.report["levers"]["moves"] == draft.report["levers"]["moves"]
    before, after = (data.decode().count("lever") for data in (
        draft.files["draft.musicxml"], found.files["marked.musicxml"]))
    assert after - before == sum("lever" in f["message"].split(";")[0] for f in
                                 found.report["findings"])


@pytest.mark.parametrize("seed", [901, 903, 905, 907])
def test_each_mark_taken_away_is_missed_and_mended(seed, tmp_path):
    """Of a right part each change left out is found, and what is proposed puts it right."""
    source = file(tmp_path, random_score(Random(seed)))
    draft = convert(Request(source, harp="lever-34", page=False))
    path, missed = tmp_path / "draft.musicxml", 0
    moves = draft.report["levers"]["moves"]
    for move in moves if len(moves) > 1 else ():
        root = etree.fromstring(draft.files["draft.musicxml"])
        word = f"lever {move['string'][0]}{'♭♮♯'[move['to'] + 1]}{move['string'][1:]}"
        bar = root.findall("part")[-1].findall("measure")[move["bar_index"] - 1]
        (sign,) = [d for d in bar.iterfind("direction")
                   if d.findtext("direction-type/words") == word]
        bar.remove(sign)
        path.write_bytes(etree.tostring(root))
        found = check(Request(path, harp="lever-34", page=False, parts=("Harp",)))
        faults = [f for f in found.report["findings"] if f["code"] == "K4"]
        assert [f["severity"] for f in faults] == ["error"], (word, faults)
        assert move["string"][0] in faults[0]["message"]
        assert faults[0]["remedies"], word
        missed += 1
    assert missed == (len(moves) if len(moves) > 1 else 0)
