"""The page: complete, linked both ways, escaped, self-contained, the same in every run."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from html import escape
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from arranger.model.harp import PEDALS, PedalSetting
from arranger.report import engraver
from arranger.report.diagram import setting_svg, setting_words
from arranger.report.html import drawn_for
from arranger.report.html import page as page_of_drawn
from arranger.report.page_marks import alteration_items, finding_items, letters
from arranger.report.page_score import read_written
from arranger.report.page_time import Source
from arranger.report.wording import CAUTION, KINDS
from tests.engraver_fakes import CRASHES, HANGS, MISSING, ONLY_WIDE, REFUSES, fake_verovio
from tests.sample_report import page, sample_draft, sample_report

HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;{{7*7}}"
SCRIPTS = 4  # the script, and three stores of what it shows and plays
VOID = {"meta", "input", "br", "img", "link"}


class Reader(HTMLParser):
    """Collects ids, links and tag balance; HTML's tag soup rules are not needed here."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[tuple[str, str]] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(k, v or "") for k, v in attrs]
        found = dict(attrs)
        if "id" in found:
            self.ids.append(found["id"])
        if "href" in found:
            self.links.append((tag, found["href"]))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self._open.pop()

    def handle_endtag(self, tag):
        assert self._open.pop() == tag


@pytest.fixture(scope="module")
def html() -> str:
    return page(sample_report(), sample_draft())


def mark_ids(text: str) -> set[str]:
    return {i for i in Reader(text).ids if i.startswith("mark-")}


def test_every_link_leads_somewhere_and_ids_are_unique(html):
    found = Reader(html)
    assert len(found.ids) == len(set(found.ids))
    assert found.links
    for _, address in found.links:
        assert address.startswith("#")
        assert address[1:] in found.ids


def test_the_notes_keep_their_ids(html):
    assert {f"n{k}" for k in range(1, 9)} <= set(Reader(html).ids)


def test_every_entry_is_marked_and_linked_both_ways(html):
    report = sample_report()
    entries = [f"alteration-{k}" for k in range(1, len(report["ledger"]) + 1)]
    entries += [f"finding-{letters(k)}" for k in range(len(report["findings"]))]
    assert mark_ids(html) == {f"mark-{e}" for e in entries}
    addresses = [address for _, address in Reader(html).links]
    for entry in entries:
        assert f"#{entry}" in addresses
        assert f"#mark-{entry}" in addresses


def test_marks_stand_on_their_notes(html):
    score = re.search(r'<svg[^>]*class="engraving".*?</svg></div></section>', html, re.DOTALL)
    assert score is not None
    tree = ET.fromstring(score[0].removesuffix("</div></section>"))
    on = {link.get("id"): group.get("id")
          for group in tree.iter("g") for link in group.findall("a")}
    # by hand from the sample: 1 drop near n2/n4 (54 is nearest to Ab2 44), 2 repitch n1, 3 octave
    # n5, 4 respell n2, 5 hand n7; finding a (the error) on n8, b on n4 by its source id
    assert on == {"mark-alteration-1": "n4", "mark-alteration-2": "n1", "mark-alteration-3": "n5",
                  "mark-alteration-4": "n2", "mark-alteration-5": "n7", "mark-finding-a": "n8",
                  "mark-finding-b": "n4"}


def test_shapes_tell_the_kinds_apart():
    report = sample_report()
    shapes = {i.entry["kind"]: i.marks[0].shape for i in alteration_items(report)}
    assert shapes == {"drop": "caret", "repitch": "ring", "octave": "ring", "respell": "box",
                      "hand": "box"}
    assert [i.marks[0].grave for i in finding_items(report)] == [True, False]


def test_a_mark_says_in_words_what_it_is(html):
    assert 'aria-label="1: bar 1, beat 3, left out. reason 1"' in html
    assert "<title>2: bar 1, beat 1, other note of the harmony. reason 2</title>" in html


def test_a_chord_is_numbered_once():
    report = sample_report()
    report["findings"] = [{**report["findings"][0], "notes": ["n5", "n6", "n5-double"]}]
    item = finding_items(report)[0]
    assert [(m.note, m.sign, m.id) for m in item.marks] == [
        ("n5", "a", "mark-finding-a"), ("n6", "", "")]


def test_an_entry_without_notes_at_its_place_leads_to_its_bar():
    report = sample_report()
    report["ledger"][0]["onset"] = "3"
    assert '<li id="alteration-1"><a href="#bar-1">' in page(report, sample_draft())


def test_every_kind_can_be_shown():
    report = sample_report()
    report["ledger"] = [{**report["ledger"][1], "kind": kind, "id": kind} for kind in KINDS]
    text = page(report, sample_draft())
    for kind, words in KINDS.items():
        assert kind == "octave" or f"{words.capitalize()} <small>" in text


def test_the_verdict_the_lists_and_the_caution(html):
    assert '<p class="verdict grave">The draft needs you at bar 2.</p>' in html
    assert "Findings <small>2</small>" in html
    assert "Alterations <small>5</small>" in html
    assert "Cannot be played <small>1</small>" in html
    assert "D5 to E♭5" in html
    assert "drop the doubling <small>other sound, weight +12</small>" in html
    assert CAUTION in html


def test_pedals(html):
    assert html.count("<caption>") == 3
    assert "<caption>Bars 1-2</caption>" in html
    assert re.search(r'<a href="#bar-1">1</a></th><td>3</td><td>F♯ </td>'
                     r'<td><span class="two"[^>]*>D♯</span> </td>', html)
    # opening and bar 2 in the list, and both in the score
    words = "D natural, C natural, B flat; right foot E flat, F natural, G natural, A flat"
    assert html.count(f'aria-label="Pedals: left foot {words}"') == 4


def test_costs_are_sorted_and_the_gap_is_told(html):
    table = html[html.index("What weighed against it"):]
    assert table.index("fidelity") < table.index(">feet<") < table.index("<tfoot>")
    assert "of the hands" not in table[:table.index("</table>")]  # a term of 0 is left out
    assert "no draft can weigh less than 50; this one is at most 2 above the best." in html
    kept = {**sample_report(), "stays": 1}
    assert "at most 2 above the best, 1 of them to leave what is written" in page(
        kept, sample_draft())
    proven = {**sample_report(), "bound": 52}
    assert "none weighs less" in page(proven, sample_draft())


def test_headings_descend_without_a_gap(html):
    levels = [int(t[1]) for t in Reader(html).tags if re.fullmatch(r"h[1-6]", t)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_nothing_is_loaded_from_anywhere(html):
    assert not re.search(r"(?:src|href|action|data)\s*=\s*[\"'](?!#)", html)
    assert "@import" not in html
    assert "url(http" not in html
    assert "default-src 'none'" in html


def test_same_bytes_again():
    assert page(sample_report(), sample_draft()) == page(sample_report(), sample_draft())


def test_same_bytes_in_another_process(html):
    code = ("from tests.sample_report import *; import sys;"
            "sys.stdout.buffer.write(page(sample_report(), sample_draft()).encode())")
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True,
                         cwd=Path(__file__).parents[1])
    assert run.stdout.decode() == html


def hostile(value):
    """Replace every free text of a report; keys, numbers and what the code branches on stay."""
    kept = {"kind", "severity", "hand", "foot", "pedal", "onset", "beat", "duration", "fidelity",
            "bar", "id", "source_ids", "string", "bpm"}
    if isinstance(value, dict):
        return {k: v if k in kept else hostile(v) for k, v in value.items()}
    if isinstance(value, list):
        return [hostile(v) for v in value]
    return HOSTILE if isinstance(value, str) else value


def test_hostile_words_do_nothing():
    report = hostile(sample_report())
    report["ledger"][0]["bar"] = report["findings"][0]["bar"] = HOSTILE
    report["pedals"]["moves"][0]["bar"] = HOSTILE
    report["cost"][HOSTILE] = 3
    text = page(report, sample_draft(escape(HOSTILE)))
    found = Reader(text)
    assert found.tags.count("script") == SCRIPTS
    assert "img" not in found.tags
    assert not [name for name, _ in found.attributes if name.startswith("on")]
    assert text.count("&lt;script&gt;alert(1)") > 10


def test_hostile_ids_and_words_in_the_draft():
    draft = sample_draft().replace(
        b"<words>F", f"<words>{escape(HOSTILE)}".encode()).replace(
        b'id="n8"', b'id="x&quot; onload=&quot;alert(3)"').replace(
        b"<part-name>Harp", f"<part-name>{escape(HOSTILE)}".encode())
    found = Reader(page(sample_report(), draft))
    assert found.tags.count("script") == SCRIPTS
    assert not [name for name, _ in found.attributes if name.startswith("on")]


@pytest.mark.parametrize("draft", [
    b"", b"<score-partwise", b"<x/>", b"\xff\xfe\x00", b"<score-partwise version='4.0'/>"])
def test_a_draft_that_cannot_be_drawn_still_gives_the_lists(draft):
    text = page(sample_report(), draft)
    assert '<p class="problem" role="alert">The draft could not be read' in text
    assert "D5 to E♭5" in text
    assert "<h3>Moves</h3>" in text
    found = Reader(text)
    assert all(address[1:] in found.ids for _, address in found.links)


@pytest.mark.parametrize(("fake", "words"), [
    (MISSING, "The verovio library is not installed, so the score is not shown."),
    (REFUSES, "The engraver cannot draw this draft"),
    (CRASHES, "The engraver gave up on this score")])
def test_without_an_engraving_the_page_says_so(fake, words, monkeypatch, tmp_path):
    fake_verovio(fake, tmp_path, monkeypatch)
    text = page(sample_report(), sample_draft())
    assert text.count('<p class="problem"') == 1
    assert f'<p class="problem" role="alert">{words}' in text
    assert "Alterations <small>5</small>" in text


def test_what_else_could_not_be_engraved_is_said_above_the_score(monkeypatch, tmp_path):
    fake_verovio(ONLY_WIDE, tmp_path, monkeypatch)
    drawn = drawn_for(sample_report(), sample_draft(), Source(sample_draft()))
    assert len(drawn.wide.pages) == 1
    assert [words.partition(",")[0] for words in drawn.problems] == [
        "The score could not be engraved for narrow screens",
        "Source and draft could not be engraved bar above bar"]
    text = page_of_drawn(sample_report(), drawn)
    assert text.count('<p class="problem"') == 2
    assert '<section class="sheet">' in text


def test_an_engraver_that_never_comes_back_is_ended(monkeypatch, tmp_path):
    fake_verovio(HANGS, tmp_path, monkeypatch)
    monkeypatch.setattr(engraver, "LEAST", 1)
    begun = time.process_time()
    found, = engraver.engraved(("<x/>", {}))
    assert found.problem.startswith("The engraver gave up")
    assert time.process_time() - begun < 1


def test_entity_bombs_are_not_expanded():
    levels = "".join(f'<!ENTITY a{k + 1} "{f"&a{k};" * 10}">' for k in range(12))
    bomb = (f'<!DOCTYPE s [<!ENTITY a0 "ha">{levels}]><score-partwise><work><work-title>&a12;'
            "</work-title></work></score-partwise>").encode()
    assert read_written(bomb).xml == ""


def test_written_settings_and_title():
    written = read_written(sample_draft("Mill &amp; race"))
    assert written.title == "Mill & race"
    assert written.bars == ("1", "2")
    setting = PedalSetting.parse("Bb Eb Ab")
    assert written.settings == ((1, setting), (2, setting))


def test_a_check_or_a_lever_harp_is_shown_too():
    report = sample_report()
    del report["ledger"], report["pedals"], report["bound"]
    text = page(report, sample_draft())
    assert "Not to be played as written: bar 2." in text
    assert "Alterations" not in text
    assert "<h2>Pedals</h2>" not in text


def test_low_strings_to_tune_are_named():
    report = sample_report()
    report["pedals"]["tuned"] = {"C1": -1}
    assert "<strong>Before the start tune by hand: C♭1.</strong>" in page(report, sample_draft())


@pytest.mark.parametrize(("number", "said"), [(0, "a"), (25, "z"), (26, "aa"), (701, "zz"),
                                              (702, "aaa")])
def test_letters(number, said):
    assert letters(number) == said


def pegs(setting: PedalSetting) -> list[tuple[float, float]]:
    """Return (x, middle height above the line) of each peg, read from the drawing."""
    svg = setting_svg(setting)
    line = float(re.search(r"M0 (\d+)H", svg)[1])
    found = re.findall(r'stroke-width="3" d="M([\d.]+) ([\d.]+)v([\d.]+)"', svg)
    return [(float(x), line - (float(top) + float(height) / 2)) for x, top, height in found]


def test_diagram_pegs():
    drawn = pegs(PedalSetting.parse("Db C# Bb E Fb G A#"))
    assert [(h > 0) - (h < 0) for _, h in drawn] == [1, -1, 1, 0, 1, 0, -1]
    places = [x for x, _ in drawn]
    assert places == sorted(places)
    stroke = float(re.search(r"H\d+M([\d.]+) ", setting_svg(PedalSetting()))[1])
    assert places[2] < stroke < places[3]  # between B and E


def test_diagram_letters_and_words():
    svg = setting_svg(PedalSetting.parse("C# Ab"))
    assert "".join(re.findall(r">([A-G])</text>", svg)) == PEDALS
    assert setting_words(PedalSetting.parse("C# Ab")) == (
        "left foot D natural, C sharp, B natural; "
        "right foot E natural, F natural, G natural, A flat")
    assert ET.fromstring(svg).get("role") == "img"
