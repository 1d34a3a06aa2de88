"""Two editions of a part: a planted change of each kind is told in its bar, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from arranger.api import Request, compare
from arranger.cli import main
from arranger.report.compare_text import compare_text
from tests.handwritten import chord, note, words
from tests.test_mark_part import text_of

#: Bars with nothing in common but the bass, so that each is known by its notes.
BARS = ("C5 D5 E5 F5", "G4 A4 B4 C5", "E5 D5 C5 B4", "F4 G4 A4 F4")
PLAIN = [[note(n) for n in bar.split()] for bar in BARS]
FINGERED = note("C5", notations="<technical><fingering>{}</fingering></technical>")
#: Ten strings at once, which no two hands hold.
TOO_MANY = chord("C4 D4 E4 F4 G4 A4 B4 C5 D5 E5", 4)


def edition(path: Path, bars: Sequence[Sequence[str]]) -> Path:
    path.write_bytes(text_of(*("".join(bar) for bar in bars)))
    return path


def with_notes(bar: int, *notes: str) -> list[list[str]]:
    """The plain bars, one of them (from 1) with other notes."""
    return [list(notes) if i == bar else b for i, b in enumerate(PLAIN, 1)]


def compared(folder: Path, old: Sequence[Sequence[str]],
             new: Sequence[Sequence[str]]) -> Mapping[str, Any]:
    return compare(Request(edition(folder / "old.musicxml", old)),
                   edition(folder / "new.musicxml", new)).report


def told(report: Mapping[str, Any]) -> list[tuple[str, ...]]:
    return [(c["kind"], (c["new"] or c["old"])["bar"], (c["new"] or c["old"])["beat"], c["name"],
             c["before"], c["after"]) for c in report["changes"]]


def alone(report: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    return tuple([b["bar"] for b in report["bars"][w]]  # type: ignore[return-value]
                 for w in ("inserted", "removed"))


def test_of_equal_editions_nothing_has_changed(tmp_path: Path) -> None:
    report = compared(tmp_path, with_notes(2, TOO_MANY), with_notes(2, TOO_MANY))
    assert report["summary"]["line"] == "nothing changed"
    assert (told(report), alone(report)) == ([], ([], []))
    assert {f["state"] for f in report["findings"]} == {"stayed"}
    assert "Changed" not in compare_text(report)


G, A, B, C = PLAIN[1]
MARK = words("F#")


@pytest.mark.parametrize(("old", "new", "change"), [
    ((G, A, B, C), (G, A, chord("B4 D5"), C), ("added", "3", "D5", "", "")),
    ((G, A, chord("B4 D5"), C), (G, A, B, C), ("removed", "3", "D5", "", "")),
    ((G, note("G#4"), B, C), (G, note("Ab4"), B, C), ("string", "2", "Ab4", "G#4", "Ab4")),
    ((G, A, B, C), (G, note("A4", staff=2), B, C), ("hand", "2", "A4", "right", "left")),
    ((G, A, B, C), (G, A, B, FINGERED.format(2)), ("finger", "4", "C5", "", "2")),
    ((G, A, B, FINGERED.format(3)), (G, A, B, FINGERED.format(2)), ("finger", "4", "C5", "3", "2")),
    ((G, A, B, C), (G, A, B, note("C5", 2), note("r", 2)), ("length", "4", "C5", "1", "1/2")),
    ((G, A, B, C), (G, A, B, note("C5", notations="<technical><harmonic/></technical>")),
     ("signs", "4", "C5", "", "harmonic")),
    ((G, A, B, C), (G, MARK, A, B, C), ("pedals", "2", "", "", "F#")),
    ((G, MARK, A, B, C), (G, words("Fb"), A, B, C), ("pedals", "2", "", "F#", "Fb")),
    ((G, MARK, A, B, C), (G, A, B, C), ("pedals", "2", "", "F#", "")),
], ids=lambda v: "-".join(v[:1] + v[3:]) if isinstance(v[0], str) and len(v) == 5 else "")
def test_a_change_is_told_in_its_bar_and_nothing_else(
        old: tuple[str, ...], new: tuple[str, ...], change: tuple[str, ...],
        tmp_path: Path) -> None:
    report = compared(tmp_path, with_notes(2, *old), with_notes(2, *new))
    kind, beat, *rest = change
    assert told(report) == [(kind, "2", beat, *rest)]
    assert alone(report) == ([], [])
    assert "  bar 2, beat " in compare_text(report)


def test_a_bar_put_in_shifts_nothing_else(tmp_path: Path) -> None:
    old = with_notes(3, TOO_MANY)
    new = [*old[:2], [note(n) for n in ("A5", "G5", "A5", "G5")], *old[2:]]
    report = compared(tmp_path, old, new)
    assert (told(report), alone(report)) == ([], (["3"], []))
    assert [f["bar"] for f in report["findings"] if f["severity"] == "error"] == ["4"]
    assert {f["state"] for f in report["findings"] if f["severity"] == "error"} == {"stayed"}
    back = compared(tmp_path, new, old)
    assert (told(back), alone(back)) == ([], ([], ["3"]))
    assert report["summary"]["line"].startswith("1 bar put in")
    assert "  bar 3 put in (5 notes).\n" in compare_text(report)
    assert "  bar 3 taken out, as numbered before (5 notes).\n" in compare_text(back)


def test_bars_put_in_and_taken_out_at_once_and_a_note_changed_between(tmp_path: Path) -> None:
    high, wide = ([note(n) for n in bar.split()] for bar in ("A5 G5 A5 G5", "D4 D5 D4 D5"))
    changed = [*PLAIN[2][:3], note("A4")]
    report = compared(tmp_path, [high, *PLAIN], [PLAIN[0], wide, PLAIN[1], changed])
    assert alone(report) == (["2"], ["1", "5"])
    assert told(report) == [("removed", "4", "4", "B4", "", ""), ("added", "4", "4", "A4", "", "")]


def test_what_it_did_to_the_risk_is_said_in_a_sentence(tmp_path: Path) -> None:
    old, new = with_notes(2, TOO_MANY), with_notes(4, TOO_MANY)
    states = {(f["state"], f["bar"]) for f in compared(tmp_path, old, new)["findings"]
              if f["severity"] == "error"}
    assert states == {("went", "2"), ("came", "4")}
    worse = compared(tmp_path, PLAIN, new)
    errors = sum(f["severity"] == "error" for f in worse["findings"])
    assert worse["summary"]["errors"] == {"before": 0, "after": errors}
    assert f"{errors} error{'s' if errors > 1 else ''} more (in bar 4)" in worse["summary"]["line"]
    better = compared(tmp_path, new, PLAIN)
    assert f"{errors} error{'s' if errors > 1 else ''} fewer" in better["summary"]["line"]
    assert "Findings that are gone" in compare_text(better)


def test_the_command_writes_its_report_and_ends_with_0_whatever_changed(tmp_path: Path) -> None:
    old = edition(tmp_path / "old.musicxml", PLAIN)
    new = edition(tmp_path / "new.musicxml", with_notes(2, TOO_MANY))
    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["compare", str(old), str(new), "-o", str(out)])
    assert done.exit_code == 0
    assert "Findings that are new" in done.stdout
    assert max(map(len, done.stdout.splitlines()[:-1])) <= 80
    report = json.loads((out / "report.json").read_text("utf-8"))
    assert (report["schema"], report["command"]) == (1, "compare")
    assert [p.name for p in out.iterdir()] == ["report.json"]


def test_a_bad_file_gets_one_line_and_nothing_is_written(tmp_path: Path) -> None:
    old, bad = edition(tmp_path / "old.musicxml", PLAIN), tmp_path / "bad.musicxml"
    bad.write_text("<score-partwise>")
    for pair in ([old, bad], [bad, old], [old, tmp_path / "none.musicxml"]):
        done = CliRunner().invoke(main, ["compare", *map(str, pair), "-o", str(tmp_path / "out")])
        assert done.exit_code == 3
        assert done.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()
