"""What is said once for several bars keeps each of them."""

from __future__ import annotations

from pathlib import Path

from lxml import etree

from arranger.api import Request, check, compare
from arranger.report.page_strip import bar_strip
from arranger.report.wording import bars, verdict
from tests.handwritten import chord, note
from tests.test_check_marks import harp

GOOD = note("E4", 16)
CLASH = chord("F4 F#4", 16)  # one string, two pitches


def written(path: Path, *bars: str) -> Path:
    path.write_bytes(etree.tostring(harp(*bars)))
    return path


def test_every_bar_is_named(tmp_path: Path) -> None:
    path = written(tmp_path / "part.musicxml", GOOD, CLASH, GOOD, CLASH, CLASH)
    report = check(Request(path)).report
    errors = [f for f in report["findings"] if f["severity"] == "error"]
    assert len(errors) == 1
    assert [p["bar"] for p in errors[0]["places"]] == ["2", "4", "5"]
    assert bars(errors) == "bars 2, 4-5"
    assert verdict(report) == "not to be played as written: bars 2, 4-5."
    strip = bar_strip(report, report["bars"])
    assert strip.count('class="beyond') == 3


def test_editions_are_compared_bar_by_bar(tmp_path: Path) -> None:
    old = written(tmp_path / "old.musicxml", GOOD, CLASH, GOOD, CLASH, CLASH)
    new = written(tmp_path / "new.musicxml", GOOD, GOOD, GOOD, GOOD, CLASH)
    report = compare(Request(old), new).report
    assert report["summary"]["errors"] == {"before": 3, "after": 1}
    assert "2 errors fewer" in report["summary"]["line"]
    assert "new in" not in report["summary"]["line"]
    assert [(f["state"], f["bar"]) for f in report["findings"] if f["severity"] == "error"] == [
        ("went", "2"), ("went", "4"), ("stayed", "5")]
