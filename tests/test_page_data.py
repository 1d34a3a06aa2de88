"""What the page shows equals the report: pitches, bars, pedals, alterations, times."""

from __future__ import annotations

import re
from fractions import Fraction
from html import unescape
from pathlib import Path
from types import SimpleNamespace

import pytest

from arranger.api import Request, convert
from arranger.model.score import TempoMap, TempoMark
from arranger.report.page_drafts import whole_drafts
from arranger.report.page_feet import pedal_chart
from arranger.report.page_strip import bar_words
from arranger.report.page_time import GRACE, ROLL, Heard, as_script, moments
from arranger.report.wording import beat_words, note_label
from tests.page_reading import engravings, notes, stored
from tests.sample_report import page, sample_draft, sample_report

CORPUS = Path(__file__).parents[1] / "corpus"
PARTS = {"lantern-on-the-water": "Piano", "the-mill-race": "Piano"}
SIGN = {-1: "flat", 0: "natural", 1: "sharp"}


@pytest.fixture(scope="module", params=sorted(PARTS))
def made(request):
    result = convert(Request(CORPUS / request.param / "score.musicxml", (PARTS[request.param],)))
    html = result.files["report.html"].decode()
    return SimpleNamespace(report=result.report, html=html, pages=engravings(html))


def bare(name: str) -> str:
    return re.sub("[#b]", "", name)


def test_every_note_is_drawn_once_in_its_bar_on_the_line_of_its_string(made):
    told = {n["id"]: n for n in made.report["notes"]}
    seen = [n for n in notes(made.pages) if n.id in told]
    assert len(seen) == len(told) == len({n.id for n in seen})
    assert [(n.id, n.bar) for n in seen
            if n.bar != told[n.id]["bar_index"] and not told[n.id]["grace"]] == []
    assert [(n.id, n.either) for n in seen if bare(told[n.id]["string"]) not in n.either] == []


def test_the_short_lines_for_a_telephone_show_the_same(made):
    from xml.etree import ElementTree as ET
    short = [ET.fromstring(svg) for svg in stored(made.html, "narrow")]
    told = {n["id"] for n in made.report["notes"]}  # read by height; others may lie between staves
    drawn = {n.id: n for n in notes(made.pages)}
    again = {n.id: n for n in notes(short)}
    assert drawn.keys() == again.keys()
    assert [(n.id, n.bar, n.either) for n in again.values() if n.bar != drawn[n.id].bar or (
        n.id in told and not n.either & drawn[n.id].either)] == []


def test_the_pair_of_a_bar_shows_source_and_draft(made):
    from xml.etree import ElementTree as ET
    pairs = [ET.fromstring(svg) for svg in stored(made.html, "pairs")]
    assert len(pairs) == len(made.report["bars"])
    told = {n["id"]: n for n in made.report["notes"]}
    draft: dict[str, str] = {}
    source: dict[str, str] = {}
    for bar, pair in enumerate(pairs, 1):
        staves = pair.find(".//g[@class='measure']").findall("g[@class='staff']")
        assert len(staves) == 4
        kinds = [{g.get("class") for g in s.iter("g") if g.get("data-note")} for s in staves]
        assert all(k <= {"note source"} for k in kinds[:2])
        assert all(k <= {"note draft"} for k in kinds[2:])
        for seen in notes([pair], "data-note"):
            if seen.id:
                assert told.get(seen.id, {"bar_index": bar})["bar_index"] == bar
        for number, side in enumerate((source, source, draft, draft)):
            side |= {g.get("data-note"): "" for g in staves[number].iter("g")
                     if g.get("data-note")}
    assert set(draft) == set(told)
    gone = {b["id"] for e in made.report["ledger"] for b in e["before"] if not e["after"]}
    joined = {s for n in made.report["notes"] for s in n["source_ids"]}
    assert set(told) | gone <= set(source) <= joined | gone


def test_bars_are_numbered_as_printed(made):
    numbers = [b["bar"] for b in made.report["bars"]]
    assert [b[0] for b in stored(made.html, "time")["bars"]] == numbers
    strip = re.findall(r'<li><a href="#bar-(\d+)" data-bar="\d+" class="[a-z ]+" '
                       r'aria-label="(Upbeat|Bar [^:"]+): ', made.html)
    assert strip == [(str(k), "Upbeat" if number == "0" else f"Bar {number}")
                     for k, number in enumerate(numbers, 1)]
    ids = re.findall(r'id="bar-(\d+)"', made.html)
    assert [int(k) for k in ids] == list(range(1, len(numbers) + 1))


def test_every_pedal_move_is_on_the_chart_and_in_the_table(made):
    moves = made.report["pedals"]["moves"]
    drawn = [unescape(t) for t in re.findall(r'<g class="move"><title>(.*?)</title>', made.html)]
    assert sorted(drawn) == sorted(
        f"bar {m['bar']}, beat {beat_words(m['beat'])}: {m['pedal']} to {SIGN[m['to']]}, "
        f"{'two notches, ' if abs(m['to'] - m['from']) == 2 else ''}"
        f"{'left' if m['foot'] == 'L' else 'right'} foot" for m in moves)
    table = re.findall(r"([A-G][♭♮♯]) ", " ".join(
        re.findall(r"<td>((?:[^<]|<span[^>]*>|</span>)*)</td>", made.html)))
    assert len(table) + made.html.count('class="two" title=') == len(moves)


def test_every_alteration_and_finding_is_listed_with_its_place(made):
    ledger, findings = made.report["ledger"], made.report["findings"]
    rows = re.findall(r'<li id="(alteration|finding)-\w+"[^>]*><a href="#[^"]+"><b>\w+</b>'
                      r"<span>(bar [^<]+)</span></a> (.*?)</li>", made.html, re.DOTALL)
    for kind, entries in (("alteration", ledger), ("finding", findings)):
        assert sorted(place for k, place, _ in rows if k == kind) == sorted(
            f"bar {e['bar']}, beat {beat_words(e['beat'])}" for e in entries)
    shown = " ".join(text for k, _, text in rows if k == "alteration")
    for entry in ledger:
        for side in (entry["before"], entry["after"]):
            assert all(note_label(n["name"]) in shown for n in side)


def seconds(report: dict, onset: str) -> Fraction:
    """Reckon the time of an onset anew, in exact numbers."""
    at, marks, total = Fraction(onset), report["tempo"], Fraction(0)
    for mark, after in zip(marks, [*marks[1:], None], strict=True):
        begin = Fraction(mark["onset"])
        end = at if after is None else min(at, Fraction(after["onset"]))
        total += max(end - begin, Fraction(0)) * 60 / Fraction(mark["bpm"])
    return total


def test_the_schedule_holds_every_note_at_its_time(made):
    data = stored(made.html, "time")
    rows = {row[0]: row for row in data["draft"]}
    assert len(rows) == len(data["draft"]) == len(made.report["notes"])
    for note in made.report["notes"]:
        row = rows[note["id"]]
        assert row[2:6] == [note["midi"], note["string"], note["hand"], note["bar_index"]]
        if not note["grace"] and not note["rolled"]:
            assert abs(row[1] - float(seconds(made.report, note["onset"]))) < 1e-4
    assert [b[1] for b in data["bars"]] == pytest.approx(
        [float(seconds(made.report, b["onset"])) for b in made.report["bars"]], abs=1e-4)
    # the source as the ledger tells it: after goes, before comes
    told = sorted((n["onset"], n["midi"]) for n in made.report["notes"] if not n["grace"])
    for entry in made.report["ledger"]:
        if entry["grace"]:
            continue
        for note in entry["after"]:
            told.remove((note["onset"], note["midi"]))
        told += [(n["onset"], n["midi"]) for n in entry["before"]]
    assert len(data["source"]) >= len(told)
    heard = {row[0]: row[2] for row in data["source"]}
    assert all(heard[n["id"]] == n["midi"] for e in made.report["ledger"] for n in e["before"])


def test_the_page_is_small(made):
    assert len(made.html.encode()) < 3_000_000 * max(len(made.report["bars"]) / 100, 0.5)


TEMPO = TempoMap((TempoMark(Fraction(0), Fraction(60)), TempoMark(Fraction(4), Fraction(120))))


def heard(name: str, onset: int, midi: int, rolled: bool = False, grace: bool = False) -> Heard:
    return Heard(name, Fraction(onset), Fraction(0 if grace else 1), midi, rolled=rolled)


def test_graces_come_before_and_a_roll_ends_on_the_beat():
    some = [heard("a", 6, 60), heard("g", 6, 62, grace=True), heard("h", 6, 64, grace=True),
            heard("low", 4, 48, rolled=True), heard("mid", 4, 55, rolled=True),
            heard("top", 4, 64, rolled=True)]
    times = {note.id: at for at, note in moments(some, TEMPO)}
    assert times["a"] == 5.0  # four seconds at 60, then two quarters at 120
    assert times["h"] == pytest.approx(5.0 - float(GRACE) / 2)
    assert times["g"] == pytest.approx(5.0 - float(GRACE))
    assert [times[n] for n in ("low", "mid", "top")] == pytest.approx([4 - 2 * ROLL, 4 - ROLL, 4])


def test_nothing_begins_before_the_start():
    times = [at for at, _ in moments([heard("g", 0, 60, grace=True), heard("r", 0, 50, True),
                                      heard("s", 0, 60, True)], TEMPO)]
    assert min(times) == 0.0


def test_a_store_cannot_be_left():
    assert "<" not in as_script({"a": "</script><!--", "b": "\u2028"})


def test_lanes_run_high_for_flat_and_low_for_sharp():
    """The sample opens with E flat and moves F to sharp and back."""
    chart = pedal_chart(sample_report())
    lanes = re.findall(r'class="natural" d="M\d+ (\d+)H[^"]*"/><path class="lane" d="([^"]*)"',
                       chart)
    assert len(lanes) == 7
    heights = [[int(y) for y in re.findall(r"(?:M\d+ |V)(\d+)", path)] for _, path in lanes]
    above = [[int(middle) - y for y in ys] for (middle, _), ys in zip(lanes, heights, strict=True)]
    signs = [[(y > 0) - (y < 0) for y in ys] for ys in above]
    # D C B E F G A: the sample's D moves from flat, although it opens natural
    assert signs == [[0, -1], [0], [1], [1], [0, -1, 0], [0], [1]]
    assert "two notches, left foot" in chart


def test_levers_stand_in_words_and_each_move_in_the_table():
    report = sample_report()
    del report["pedals"]
    report["levers"] = {"opening": {"F4": 1}, "words": "F sharp", "moves": [
        {"bar": "2", "bar_index": 2, "beat": "1", "onset": "4", "seconds": 2.667, "string": "F4",
         "from": 1, "to": 0}]}
    text = page(report, sample_draft())
    section = re.search(r'<section id="levers".*?</section>', text, re.DOTALL)[0]
    assert "F sharp" in section
    assert '<a href="#bar-2">2</a>' in section
    assert "F♮4" in section


def test_a_bar_in_words():
    finding = {"severity": "warning"}
    assert bar_words("12", [finding, finding], [{"fidelity": "other-sound"}], 3) == (
        "Bar 12: against the idiom 2; otherwise sounding 1; pedal moves 3")
    assert bar_words("1", [], [], 0) == "Bar 1: nothing to note"


def test_whole_drafts_only_where_there_are_any():
    assert whole_drafts(sample_report()) == ""
    drafts = [{"title": "fewest moves", "cost": {"total": 9}, "summary": {
        "notes_kept": 0.95, "alterations": 12, "pedal_moves": 4, "errors": 0}},
        {"title": "every note", "cost": {"total": 7}, "summary": {
            "notes_kept": 1.0, "alterations": 3, "pedal_moves": 30, "errors": 0}}]
    text = page({**sample_report(), "drafts": drafts}, sample_draft())
    assert "<b>A</b> fewest moves</th><td>95\u00a0%</td><td>12</td><td>4</td>" in text
    assert text.count("<circle") == 2
