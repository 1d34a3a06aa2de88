"""A survey: figures of every score, bad files among good ones, resumed, the same bytes always."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from arranger.api import Request, survey
from arranger.commands import survey_pool, surveying
from arranger.commands.survey_pool import DEAD, LATE, Worker, measured
from arranger.model.errors import ChoiceError, SourceError
from tests.test_hostile_input import BAD, HEAD, TAIL

ROOT = Path(__file__).resolve().parents[1]
NOTES = ("<note><pitch><step>{}</step><alter>{}</alter><octave>{}</octave></pitch><duration>2"
         "</duration><staff>{}</staff></note>")
#: More pitches than strings: the feet have to move.
SCALE = ("C4", "C14", "D4", "D14", "E4", "F4", "F14", "G4", "G14", "A4", "A14", "B4")


def tune(*pitches: str, tempo: int = 60) -> str:
    notes = "".join(NOTES.format(p[0], p[1:-1] or 0, p[-1], 1) for p in pitches)
    return (HEAD + "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4"
            f"</beat-type></time><staves>2</staves></attributes><direction><sound tempo='{tempo}'/>"
            f"</direction>{notes}{TAIL}")


@pytest.fixture
def library(tmp_path: Path) -> Path:
    folder = tmp_path / "library"
    (folder / "deep").mkdir(parents=True)
    (folder / "plain.musicxml").write_text(tune("C4", "D4", "E4", "F4"))
    (folder / "deep" / "same.xml").write_text(tune("C4", "D4", "E4", "F4"))
    (folder / "turns.musicxml").write_text(tune(*SCALE))
    (folder / "bad.musicxml").write_text(str(BAD["truncated"][1]))
    (folder / ".hidden.musicxml").write_text("no score")
    (folder / "notes.txt").write_text("no score")
    return folder


def by_name(found: surveying.Survey) -> dict[str, dict[str, object]]:
    return {row["file"]: row for row in found.rows}


def test_figures_of_every_score_and_one_line_for_a_bad_one(library: Path, tmp_path: Path) -> None:
    found = survey(Request(library), tmp_path / "out", jobs=1)
    rows = by_name(found)
    assert list(rows) == ["bad.musicxml", "deep/same.xml", "plain.musicxml", "turns.musicxml"]
    assert found.read == 3
    assert "truncated" in str(rows["bad.musicxml"]["refused"])
    assert str(tmp_path) not in str(rows["bad.musicxml"])
    plain, turns = rows["plain.musicxml"], rows["turns.musicxml"]
    assert (plain["suits"], plain["moves"], plain["lost"], plain["kept"]) == ("as it is", 0, 0, 1.0)
    assert (plain["lever_fit"], turns["lever_fit"]) == ("as written", "no")
    assert plain["best_key"] == "as written"
    assert plain["ceiling"] is None
    assert turns["moves"] >= 5
    assert turns["hardest"] == "7"
    assert turns["limit"] == "feet"
    assert isinstance(turns["ceiling"], int)


def test_the_tables_tell_the_same(library: Path, tmp_path: Path) -> None:
    found = survey(Request(library), tmp_path / "out", jobs=1)
    written = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir() if p.is_file()}
    assert written == found.files
    table = list(csv.DictReader(io.StringIO(written["survey.csv"].decode())))
    lines = [json.loads(line) for line in written["survey.jsonl"].splitlines()]
    assert [r["file"] for r in table] == [r["file"] for r in lines] == [
        r["file"] for r in found.rows]
    assert [r["moves"] for r in table] == [str(r.get("moves", "")) for r in found.rows]
    page = written["survey.html"].decode()
    assert page.count("<tr data-at") == 3
    assert "Not measured" in page
    assert not re.search(r'(?:src|href)="(?!#)|https?://', page)  # it loads nothing
    assert page.count('scope="col"') == page.count("<button") == 9


def test_a_name_that_looks_like_a_formula_or_markup_does_no_harm(library: Path,
                                                                 tmp_path: Path) -> None:
    (library / "=1+1.musicxml").write_text(tune("C4"))
    (library / "<i>.musicxml").write_text(tune("C4"))
    found = survey(Request(library), tmp_path / "out", jobs=1)
    assert b"\n'=1+1.musicxml," in found.files["survey.csv"]
    assert b"<i>" not in found.files["survey.html"]


def test_what_is_known_is_not_measured_again(library: Path, tmp_path: Path,
                                             monkeypatch: pytest.MonkeyPatch) -> None:
    first = survey(Request(library), tmp_path / "out", jobs=1)
    asked: list[Request] = []

    def counted(requests: list[Request], *_: object) -> object:
        asked.extend(requests)
        return measured(requests, 1)

    monkeypatch.setattr(surveying, "measured", counted)
    again = survey(Request(library), tmp_path / "out", jobs=1)
    assert again.files == first.files
    assert asked == []
    (library / "more.musicxml").write_text(tune("G4"))
    survey(Request(library), tmp_path / "out", jobs=1)
    assert [r.source.name for r in asked] == ["more.musicxml"]
    asked.clear()
    survey(Request(library, harp="pedal-40"), tmp_path / "out", jobs=1)
    assert len(asked) == 5  # other settings


def test_the_same_bytes_with_any_number_of_jobs(library: Path, tmp_path: Path) -> None:
    one = survey(Request(library), tmp_path / "one", jobs=1)
    three = survey(Request(library), tmp_path / "three", jobs=3)
    assert one.files == three.files


def test_progress_counts_up_and_tells_the_time_left(library: Path, tmp_path: Path) -> None:
    told: list[tuple[int, int, float | None, str]] = []
    survey(Request(library), tmp_path / "out", jobs=1, told=lambda *t: told.append(t))
    assert [t[0] for t in told] == [1, 2, 3, 4]
    assert {t[1] for t in told} == {4}
    assert told[-1][2] == 0


def test_a_dead_worker_is_noticed_its_file_told_and_the_rest_done(
        library: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ask, begun = Worker.ask, []

    def killed_once(self: Worker, request: Request) -> int:
        number = ask(self, request)
        if not begun:
            begun.append(request.source.name)
            assert self._process is not None
            os.kill(self._process.pid, signal.SIGKILL)
        return number

    monkeypatch.setattr(Worker, "ask", killed_once)
    rows = by_name(survey(Request(library), tmp_path / "out", jobs=1))
    died = [name for name, row in rows.items() if row.get("refused") == DEAD]
    assert died == begun == ["bad.musicxml"]
    assert sum("refused" not in row for row in rows.values()) == 3
    again = by_name(survey(Request(library), tmp_path / "out", jobs=1))
    assert "truncated" in str(again["bad.musicxml"]["refused"])  # tried again, not kept as dead


def test_a_file_that_takes_too_long_is_told() -> None:
    begun = time.monotonic()
    long = ROOT / "corpus" / "lantern-on-the-water" / "score.musicxml"
    (number, found), = measured([Request(long)], 1, seconds=0.5)
    assert (number, found) == (0, {"refused": LATE})
    assert time.monotonic() - begun < 5


def test_wrong_settings_and_folders_are_refused_once(library: Path, tmp_path: Path) -> None:
    with pytest.raises(ChoiceError, match="harp"):
        survey(Request(library, harp="no-such"), tmp_path / "out")
    with pytest.raises(ChoiceError, match="cannot transpose"):
        survey(Request(library, transpose="99"), tmp_path / "out")
    with pytest.raises(SourceError, match="is no folder"):
        survey(Request(library / "plain.musicxml"), tmp_path / "out")
    (tmp_path / "empty").mkdir()
    with pytest.raises(SourceError, match="no scores in it"):
        survey(Request(tmp_path / "empty"), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "arranger", "survey", *map(str, words)],
                          capture_output=True, text=True, check=False, cwd=ROOT)


def test_the_command_ends_well_unless_nothing_could_be_read(library: Path, tmp_path: Path) -> None:
    done = run(library, "-o", tmp_path / "out", "--jobs", "2")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("3 of 4 scores measured.")
    bad = tmp_path / "bad"
    bad.mkdir()
    shutil.copy(library / "bad.musicxml", bad)
    done = run(bad, "-o", tmp_path / "nothing", "--jobs", "1")
    assert done.returncode == 3
    assert done.stdout.startswith("0 of 1 scores measured.")


def test_a_worker_ends_when_nobody_asks_any_more() -> None:
    worker = survey_pool._start()
    assert worker.stdin is not None
    worker.stdin.close()
    assert worker.wait(timeout=20) == 0
    assert worker.stdout is not None
    worker.stdout.close()
