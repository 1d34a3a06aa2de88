"""The page in a browser: chosen, sifted, heard and read. Needs the `browser` extra and Chromium."""

from __future__ import annotations

import time
from array import array
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import pytest

from arranger.api import Request, convert
from arranger.report.page_time import draft_notes
from arranger.report.wording import beat_words
from tests import chromium  # noqa: F401 - skips where there is none
from tests.sample_report import page as render_page
from tests.sample_report import sample_draft, sample_report

ROOT = Path(__file__).parents[1]
SONG = ROOT.parent / "shared" / "data" / "piano" / "mutopia_LVB_Sonate_49no2_1.mxl"
WIDE, PHONE = {"width": 1400, "height": 900}, {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A demo score's page; what it says stands in ``report``."""
    result = convert(Request(ROOT / "corpus" / "the-mill-race" / "score.musicxml"))
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_bytes(result.files["report.html"])
    return SimpleNamespace(path=path, report=result.report)


@pytest.fixture
def opened(browser, made, request):
    """The page, opened; at the end the console must be empty and nothing asked of the network."""
    options = {"viewport": WIDE, **getattr(request, "param", {})}
    context = browser.new_context(**options)
    view = context.new_page()
    said, asked = [], []
    view.on("console", lambda message: said.append(message.text))
    view.on("pageerror", lambda error: said.append(str(error)))
    view.on("request", lambda asking: asked.append(asking.url))
    view.goto(made.path.as_uri())
    until(view, "document.querySelector('#pair svg')")
    yield view
    assert said == []
    assert asked == [made.path.as_uri()]
    context.close()


def until(view, what: str, seconds: float = 5.0) -> None:
    """Wait until an expression holds (Playwright's own wait would break the page's policy)."""
    end = time.monotonic() + seconds
    while not view.evaluate(f"Boolean({what})"):
        assert time.monotonic() < end, what
        view.wait_for_timeout(20)


def bar_name(made, index: int) -> str:
    number = made.report["bars"][index - 1]["bar"]
    return "Upbeat" if number == "0" else f"Bar {number}"


def first_mark(view) -> str:
    return view.evaluate("document.querySelector('.mark[id]').id")


def test_an_altered_note_leads_to_its_entry_and_back(opened, made):
    mark = first_mark(opened)
    entry = mark.removeprefix("mark-")
    opened.locator(f"#{mark}").click()
    assert "here" in opened.get_attribute(f"#{entry}", "class")
    bar = opened.evaluate(f"document.getElementById('{mark}').closest('.measure').id")
    assert opened.inner_text("#which") == bar_name(made, int(bar.removeprefix("bar-")))
    assert opened.locator(f"#here-notes a[href='#{entry}']").count() == 1
    opened.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    opened.locator(f"#{entry} > a").click()
    assert "here" in opened.get_attribute(f"#{mark}", "class")
    box = opened.locator(f"#{mark}").bounding_box()
    assert 0 < box["y"] < WIDE["height"]


def test_an_address_told_from_outside_chooses_its_bar(opened, made):
    # the workbench beside the page leads to a bar so
    for index in (9, 2):
        opened.evaluate(f"location.hash = 'bar-{index}'")
        until(opened, f"find('which').textContent === '{bar_name(made, index)}'")
    opened.evaluate("location.hash = 'pedals'")
    opened.wait_for_timeout(100)
    assert opened.inner_text("#which") == bar_name(made, 2)


def test_every_bar_can_be_chosen_and_shows_source_over_draft(opened, made):
    for index in (1, 9, len(made.report["bars"])):
        opened.locator(f".strip a[data-bar='{index}']").click()
        assert opened.inner_text("#which") == bar_name(made, index)
        drawn = opened.evaluate("[...document.querySelectorAll('#pair [data-note]')].map("
                                "n => [n.classList.contains('draft'), n.dataset.note])")
        told = {n["id"] for n in made.report["notes"] if n["bar_index"] == index}
        assert {name for draft, name in drawn if draft} == told
        assert any(not draft for draft, _ in drawn)


def test_the_bar_in_words_names_every_note(opened, made):
    opened.locator("#in-words summary").click()
    opened.locator(".strip a[data-bar='4']").click()
    said = opened.inner_text("#words")
    for note in made.report["notes"]:
        if note["bar_index"] == 4:
            assert note["string"].replace("#", "♯").replace("b", "♭") in said


def test_the_keys_walk_through_bars_and_entries(opened, made):
    opened.locator(".strip a[data-bar='3']").focus()
    opened.keyboard.press("ArrowRight")
    opened.keyboard.press("ArrowRight")
    assert opened.inner_text("#which") == bar_name(made, 5)
    assert opened.evaluate("document.activeElement.dataset.bar") == "5"
    opened.keyboard.press("ArrowLeft")
    assert opened.inner_text("#which") == bar_name(made, 4)
    assert opened.evaluate("document.querySelectorAll('.strip a[tabindex=\"0\"]').length") == 1
    opened.keyboard.press(" ")
    assert opened.evaluate("sound.playing.version") == "draft"
    opened.keyboard.press(" ")
    assert opened.evaluate("sound.playing") is None
    opened.locator(".entries a").first.focus()
    opened.keyboard.press("ArrowDown")
    assert opened.evaluate("document.querySelectorAll('.entries > li > a')[1]"
                           " === document.activeElement")


def test_kinds_can_be_sifted(opened):
    box = opened.locator("[data-sift]").first
    kind = box.get_attribute("data-sift")
    marks = opened.locator(f".mark[data-kind='{kind}']")
    assert marks.first.is_visible()
    box.uncheck()
    assert not marks.first.is_visible()
    assert not opened.locator(f".group[data-kind='{kind}']").is_visible()
    others = opened.locator(f".group:not([data-kind='{kind}'])")
    assert others.count() == 0 or others.first.is_visible()
    box.check()
    assert marks.first.is_visible()


def test_every_place_and_pedal_in_the_page_is_in_the_report(opened, made):
    places = opened.evaluate("[...document.querySelectorAll('.entries > li > a span')].map("
                             "a => a.textContent)")
    assert sorted(places) == sorted(f"bar {e['bar']}, beat {beat_words(e['beat'])}" for e in
                                    (*made.report["ledger"], *made.report["findings"]))
    moves = opened.evaluate("document.querySelectorAll('.chart .move').length")
    assert moves == len(made.report["pedals"]["moves"])


def test_what_is_heard_keeps_time_with_the_score(opened, made):
    opened.locator(".strip a[data-bar='2']").click()
    opened.locator("[data-play='draft']").click()
    until(opened, "sound.playing && sound.playing.log.length > 12")
    begun, log = opened.evaluate("[sound.data.bars[1][1], sound.playing.log]")
    state = opened.evaluate("sound.playing.on.context.state")
    told = {row[0]: row[1] for row in opened.evaluate("sound.data.draft")}
    assert state == "running"
    assert max(abs(when - (told[name] - begun)) for name, when in log) < 0.020
    until(opened, "document.querySelector('.sounding')")
    lit = opened.evaluate("[...document.querySelectorAll('#score .sounding')].map(n => n.id)")
    assert set(lit) <= {n["id"] for n in made.report["notes"]}
    opened.locator("#stop").click()
    assert opened.evaluate("[sound.playing, document.querySelectorAll('.sounding').length]") == [
        None, 0]
    assert opened.get_attribute("[data-play='draft']", "aria-pressed") == "false"


def test_source_and_draft_are_heard_at_any_tempo(opened):
    fast = opened.evaluate("sound.schedule('draft', 3, 1).map(r => r[1])")
    slow = opened.evaluate("sound.schedule('draft', 3, 0.5).map(r => r[1])")
    assert slow == pytest.approx([2 * at for at in fast])
    opened.evaluate("find('pace').value = 50; find('pace').dispatchEvent(new Event('input'))")
    tempo = opened.evaluate("sound.data.tempo")
    assert opened.input_value("#pace") == "50"
    assert float(opened.inner_text("#crotchet")) == pytest.approx(tempo / 2, abs=0.5)
    opened.locator("[data-play='source']").click()
    until(opened, "sound.playing && sound.playing.log.length > 2")
    assert opened.evaluate("sound.playing.version") == "source"
    assert opened.get_attribute("[data-play='source']", "aria-pressed") == "true"


def test_the_sound_itself_begins_where_the_notes_stand(browser, tmp_path):
    """Render the sample's two bars and look for the attacks: 0, 2, 4 and 6 crotchets at 90."""
    path = tmp_path / "report.html"
    path.write_text(render_page(sample_report(), sample_draft()), "utf-8")
    view = browser.new_page()
    view.goto(path.as_uri())
    # each note alone begins with its highest partials, which no older string still has
    heard = array("f", view.evaluate("sound.render('draft', 1, 5.2, 1, 16000)"
                                     ".then(samples => Array.from(samples))"))
    view.close()
    sharp = [c - 2 * b + a for a, b, c in zip(heard, heard[1:], heard[2:], strict=False)]
    window = 80  # 5 ms
    level = [sum(s * s for s in sharp[at:at + window]) for at in range(0, len(sharp), window)]
    rises = [k * window / 16000 for k in range(len(level))
             if level[k] > 4 * max([1e-9, *level[max(k - 4, 0):k]])]
    attacks = [at for before, at in pairwise([-1.0, *rises]) if at - before > 0.1]
    times = sorted({float(n.onset) * 60 / 90 for n in draft_notes(sample_report())})
    assert len(times) == 4
    assert len(attacks) == 4
    assert max(abs(at - told) for at, told in zip(attacks, times, strict=True)) < 0.020


def test_strings_ring_as_rule_p2_says(opened):
    from arranger.plan.ring import T60
    for midi in (24, 43, 60, 84, 103):
        assert opened.evaluate(f"sound.ring({midi})") == pytest.approx(float(T60[midi]), rel=1e-6)


@pytest.mark.parametrize("opened", [{"viewport": PHONE}], indirect=True)
def test_a_telephone_gets_short_lines_and_no_sideways_scrolling(opened, made):
    opened.wait_for_selector(".sheet.short")
    assert opened.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    shown = opened.evaluate("[...document.querySelectorAll('#score .note[id]')].map(n => n.id)")
    assert {n["id"] for n in made.report["notes"]} <= set(shown)
    assert len(shown) == len(set(shown))
    assert opened.locator("#bar .hear").is_visible()
    assert not opened.locator("#pair").is_visible()
    opened.locator("#fold").click()
    assert opened.locator("#pair svg").first.is_visible()
    opened.locator("#fold").click()
    mark = first_mark(opened)
    opened.evaluate(f"document.getElementById('{mark}').scrollIntoView({{block: 'start'}})")
    opened.locator(f"#{mark}").click()
    assert "here" in opened.get_attribute(f"#{mark.removeprefix('mark-')}", "class")


@pytest.mark.parametrize("opened", [
    {"viewport": size, "color_scheme": scheme} for size in (WIDE, PHONE)
    for scheme in ("light", "dark")], indirect=True)
def test_axe_finds_no_serious_fault(opened):
    spec = find_spec("axe_playwright_python")
    if spec is None:
        pytest.skip("axe-playwright-python is not installed; it comes with the browser extra")
    script = Path(next(iter(spec.submodule_search_locations))) / "axe.min.js"
    opened.evaluate(script.read_text("utf-8"))
    found = opened.evaluate("axe.run(document).then(done => done.violations.map("
                            "v => [v.impact, v.id, v.nodes[0].html.slice(0, 200)]))")
    assert found == []


def test_colours_stand_off_the_paper(opened):
    """The contrast axe cannot see, of what is drawn: WCAG asks 4.5 of text, 3 of shapes."""
    for scheme in ("light", "dark"):
        opened.emulate_media(color_scheme=scheme)
        colours = opened.evaluate(
            "Object.fromEntries(['paper', 'ink', 'soft', 'c', 'f'].map(name => [name, "
            "getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim()]))")
        for name in ("ink", "soft", "c", "f"):
            assert contrast(colours[name], colours["paper"]) > 4.5


def contrast(one: str, other: str) -> float:
    def light(colour: str) -> float:
        digits = colour[1:] if len(colour) == 7 else "".join(c + c for c in colour[1:])
        parts = [int(digits[k:k + 2], 16) / 255 for k in (0, 2, 4)]
        lit = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * lit[0] + 0.7152 * lit[1] + 0.0722 * lit[2]
    dark, bright = sorted((light(one), light(other)))
    return (bright + 0.05) / (dark + 0.05)


def test_it_prints_without_what_only_a_screen_can_do(opened, tmp_path):
    opened.emulate_media(media="print")
    for name in (".hear", ".pace", ".sieve", ".skip"):
        assert not opened.locator(name).first.is_visible()
    assert opened.locator(".entries").first.is_visible()
    opened.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True)
    assert (tmp_path / "page.pdf").stat().st_size > 20_000


def test_without_a_script_every_link_still_works(browser, made):
    context = browser.new_context(viewport=WIDE, java_script_enabled=False)
    view = context.new_page()
    view.goto(made.path.as_uri())
    assert not view.locator("#bar").is_visible()
    assert view.locator(".entries > li").first.is_visible()
    view.locator(".entries > li > a").first.click()
    assert "#mark-" in view.url or "#bar-" in view.url
    context.close()


def test_a_song_of_a_hundred_bars_opens_at_once(browser, tmp_path):
    if not SONG.exists():
        pytest.skip("the shared scores are not beside the project")
    result = convert(Request(SONG))
    assert len(result.report["bars"]) >= 100
    html = result.files["report.html"]
    assert len(html) < 3_000_000
    path = tmp_path / "report.html"
    path.write_bytes(html)
    times = []
    for _ in range(3):  # the best of three: the machine has other work
        view = browser.new_page(viewport=WIDE)
        view.goto(path.as_uri())
        times.append(view.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd"))
        view.close()
    assert 0 < min(times) < 1500
