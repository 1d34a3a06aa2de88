"""The command line: exit status, one line of complaint, all files or none."""

from __future__ import annotations

import json
import os
import re
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from lxml import etree

from arranger.cli import main
from tests.handwritten import attributes, backup, chord, note, part, piano, score
from tests.score_reading import read_score
from tests.simulation_result import HARD
from tests.simulator import simulate

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "corpus" / "the-mill-race" / "score.musicxml"
MADE = {"draft.musicxml", "report.json", "report.html", "draft.mid"}
HEAVY = ("lxml", "numpy", "music21", "verovio")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def content(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def complaint(result: Result, status: int) -> str:
    """The one line on stderr of a run that failed as the contract says."""
    assert result.exit_code == status, result.output
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("arranger: ")
    return line


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    folder = tmp_path_factory.mktemp("demo") / "out"
    return folder, run("convert", DEMO, "-o", folder)


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A piano score of two bars."""
    root = piano(chord("C4 E4 G4", 16) + backup(16) + note("C2", 16, staff=2, voice=2),
                 chord("D4 F#4 A4", 16) + backup(16) + note("D2", 16, staff=2, voice=2))
    path = tmp_path / "small.musicxml"
    path.write_bytes(etree.tostring(root))
    return path


# --- convert

def test_convert_writes_four_files(demo: tuple[Path, Result]) -> None:
    folder, result = demo
    assert set(content(folder)) == MADE
    report = json.loads((folder / "report.json").read_text())
    errors = [f for f in report["findings"] if f["severity"] == "error"]
    assert result.exit_code == (1 if errors else 0)
    assert str(folder) in result.stdout
    assert result.stderr == ""


def test_a_second_run_writes_the_same_bytes(demo: tuple[Path, Result], tmp_path: Path) -> None:
    result = run("convert", DEMO, "-o", tmp_path / "again")
    assert result.exit_code == demo[1].exit_code
    assert content(tmp_path / "again") == content(demo[0])


def test_a_finding_of_error_is_exit_one(small: Path, tmp_path: Path,
                                        monkeypatch: pytest.MonkeyPatch) -> None:
    """An error among the findings makes the run incomplete, and the files are written."""
    from arranger.commands import converting
    from arranger.model.diagnostic import Diagnostic
    from arranger.model.score import Location
    from arranger.rulebook.rules import rule
    wrong = Diagnostic("P3", rule("P3").name, "error", "no foot is free",
                       Location("1", 1, 1, 0), (), "P1")
    monkeypatch.setattr(converting, "findings", lambda *_: (wrong,))
    result = run("convert", small, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert set(content(tmp_path / "out")) == MADE


def test_json_on_stdout_is_the_report(small: Path, tmp_path: Path) -> None:
    result = run("convert", small, "-o", tmp_path / "out", "--format", "json", "--no-page")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["command"] == "convert"
    assert result.stdout.encode() == (tmp_path / "out" / "report.json").read_bytes()
    assert set(content(tmp_path / "out")) == MADE - {"report.html"}


def test_the_folder_is_named_after_the_source(small: Path,
                                              monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(small.parent)
    assert run("convert", small, "--no-page").exit_code == 0
    assert (small.parent / "out" / "small" / "draft.musicxml").is_file()


@pytest.mark.parametrize("name", ["the-mill-race", "lantern-on-the-water"])
def test_verify_passes_on_a_demo(name: str, tmp_path: Path) -> None:
    source = ROOT / "corpus" / name / "score.musicxml"
    result = run("convert", source, "-o", tmp_path / "out", "--verify", "--no-page")
    assert result.exit_code in (0, 1), result.output


def test_all_parts_of_a_demo_without_a_keyboard(tmp_path: Path) -> None:
    source = ROOT / "corpus" / "the-evening-watch" / "score.musicxml"
    line = complaint(run("convert", source, "-o", tmp_path / "out"), 2)
    assert "--part" in line
    assert "P4 (Violoncello)" in line
    chosen = [word for i in range(1, 5) for word in ("--part", f"P{i}")]
    result = run("convert", source, "-o", tmp_path / "out", "--no-page", *chosen)
    assert result.exit_code in (0, 1), result.output


# --- what cannot be done

@pytest.mark.parametrize(("option", "value", "told"), [
    ("--part", "Nobody", "P1 (Piano)"),
    ("--harp", "nothing", "pedal-47"),
    ("--player", "nobody", "average"),
    ("--tempo", "9", "10 to 400"),
    ("--tempo", "401", "10 to 400"),
    ("--tempo", "nan", "10 to 400"),
    ("--tempo", "fast", "--tempo"),
    ("--pedals", "some", "changes"),
    ("--bogus", "1", "--bogus"),
])
def test_wrong_names_and_options(small: Path, tmp_path: Path, option: str, value: str,
                                 told: str) -> None:
    line = complaint(run("convert", small, "-o", tmp_path / "out", option, value), 2)
    assert told in line
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("name", "data"), [
    ("missing.musicxml", None), ("empty.musicxml", b""), ("score.txt", b"text"),
    ("text.musicxml", b"no score"), ("page.xml", b"<html/>"), ("archive.mxl", b"PK\3\4broken"),
    ("silent.musicxml", etree.tostring(piano(note("r", 16)))),
])
def test_sources_that_cannot_be_used(tmp_path: Path, name: str, data: bytes | None) -> None:
    source = tmp_path / name
    if data is not None:
        source.write_bytes(data)
    line = complaint(run("convert", source, "-o", tmp_path / "out"), 3)
    assert name in line
    assert not (tmp_path / "out").exists()


def test_a_folder_is_no_source(tmp_path: Path) -> None:
    assert "folder" in complaint(run("convert", tmp_path, "-o", tmp_path / "out"), 3)


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_stands_where_the_folder_should_be(small: Path, below: str) -> None:
    taken = small.with_name("taken")
    taken.write_text("mine")
    complaint(run("convert", small, "--no-page", "-o", taken / below if below else taken), 3)
    assert taken.read_text() == "mine"
    assert set(small.parent.iterdir()) == {small, taken}


def test_a_failing_run_touches_nothing_that_stands(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "draft.mid").mkdir(parents=True)
    (out / "report.json").write_text("mine")
    assert "draft.mid" in complaint(run("convert", small, "--no-page", "-o", out), 3)
    assert (out / "report.json").read_text() == "mine"
    assert {p.name for p in out.iterdir()} == {"draft.mid", "report.json"}


def test_an_interrupt_while_writing_leaves_no_file(small: Path, tmp_path: Path,
                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    write, calls = Path.write_bytes, []

    def interrupted(path: Path, data: bytes) -> int:
        calls.append(path)
        if len(calls) == 3:
            raise KeyboardInterrupt
        return write(path, data)

    monkeypatch.setattr(Path, "write_bytes", interrupted)
    result = run("convert", small, "--no-page", "-o", tmp_path / "out")
    assert result.exit_code == 130
    assert len(calls) == 3
    assert list(tmp_path.iterdir()) == [small]


def test_an_interrupt_while_working_leaves_nothing(small: Path, tmp_path: Path) -> None:
    code = ("import sys, time\nfrom arranger.commands import taking\n"
            "def arrange(*_):\n    print('ready', flush=True)\n    time.sleep(30)\n"
            "taking.arrange_within = arrange\nfrom arranger.cli import main\nmain(sys.argv[1:])")
    process = subprocess.Popen(
        [sys.executable, "-c", code, "convert", str(small), "-o", str(tmp_path / "out")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=_environment(),
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=20)
    assert process.returncode == 130
    assert told.strip() == "arranger: interrupted"
    assert not (tmp_path / "out").exists()


# --- pedals

def test_pedals_changes_no_note(tmp_path: Path) -> None:
    bars = ("C4 E4 G4 C5", "D4 F#4 A4 D5", "Eb4 G4 Bb4 Eb5", "E4 G#4 B4 E5", "C4 F4 Ab4 C5")
    whole = [chord(b, 16) + backup(16) + note(b.split()[0][:-1] + "2", 16, staff=2, voice=2)
             for b in bars]
    root = score(part(attributes() + whole[0], *whole[1:]), names=("Harp",))
    source = tmp_path / "part.musicxml"
    source.write_bytes(etree.tostring(root))
    result = run("pedals", source, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    marked = read_score(tmp_path / "out" / "marked.musicxml")
    faces = [[(n.onset, n.duration, n.name, n.staff, n.voice) for n in s.notes]
             for s in (read_score(source), marked)]
    assert faces[0] == faces[1]
    assert len(faces[0]) == 25
    replay = simulate(marked)
    assert replay.of(*HARD) == ()
    letters = sorted(move.letter for move in replay.written_moves)
    assert letters == list("ABEEFG"), "E flat and back, and four pedals once: no fewer will do"
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert len(replay.written_moves) == len(report["pedals"]["moves"])


# --- rule and settings

def test_rule_lists_and_explains() -> None:
    listing, one = run("rule"), run("rule", "P1")
    assert (listing.exit_code, one.exit_code) == (0, 0)
    assert {"P1", "R1", "C2"} <= {line.split()[0] for line in listing.stdout.splitlines() if line}
    assert one.stdout.startswith("P1  ")
    assert "Sources" in one.stdout
    assert "P1" in complaint(run("rule", "Z9"), 2)


def test_settings_come_nearest_first() -> None:
    result = run("settings", "C", "E", "G", "Bb")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "D C Bb | E F G A   pedals 1, notches 1"
    notches = [int(line.split()[-1]) for line in lines[:-1]]
    assert notches == sorted(notches)


def test_of_many_settings_the_nearest_dozen_is_listed() -> None:
    *near, last = run("settings", "C#").stdout.splitlines()
    assert len(near) == 12
    assert re.match(r"and \d{3,4} more", last)


def test_settings_that_do_not_exist() -> None:
    """G, G# and A: only the G and the A string reach them, and three sounds need three."""
    assert "G G# A" in complaint(run("settings", "G", "G#", "A"), 2)
    complaint(run("settings", "C", "E", "--glissando"), 2)
    complaint(run("settings", "H"), 2)
    complaint(run("settings"), 2)


@pytest.mark.parametrize("arguments", [
    pytest.param(("settings", ""), id="an empty note: IndexError"),
    pytest.param(("settings", "C", "--from", "X Y"), id="a setting that is none is ignored"),
    pytest.param(("settings", "C", "--from", "D C# Bb | Eb F Q"), id="a letter that is none"),
    pytest.param(("settings", "C", "--from", "D C B | E F G"), id="a letter that is missing"),
    pytest.param(("settings", "C", "--from", "D C B | E F G A A#"), id="a letter twice"),
    pytest.param(("convert", DEMO, "--verify", "--tempo", "90", "--no-page"),
                 id="options that exclude each other end with 3, after all the work"),
])
def test_options_that_mean_nothing_are_refused(arguments: tuple[object, ...], tmp_path: Path,
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    complaint(run(*arguments), 2)


# --- help

def test_without_a_command_the_usage_is_shown() -> None:
    result = run()
    assert result.exit_code in (0, 2)
    assert (result.stdout or result.stderr).startswith("Usage: ")


def test_version_is_told_without_installing() -> None:
    done = subprocess.run([sys.executable, "-m", "arranger", "--version"], capture_output=True,
                          text=True, check=False, env=_environment())
    assert (done.returncode, done.stderr) == (0, "")
    assert any(c.isdigit() for c in done.stdout)


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def test_help_loads_nothing_heavy() -> None:
    code = ("import sys\nfrom arranger.cli import main\n"
            "try:\n    main(['--help'])\nexcept SystemExit as end:\n"
            "    print(end.code, *sorted(sys.modules), file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env=_environment())
    status, *modules = done.stderr.split()
    assert status == "0"
    assert "arranger.cli" in modules
    assert not [m for m in modules if m.split(".")[0] in HEAVY]
    for command in ("convert", "pedals", "rule", "settings"):
        assert command in done.stdout


def test_help_is_quick() -> None:
    """Processor time of a fresh process, the best of three."""
    times = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-m", "arranger", "--help"], capture_output=True,
                       check=True, env=_environment())
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert min(times) < 0.3
