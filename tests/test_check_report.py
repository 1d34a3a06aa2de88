"""Levels of rules, the summary line, the report and the text of a check."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from arranger.api import Request, check, convert
from arranger.checks.gathered import gathered
from arranger.model.diagnostic import Diagnostic
from arranger.model.errors import ChoiceError, RuleError
from arranger.model.score import Location
from arranger.passes import trouble
from arranger.passes.inspect import Inspection, inspect
from arranger.passes.part_plan import planned
from arranger.passes.settings import Settings
from arranger.report.check_report import Looked, check_report, source_of, summary_line
from arranger.report.check_text import check_text
from arranger.report.json_report import Heading, dumps, limit_told, places
from arranger.rulebook.examples import read_example
from arranger.rulebook.levels import load_levels
from arranger.rulebook.rules import rulebook
from tests.checking import JUDGE, as_case
from tests.handwritten import backup, low, note, piano

CLASH = {"right": "F4 F#4 A4 | C5 | C5 E5 G5 B5", "left": "C3 | C3 | F2 C3", "seconds": 0.18}


def looked_at(row: dict[str, Any], levels: dict[str, str] | None = None) -> Inspection:
    return inspect(as_case(read_example({"bad": "x", **row}, Path("row"), "row.")), levels or {})


def reported(row: dict[str, Any]) -> dict[str, Any]:
    case = as_case(read_example({"bad": "x", **row}, Path("row"), "row."))
    found = inspect(case, {})
    draft = planned(case, found, Settings(JUDGE.harp, JUDGE.player, JUDGE.prices))
    heading = Heading("check", "part.musicxml", "0" * 64, ("Harp",), (),
                      {"harp": "pedal-47", "player": "average", "tempo": "120"})
    return check_report(draft, heading, found.findings,
                        Looked(found.attacks, found.chords, found.moves, found.marks),
                        trouble.reported(case, found))


def test_a_rule_can_be_switched_off_and_down() -> None:
    severities = {d.code: d.severity for d in looked_at(CLASH).findings}
    assert severities["S1"] == "error"
    assert "S1" not in {d.code for d in looked_at(CLASH, {"S1": "off"}).findings}
    down = {d.code: d.severity for d in looked_at(CLASH, {"S1": "advice", "R1": "error"}).findings}
    assert down == {**severities, "S1": "advice"}, "levels hold findings down, they raise none"


def test_levels_come_from_a_file_and_single_settings_win(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('[rules]\nP3 = "warning"\nh6 = "off"\n', "utf-8")
    assert load_levels(path, ("P3=off",)) == {"P3": "off", "H6": "off"}
    assert load_levels() == {}


@pytest.mark.parametrize(("single", "words"), [
    (("X9=off",), "no rule 'X9'"), (("P3",), "write CODE=LEVEL"),
    (("P3=loud",), "one of off, advice, warning, error, not 'loud'")])
def test_wrong_single_settings(single: tuple[str, ...], words: str) -> None:
    with pytest.raises(ChoiceError, match=words):
        load_levels(None, single)


@pytest.mark.parametrize(("text", "error", "words"), [
    ("[rules]\nP3 = 1\n", ChoiceError, "a level is one of"),
    ("[rule]\nP3 = \"off\"\n", RuleError, "unknown key rule"),
    ("[rules]\nQ1 = \"off\"\n", ChoiceError, "no rule 'Q1'")])
def test_wrong_files(tmp_path: Path, text: str, error: type[Exception], words: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(error, match=words):
        load_levels(path)


def test_summary_line() -> None:
    found = looked_at(CLASH)
    counts = Counter(d.severity for d in found.findings)
    assert (counts["error"], counts["warning"], counts["advice"]) == (1, 2, 0)
    assert summary_line(found.findings, Looked(412, 400, 96, 12)) == (
        "3 findings: 1 cannot be played, 2 against the idiom; looked at 400 chords, 96 pedal "
        "moves, 12 pedal marks")
    assert summary_line((), Looked(0, 0, 0, 0)) == (
        "nothing to check: the part has no notes that are plucked")
    assert summary_line((), Looked(3, 0, 0, 0)) == (
        "no findings; looked at 3 single notes and no chords, no pedal moves")
    assert summary_line((), Looked(1, 1, 1, 0)) == (
        "no findings; looked at 1 chord, 1 pedal move")


def test_report_has_place_source_and_ready_edits() -> None:
    body = reported(CLASH)
    assert set(body) >= {"schema", "command", "source", "settings", "pedals", "notes", "findings",
                         "summary"}
    assert not {"ledger", "cost", "bound"} & set(body)
    clash = next(f for f in body["findings"] if f["code"] == "S1")
    assert (clash["bar"], clash["beat"], clash["staff"]) == ("1", "1", 1)
    assert clash["source"].startswith("Hector Berlioz, Grand traité")
    first = clash["remedies"][0]
    assert first["fidelity"] == "same-sound"
    assert first["edits"][0]["kind"] == "respell"
    assert set(first["edits"][0]) == {"kind", "note", "pitch"}
    assert body["summary"]["errors"] == 1
    assert dumps(body) == dumps(reported(CLASH))


def test_text_is_for_composers_and_not_wide() -> None:
    text = check_text(reported(CLASH))
    assert max(map(len, text.splitlines())) <= 80
    assert text.startswith("part.musicxml: ")
    assert "Cannot be played\n  bar 1, beat 1, upper staff: F4 and F♯4 share the string" in text
    assert "instead: write G♭4 for F♯4" in text
    assert "(S1; Hector Berlioz" in text
    assert "Advice" not in check_text(reported(CLASH), advice=False)


def test_every_rule_names_its_source() -> None:
    assert all(source_of(code) for code in rulebook())


@pytest.mark.parametrize("tempo_known", [True, False])
def test_without_a_tempo_nothing_that_depends_on_seconds_is_an_error(tempo_known: bool) -> None:
    row = {"right": "C4 | C#4", "seconds": 0.12, "signs": [] if tempo_known else ["no-tempo"]}
    (found,) = [d for d in looked_at(row).findings if d.code == "P1"]
    assert found.limit == 240
    assert limit_told(found) == {"limit": 240}
    if tempo_known:
        assert "as spelled it goes up to crotchet = 240; spelled otherwise it" in found.message
    else:
        assert found.severity != "error"
        assert "(from crotchet = 241 on)" in found.message


def test_what_is_said_of_several_bars_names_them_for_machines() -> None:
    where = [Location(str(n), n, Fraction(1), Fraction(4 * n)) for n in (3, 4, 6)]
    one, *later = (Diagnostic("H6", "long-run", "advice", "a long run", w, limit=80)
                   for w in where)
    (found,) = gathered([one, *later])
    assert found.message == "a long run; again in bars 4, 6"
    assert limit_told(found) == {"limit": 80}
    assert [place["bar"] for place in places(found)] == ["3", "4", "6"]


def test_what_goes_when_spelled_otherwise_is_only_a_warning() -> None:
    (found,) = [d for d in looked_at({"right": "C4 | C#4", "seconds": 0.12}).findings
                if d.code == "P1"]
    assert found.severity == "warning"
    assert "spelled otherwise it goes" in found.message
    assert {r.title for r in found.remedies if r.fidelity == "same-sound"} == {
        "write D♭4 for C♯4", "write B♯3 for C4"}
    (hopeless,) = [d for d in looked_at({"right": "G4 A4 | G#4 A4", "seconds": 0.08}).findings
                   if d.code == "P1"]
    assert hopeless.severity == "error"
    assert all(r.fidelity == "other-sound" for r in hopeless.remedies)


def test_what_the_planner_can_just_do_is_a_warning() -> None:
    (found,) = [d for d in looked_at({"right": "G4 A4 | G#4 A4", "seconds": 0.18}).findings
                if d.code == "P1"]
    assert found.severity == "warning"
    assert "only a quick foot moves the pedal" in found.message


def test_many_changes_of_a_bar_that_one_spelling_mends_are_said_once() -> None:
    row = {"right": "F4 | F#4 | C5 | C#5 | G4 | G#4 | F4", "seconds": 0.12}
    (found,) = [d for d in looked_at(row).findings if d.code == "P1"]
    assert found.severity == "warning"
    assert found.message.startswith("3 pedal changes come too fast: F♯4 follows F4, C♯5 ")
    assert [r.fidelity for r in found.remedies] == ["same-sound"]


def test_conflicting_notes_and_tempo_are_told() -> None:
    body = reported(CLASH)
    (bar,) = body["conflicts"]
    assert (bar["bar"], bar["complete"]) == ("1", True)
    assert [one["named"] for one in bar["sets"]] == [["F4", "F♯4"]]
    assert body["tempo_limits"]["told"] == [
        "nothing in it sets a limit to the tempo"]
    quick = reported({"right": "G4 A4 | G#4 A4", "seconds": 0.18})
    assert quick["tempo_limits"]["told"] == [
        "bar 1 plays at crotchet 240, not 333: the feet need the time"]
    assert "Tempo: bar 1 plays at crotchet 240, not 333" in check_text(quick)
    text = check_text(body)
    assert "Notes that exclude one another" in text
    assert "  bar 1: F4 + F♯4" in text.splitlines()
    calm = reported({"right": "C4 E4 G4 | C4 E4 G4", "seconds": 2.0})
    assert calm["conflicts"] == []
    assert calm["tempo_limits"]["told"] == ["nothing in it sets a limit to the tempo"]


def fingers_of(path: Path, *bars: str, **more: Any) -> list[list[int | None]]:
    """Fingers a check reports of the right hand, bar by bar."""
    path.write_bytes(etree.tostring(piano(*bars)))
    notes = check(Request(path, page=False, part_is_harp=True, **more)).report["notes"]
    return [[n["finger"] for n in notes if (n["bar"], n["hand"]) == (str(bar), "R")]
            for bar in range(1, len(bars) + 1)]


@pytest.mark.parametrize("harp", ["pedal-47", "lever-34"])
def test_a_check_shows_fingers_as_a_draft_has_them(tmp_path: Path, harp: str) -> None:
    """Triplets begin a group on the beat, graces are fingered, equal bars are alike."""
    rest = backup(16) + low("C3", 16)
    run = note("E4", grace=True) + "".join(note(n, 2) for n in ("F4", "G4", "A4", "C5", "E5", "G5"))
    path = tmp_path / "part.musicxml"
    bars = fingers_of(path, *(run + note("r", 4) + rest,) * 3, harp=harp)
    assert bars[0] == bars[1] == bars[2]
    assert None not in bars[0]
    draft = convert(Request(path, page=False, harp=harp)).report["notes"]
    assert [n["finger"] for n in draft if (n["bar"], n["hand"]) == ("1", "R")] == bars[0]


def test_fingers_that_a_checked_part_has_stand(tmp_path: Path) -> None:
    asked = "<technical><fingering>2</fingering></technical>"
    bar = note("F4") + note("G4", notations=asked) + note("A4") + note("C5")
    rest = backup(16) + low("C3", 16)
    path = tmp_path / "part.musicxml"
    ((_, free, *_),) = fingers_of(path, bar.replace(asked, "") + rest)
    ((_, held, *_),) = fingers_of(path, bar + rest)
    assert (free, held) == (3, 2)
