"""The commands with choices: options, --take, a file of thirty choices, the page."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from lxml import etree

from arranger.cli import main
from arranger.commands.choosing import options
from arranger.commands.converting import convert
from arranger.commands.request import Request
from arranger.io.choices_file import choices_text, read_choices
from arranger.io.source import open_source
from arranger.model.choice import Choice
from arranger.model.errors import ChoiceError
from arranger.model.pitch import Pitch
from tests.handwritten import backup, chord, note, piano

SONG = Path(__file__).parents[1] / "corpus/the-mill-race/score.musicxml"
DATA = Path(__file__).parents[2] / "shared/data"
QUIET = {"page": False}


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def written(root: etree._Element, path: Path) -> Path:
    path.write_bytes(etree.tostring(root))
    return path


@pytest.fixture
def small(tmp_path: Path) -> Path:
    bars = [chord("F4 A4 C5 F5", 8) + note("F#5", 2) + note("F5", 2) + note("C#5", 2)
            + note("C5", 2) + backup(16) + chord("F2 C3 A3", 16, voice=5, staff=2),
            chord("E4 G4 A#4 C#5", 8) + chord("F4 A4 D5", 8) + backup(16)
            + chord("A2 E3 C4 E4", 16, voice=5, staff=2)]
    return written(piano(*bars), tmp_path / "small.musicxml")


def test_options_tell_spots_with_their_prices_and_how_to_take_one(small, tmp_path):
    told = run("options", small, "-o", tmp_path / "out", "--no-page")
    assert told.exit_code in (0, 1), told.output
    head = " ".join(told.output.split())
    assert re.search(r"\d places to look at; at (\d|all|none) of them there is more than one way "
                     r"out \(prices in points over the whole piece, \d+ for a notch", head)
    assert f"Take one:  arranger convert {small} --take ID" in told.output
    report = json.loads((tmp_path / "out/report.json").read_text())
    assert report["command"] == "options"
    for spot in report["spots"]:
        assert set(spot) >= {"id", "bar", "beat", "onset", "findings", "options"}
        for option in spot["options"]:
            assert set(option) == {"id", "title", "cost_change", "terms", "fidelity", "knock_on",
                                   "ledger"}
    for draft in report["drafts"]:
        assert (tmp_path / "out" / draft["file"]).is_file()


def test_what_is_taken_costs_what_was_said_and_is_kept_beside_the_score(small, tmp_path):
    before = options(Request(small, **QUIET)).report
    option = next(o for s in before["spots"] for o in s["options"])
    done = run("convert", small, "-o", tmp_path / "out", "--no-page", "--take", option["id"])
    assert "Choices kept: 1 of 1" in done.output
    report = json.loads((tmp_path / "out/report.json").read_text())
    assert report["cost"]["total"] - before["cost"]["total"] == option["cost_change"]
    kept = (tmp_path / "out/small.choices.toml").read_bytes()
    (tmp_path / "small.choices.toml").write_bytes(kept)
    again = convert(Request(small, **QUIET))
    assert again.report["cost"] == report["cost"]
    assert again.files["small.choices.toml"] == kept


def test_an_option_of_another_score_is_refused_in_one_line(small, tmp_path):
    for wrong, words in (("9:1:C5:drop", "there is no such note"), ("nonsense", "not the id")):
        done = run("convert", small, "-o", tmp_path / "out", "--take", wrong)
        assert done.exit_code == 2
        assert words in done.output
        assert not (tmp_path / "out").exists()


def test_what_if_prices_one_change(small, tmp_path):
    told = run("options", small, "-o", tmp_path / "out", "--no-page", "--what-if", "1:4:C#5:drop")
    assert "C♯5 in bar 1, beat 4, left out" in told.output
    assert told.output.startswith("What one change costs (prices in points")
    spot, = json.loads((tmp_path / "out/report.json").read_text())["spots"]
    taken = convert(Request(small, take=("1:4:C#5:drop",), **QUIET)).report["cost"]["total"]
    plain = convert(Request(small, **QUIET)).report["cost"]["total"]
    assert spot["options"][0]["cost_change"] == taken - plain
    for wrong, words in (("9:1:C5:drop", "no such note"),
                         ("1:4:C#5:string-G", "no G string sounds"),
                         ("1:4:C#5", "not the id of an option")):
        done = run("options", small, "-o", tmp_path / "no", "--what-if", wrong)
        assert done.exit_code == 2
        assert words in done.output


def test_a_choices_file_that_is_missing_is_refused_in_one_line(small, tmp_path):
    done = run("convert", small, "-o", tmp_path / "out", "--choices", tmp_path / "none.toml")
    assert done.exit_code == 2
    assert "none.toml: cannot be read" in done.output


def test_bars_that_are_not_there_are_refused(small):
    for wrong in ("9-12", "x", "2-", "1 2"):
        with pytest.raises(ChoiceError, match="no bars"):
            options(Request(small, bars=wrong, **QUIET))
    with pytest.raises(ChoiceError, match="run backwards"):
        options(Request(small, bars="2-1", **QUIET))


def test_a_choice_that_cannot_be_kept_is_told_and_ends_with_1(small, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('[[choice]]\nbar = "1"\nbeat = 1\nnote = "D5"\ndrop = true\n'
                    '[[choice]]\nbar = "1"\nbeat = 1\nnote = "C5"\nstring = "G"\n')
    done = run("convert", small, "-o", tmp_path / "out", "--no-page", "--choices", file)
    assert done.exit_code == 1
    assert "no G string sounds C♯5".replace("♯", "") in done.output
    assert "no longer found in this edition" in done.output


def thirty(report: dict, taken: list[Choice]) -> list[Choice]:
    """Some options, and choices about further notes of a draft, that they stay: thirty in all."""
    made = list(taken)
    free = {c.bar for c in taken}
    for n in report["notes"]:
        if n["bar"] in free:
            continue
        if not n["grace"] and len(made) < 30 and int(n["bar_index"]) % 2:
            kind, value = (("hand", n["hand"]) if len(made) % 3 == 0 else
                           ("string", n["string"][0]) if len(made) % 3 == 1 else ("keep", True))
            made.append(Choice(n["bar"], Fraction(n["beat"]), Pitch.parse(n["string"]), kind,
                               value))
    return made


def unlike(report: dict) -> list[Choice]:
    """The first option of every spot, in bars far enough apart not to contradict each other."""
    made: list[Choice] = []
    for spot in report["spots"]:
        for option in spot["options"][:1]:
            choice = Choice.parse(option["id"])
            if all(abs(int(choice.bar) - int(c.bar)) > 3 for c in made):
                made.append(choice)
    return made


@pytest.mark.parametrize("source", [
    SONG, pytest.param(DATA / "piano/lied_mid_lc5000363.mxl", marks=pytest.mark.campaign)],
    ids=["demo", "song"])
def test_thirty_choices_on_a_song_last(tmp_path, source):
    if not source.exists():
        pytest.skip("the scores are not here")
    song = tmp_path / "song.musicxml"
    song.write_bytes(etree.tostring(open_source(source)))
    file = tmp_path / "song.choices.toml"
    found = options(Request(song, **QUIET)).report if source != SONG else {"spots": []}
    file.write_text(choices_text(thirty(convert(Request(song, **QUIET)).report, unlike(found))))
    assert len(read_choices(file)) == 30
    first = convert(Request(song, **QUIET))
    assert len(first.report["choices"]["kept"]) == 30
    assert not any(first.report["choices"][k] for k in ("not_kept", "moved", "not_found"))
    file.write_bytes(first.files["song.choices.toml"])
    assert convert(Request(song, **QUIET)).files["song.choices.toml"] == file.read_bytes()
    root = etree.parse(song).getroot()
    for part in root.findall("part"):
        for bar in part.findall("measure"):
            bar.set("number", str(int(bar.get("number")) + 1))
        empty = etree.fromstring('<measure number="1"><note><rest measure="yes"/>'
                                 "<duration>1</duration></note></measure>")
        opening = part.find("measure/attributes")
        empty.insert(0, opening)
        divisions, metre = int(opening.findtext("divisions")), opening.find("time")
        empty.find("note/duration").text = str(
            4 * divisions * int(metre.findtext("beats")) // int(metre.findtext("beat-type")))
        part.insert(0, empty)
    song.write_bytes(etree.tostring(root))
    later = convert(Request(song, **QUIET)).report["choices"]
    assert (len(later["kept"]), len(later["moved"]), later["not_found"]) == (30, 30, [])


def test_the_page_shows_spots_with_their_options(small, tmp_path):
    run("options", small, "-o", tmp_path / "out")
    page = (tmp_path / "out/report.html").read_text()
    report = json.loads((tmp_path / "out/report.json").read_text())
    assert '<section id="spots"' in page
    for option in (o for s in report["spots"] for o in s["options"]):
        assert f"--take {option['id']}" in page


def test_the_chromatic_bar_of_1855_has_a_way_without_pedals(tmp_path):
    # Berlioz 1855, "La harpe": the bar that moves D and E is "impossible or only dangerous"; his
    # correction takes notes of the chord there and moves no pedal
    names = ("C#5 B4", "A4 G#4 A4 B4 C#5 D5", "E5 D#5 E5 E#5 F#5 G#5", "A5 G#5 A5 C#6 B5 A5",
             "G#5 F#5")
    bars = ["".join(note(n, 1) for n in bar.split()) for bar in names]
    song = written(piano(*bars, fifths=3), tmp_path / "bar.musicxml")
    found = options(Request(song, tempo=Fraction(88), bars="3", **QUIET)).report
    plain = False
    ways = [o for s in found["spots"] for o in s["options"][:3]]
    for option in (o for o in ways if "still" in o["id"]):
        again = convert(Request(song, tempo=Fraction(88), take=(option["id"],), **QUIET)).report
        changed = [e for e in again["ledger"] if e["fidelity"] == "other-sound"]
        assert {e["before"][0]["name"] for e in changed} == {"D#5", "E#5"}
        plain = plain or not again["pedals"]["moves"]
    assert plain, [o["title"] for o in ways]


@pytest.mark.campaign
def test_prices_are_exact_where_several_parts_become_one():
    settings = {"parts": ("Flute", "Clarinet", "Violin", "Violoncello"), **QUIET}
    song = SONG.parents[1] / "the-evening-watch/score.musicxml"
    found = options(Request(song, bars="1-3", **settings)).report
    assert found["spots"]
    for option in (o for s in found["spots"] for o in s["options"]):
        taken = convert(Request(song, take=(option["id"],), **settings)).report
        assert taken["cost"]["total"] - found["cost"]["total"] == option["cost_change"]


@pytest.mark.campaign
def test_prices_of_all_options_of_twenty_scores_are_exact():
    files = sorted((DATA / "piano").glob("*.mxl"))[:20]
    if not files:
        pytest.skip("the scores are not here")
    wrong, ways, spots = [], 0, 0
    for file in files:
        found = options(Request(file, bars="", **QUIET)).report
        spots += len(found["spots"])
        for spot in found["spots"]:
            ways += len(spot["options"]) > 1
            for option in spot["options"]:
                taken = convert(Request(file, take=(option["id"],), **QUIET)).report
                change = taken["cost"]["total"] - found["cost"]["total"]
                if change != option["cost_change"]:
                    wrong.append((file.name, option["id"]))
    assert wrong == []
    assert ways >= 0.5 * spots
