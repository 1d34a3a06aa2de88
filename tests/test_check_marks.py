"""Written pedal marks, from the file to the finding; own drafts have no fault in them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import etree

from arranger.api import Request, check, convert
from arranger.cli import main
from tests.checking import FILES
from tests.handwritten import attributes, backup, chord, note, part, score, words

CORPUS = Path(__file__).parents[1] / "corpus"
OF_MARKS = {"P6", "P7", "P8", "P9", "P10", "P11", "N1"}
TEMPO = ('<direction><direction-type><words>x</words></direction-type><sound tempo="60"/>'
         "</direction>")


def diagram(**alters: int) -> str:
    tuned = "".join(f"<pedal-tuning><pedal-step>{p}</pedal-step><pedal-alter>{alters.get(p, 0)}"
                    f"</pedal-alter></pedal-tuning>" for p in "DCBEFGA")
    return (f"<direction><direction-type><harp-pedals>{tuned}</harp-pedals></direction-type>"
            "<staff>1</staff></direction>")


def harp(*measures: str) -> etree._Element:
    first, *others = measures
    return score(part(attributes() + TEMPO + first, *others), names=("Harp",))


def bar(names: str) -> str:
    """Four crotchets of the right hand over a held bass; a word between notes is a pedal mark."""
    text = ""
    for name in names.split():
        text += words(name[1:]) if name.startswith("!") else note(name)
    return text + backup(16) + note("C2", 16, voice=5, staff=2)


def found(tmp_path: Path, *measures: str, **more: Any) -> list[dict[str, Any]]:
    path = tmp_path / "part.musicxml"
    path.write_bytes(etree.tostring(harp(*measures)))
    return list(check(Request(path, **more)).report["findings"])


GOOD = (diagram() + bar("F4 A4 !F♯ F#4 A4"), bar("F#4 A4 !F♮ F4 A4"))


@pytest.mark.parametrize(("measures", "code", "place"), [
    (GOOD, "", ""),
    ((diagram() + bar("F4 A4 F#4 A4"), bar("F#4 A4 !B♭ Bb4 A4")), "P6", "1 3"),
    ((diagram() + bar("F4 A4 F#4 !F♯ A4"), bar("F#4 A4 !F♮ F4 A4")), "P7", "1 3"),
    ((diagram() + bar("A4 !F♯ F4 A4 F#4"), bar("F#4 A4 !F♮ F4 A4")), "P8", "1 2"),
    ((diagram(F=1) + bar("F4 A4 !F♯ F#4 A4"), bar("F#4 A4 !F♮ F4 A4")), "P8", "1 1"),
    ((diagram() + bar("F4 !F♮ A4 !F♯ F#4 A4"), GOOD[1]), "P9", "1 2"),
    ((diagram() + bar("F4 A4 !F♯ !F♭ F#4 A4"), GOOD[1]), "P10", "1 3"),
    ((diagram() + bar("F4 !G♯ A4 !F♯ F#4 A4"), bar("!G♮ F#4 G4 !F♮ F4 A4")), "P11", "1 2"),
    ((diagram(G=-1) + bar("F4 A4 F#4 A4"), bar("F#4 Gb4 F#4 !B♭ Bb4")), "N1", "1 3"),
    ((bar("F4 A4 !F♯ F#4 A4"), GOOD[1]), "N3", "1 1"),
])
def test_marks_are_believed(tmp_path: Path, measures: tuple[str, ...], code: str,
                            place: str) -> None:
    everything = found(tmp_path, *measures)
    assert {f["code"] for f in everything if f["severity"] != "advice"} <= {code}
    assert code or not everything
    for finding in (f for f in everything if f["code"] == code):
        assert f"{finding['bar']} {finding['beat']}" == place
        assert finding["remedies"]
        assert finding["remedies"][0]["edits"]
    assert not code or [f["code"] for f in everything].count(code) == 1


def test_a_setting_that_the_notes_have_overruled_names_no_other_string(tmp_path: Path) -> None:
    here = (diagram() + note("D4") + chord("Bb3 Cb4 Gb4") + note("r", 8) + backup(16)
            + note("C2", 16, voice=5, staff=2))
    assert "N1" not in {f["code"] for f in found(tmp_path, here)}


def test_no_remedy_moves_a_pedal_within_a_glissando(tmp_path: Path) -> None:
    def gliss(kind: str) -> str:
        return f'<glissando type="{kind}" number="1" line-type="wavy"/>'
    said = found(tmp_path, diagram() + bar("D4 A4 !A♭ Ab4 D4"),
                 note("Ab3", notations=gliss("start")) + note("r") + note("A5", 8, notations=gliss(
                     "stop")) + backup(16) + note("C2", 16, voice=5, staff=2))
    assert [f for f in said if f["code"] == "P6"]
    assert not [r for f in said for r in f["remedies"] if r["title"].endswith("bar 2, beat 2")]


@pytest.mark.parametrize("called", ["gliss.", "legato"])
def test_a_glissando_that_is_written_out_is_glided(tmp_path: Path, called: str) -> None:
    scale = [f"{letter}{octave}" for octave in (3, 4, 5, 6) for letter in "CDEFGAB"][:28]
    lines = [[note(name, 1, voice=v, staff=s) for name in row] for v, s, row in (
        (1, 1, scale), (5, 2, [f"{n[0]}{int(n[1]) - 1}" for n in scale]))]
    bars = ["".join(lines[0][at:at + 14]) + backup(14) + "".join(lines[1][at:at + 14])
            for at in (0, 14)]
    said = {f["code"] for f in found(tmp_path, words(called) + bars[0], bars[1], tempo=120)}
    assert ({"H11", "S4"} & said == set()) is (called == "gliss.")


def test_a_fifth_finger_is_for_the_piano(tmp_path: Path) -> None:
    fingers = [note(n, notations=f"<technical><fingering>{f}</fingering></technical>")
               for n, f in (("C4", 5), ("E4", 3), ("G4", 2), ("C5", 1))]
    (said,) = [f for f in found(tmp_path, "".join(fingers)) if f["code"] == "N2"]
    assert said["message"].startswith("a fifth finger is for the piano")
    assert said["beat"] == "1"


def test_two_notes_off_the_harp_at_once_are_each_moved(tmp_path: Path) -> None:
    said = [f for f in found(tmp_path, note("A7", 16) + backup(16) + note("A0", 16, voice=5,
                                                                        staff=2))
            if f["code"] == "C1"]
    assert sorted(f["remedies"][0]["title"] for f in said) == [
        "write A0 an octave higher", "write A7 an octave lower"]


def test_one_note_stands_on_both_staves_and_two_stand(tmp_path: Path) -> None:
    for names, words_ in (("A3", "A3 stands on both"), ("A3 C4", "A3, C4 stand on both")):
        both = chord(names, 16) + backup(16) + chord(names, 16, voice=5, staff=2)
        (said,) = [f for f in found(tmp_path, both) if f["code"] == "S2"]
        assert said["message"].startswith(words_)


def test_only_a_setting_at_the_start_leaves_the_changes_to_the_player(tmp_path: Path) -> None:
    said = found(tmp_path, diagram() + bar("F4 A4 F#4 A4"), bar("F#4 Bb4 F4 B4"))
    assert not {f["code"] for f in said} & OF_MARKS


def test_a_part_that_marks_few_of_its_changes_hears_it_once(tmp_path: Path) -> None:
    bars = [bar("F4 A4 F#4 A4") for _ in range(6)]
    said = [f for f in found(tmp_path, diagram() + bar("F4 A4 !F♯ F#4 A4"), *bars)
            if f["code"] in OF_MARKS]
    assert [(f["code"], f["severity"]) for f in said] == [("P6", "advice")]
    assert said[0]["message"].startswith("1 of 13 pedal changes are marked")


def test_without_marks_the_planner_is_the_judge(tmp_path: Path) -> None:
    said = found(tmp_path, bar("F4 A4 F#4 A4"), bar("F#4 Bb4 F4 B4"))
    assert [f for f in said if f["severity"] != "advice"] == []


@pytest.mark.parametrize("name", ["lantern-on-the-water", "the-mill-race"])
def test_own_drafts_have_no_fault_of_their_marks(tmp_path: Path, name: str) -> None:
    own_draft_is_clean(CORPUS / name / "score.musicxml", tmp_path)


@pytest.mark.campaign
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_every_own_draft_has_no_fault_of_its_marks(path: Path, tmp_path: Path) -> None:
    own_draft_is_clean(path, tmp_path)


def own_draft_is_clean(path: Path, folder: Path) -> None:
    draft = folder / "draft.musicxml"
    draft.write_bytes(convert(Request(path, page=False)).files["draft.musicxml"])
    result = check(Request(draft))
    assert result.report["summary"]["pedal_marks"] >= 7
    assert [f for f in result.report["findings"] if f["code"] in OF_MARKS] == []
    assert not result.incomplete


# the command

def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def clash(tmp_path: Path) -> Path:
    path = tmp_path / "clash.musicxml"
    path.write_bytes(etree.tostring(harp(bar("F4 A4 F4 A4") + backup(16)
                                         + note("F#5", 16, voice=2))))
    return path


def test_command_tells_and_writes(clash: Path, tmp_path: Path) -> None:
    done = run("check", clash, "-o", tmp_path / "out")
    told = " ".join(done.output.split())
    assert "1 cannot be played" in told
    assert "upper staff: F4 and F♯5 want the F pedal in two positions at once" in told
    assert "instead: write" in told
    report = json.loads((tmp_path / "out" / "report.json").read_text("utf-8"))
    assert report["command"] == "check"
    assert report["summary"]["errors"] == 1
    assert list(report["pedals"]["opening"]) == list("DCBEFGA")


@pytest.mark.parametrize(("more", "status"), [
    ((), 1), (("--rule", "S1=warning"), 0), (("--rule", "s1=off"), 0), (("--rule", "P1=off"), 1)])
def test_status_is_one_only_for_errors(clash: Path, tmp_path: Path, more: tuple[str, ...],
                                       status: int) -> None:
    path = clash.with_suffix(".out")
    with pytest.raises(SystemExit) as left:
        main(["check", str(clash), "-o", str(path), *more])
    assert left.value.code == status


def test_settings_file_and_json(clash: Path, tmp_path: Path) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text('[rules]\nS1 = "advice"\n', "utf-8")
    done = run("check", clash, "-o", tmp_path / "out", "--rules", rules, "--format", "json")
    report = json.loads(done.output)
    assert {f["severity"] for f in report["findings"] if f["code"] == "S1"} == {"advice"}


def test_wrong_setting_is_one_line(clash: Path, tmp_path: Path,
                                   capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["check", str(clash), "-o", str(tmp_path / "out"), "--rule", "X9=off"])
    assert left.value.code == 2
    assert capsys.readouterr().err.startswith("arranger: no rule 'X9'")
    assert not (tmp_path / "out").exists()


def test_same_input_same_bytes(clash: Path) -> None:
    request = Request(clash)
    assert check(request).files == check(replace(request)).files
