"""The workbench in a browser: dropped, arranged, chosen, heard, restarted, taken home."""

from __future__ import annotations

import base64
import json
import time
from importlib.util import find_spec
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.chromium import expect
from tests.test_web import Serving

if find_spec("axe_playwright_python") is None:
    pytest.skip("axe is not installed; it comes with the browser extra", allow_module_level=True)
ROOT = Path(__file__).parents[1]
WIDE, PHONE = {"width": 1400, "height": 900}, {"width": 390, "height": 844}
SLOW = 120_000
DROP = """(zone, [name, content]) => {
  const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
  const carried = new DataTransfer();
  carried.items.add(new File([bytes], name));
  for (const kind of ["dragenter", "dragover", "drop"])
    zone.dispatchEvent(new DragEvent(kind, { bubbles: true, cancelable: true,
                                             dataTransfer: carried }));
}"""


def opening_bars(count: int) -> bytes:
    """The first bars of a demo song, which has notes to be spelled anew."""
    tree = ElementTree.parse(ROOT / "corpus" / "lantern-on-the-water" / "score.musicxml")
    for part in tree.getroot().findall("part"):
        for bar in part.findall("measure")[count:]:
            part.remove(bar)
    return ElementTree.tostring(tree.getroot())


@pytest.fixture
def started(tmp_path):
    """Start servers over one folder; whatever a test finds, they are ended."""
    servers = []

    def start(port=0):
        servers.append(Serving(tmp_path / "folder", port))
        return servers[-1]
    yield start
    for server in servers:
        server.process.kill()
        server.process.communicate()


class Desk:
    """A browser tab before the workbench; what the console said and what was asked of whom."""

    def __init__(self, browser, server, **options) -> None:
        self.context = browser.new_context(viewport=WIDE, accept_downloads=True) \
            if not options else browser.new_context(**options)
        self.view, self.said, self.asked = self.context.new_page(), [], []
        self.view.on("console", lambda message: self.said.append(message.text))
        self.view.on("pageerror", lambda error: self.said.append(str(error)))
        self.view.on("request", lambda asking: self.asked.append(asking.url))
        self.view.goto(f"http://127.0.0.1:{server.port}/")

    def until_said(self, words):
        expect(self.view.locator("#said")).to_have_text(words, timeout=SLOW)

    def close(self, port):
        assert self.said == []
        assert [u for u in self.asked if not u.startswith(
            (f"http://127.0.0.1:{port}/", "data:", "blob:"))] == []
        self.context.close()


def axe(view):
    places = find_spec("axe_playwright_python").submodule_search_locations
    script = Path(next(iter(places))) / "axe.min.js"
    view.evaluate(script.read_text("utf-8"))
    found = view.evaluate("axe.run(document, {iframes: false}).then(done => done.violations.map("
                          "v => [v.impact, v.id, v.nodes[0].html.slice(0, 200)]))")
    return [f for f in found if f[0] in ("serious", "critical", "moderate")]


def test_from_the_drop_to_the_part_taken_home(browser, started):
    """The whole way a harpist goes, with a restart of the server in the middle."""
    server = started()
    desk = Desk(browser, server)
    view, port = desk.view, server.port
    content = base64.b64encode(opening_bars(6)).decode()
    view.locator("#lay").evaluate(DROP, ["My lantern.musicxml", content])
    expect(view.locator("h1")).to_have_text("Lantern on the Water", timeout=20_000)
    view.get_by_role("button", name="Make the harp draft").click(timeout=SLOW)
    expect(view.get_by_role("button", name="Stop")).to_be_visible()
    desk.until_said("The draft is made.")

    sheet = view.frame_locator("#sheet iframe")
    mark = sheet.locator(".mark[id]").first
    mark.locator("path").click(timeout=SLOW)
    name = mark.get_attribute("id").removeprefix("mark-")
    expect(sheet.locator(f"#{name}")).to_have_class("here")

    sheet.locator("[data-play='draft']").first.click()
    frame = next(f for f in view.frames if "report.html" in f.url)
    end = time.monotonic() + 10
    while not frame.evaluate("sound.playing && sound.playing.log.length > 2"):
        assert time.monotonic() < end
        view.wait_for_timeout(30)
    log = frame.evaluate("sound.playing.log")
    told = {row[0]: row[1] for row in frame.evaluate("sound.data.draft")}
    first = min(told[n] for n, _ in log)
    assert max(abs(when - (told[n] - first)) for n, when in log) < 0.020

    view.get_by_label("printed bars").fill("3-4")
    view.get_by_role("button", name="Look for other ways").click()
    desk.until_said("Other ways are listed.")
    way = view.locator("[data-take]").first
    taken = way.get_attribute("data-take")
    way.click()
    desk.until_said("Your choice is in the draft.")
    expect(view.locator(".options strong")).to_have_text("chosen")
    expect(view.locator(".chosen").first.locator("li")).to_have_count(1)

    view.reload()
    expect(view.locator(".options strong")).to_have_text("chosen")
    desk.said, kept = [], desk.said
    assert kept == []
    assert server.end()[0] == 0
    expect(view.locator("#said")).to_contain_text("nothing is lost", timeout=20_000)
    server = started(port)
    desk.until_said("Your choice is in the draft.")
    assert all("ERR_CONNECTION_REFUSED" in line for line in desk.said), desk.said
    desk.said = []  # the browser itself tells of refused connections

    with view.expect_download() as waiting:
        view.get_by_role("link", name="the part, to print").click()
    assert waiting.value.suggested_filename == "Lantern on the Water - harp part.pdf"
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF")
    assert taken.split(":")[2][0].encode() in server.ask(
        "GET", f"{view.url.split(str(port))[1]}/files/choices.toml")[1]

    view.get_by_role("button", name="Undo the last change").click()
    desk.until_said("The last change is undone.")
    expect(view.locator(".options strong")).to_have_count(0)
    assert axe(view) == []
    desk.close(port)
    assert server.end()[0] == 0


@pytest.mark.campaign  # it measures: the machine must have nothing else to do
def test_a_choice_is_drawn_within_a_second_beyond_its_planning(browser, started):
    """A demo song of 37 bars. From the click to the drawn page, less the stages of the planner."""
    server = started()
    desk = Desk(browser, server, viewport=WIDE, reduced_motion="reduce")  # drawn without a card
    view = desk.view
    view.get_by_role("button", name="Lantern on the Water").click()
    view.get_by_role("button", name="Make the harp draft").click(timeout=SLOW)
    desk.until_said("The draft is made.")
    work = view.url.rpartition("/")[2]
    beyond = []
    for choice in ("1:1:Ab4:hand-left", "2:1:A4:finger-1", "1:1:Ab4:hand-right"):
        view.wait_for_timeout(2500)  # nobody chooses before having looked
        old = view.locator("#sheet iframe").get_attribute("src")
        stages, drawn = follow(view, server, work, choice, old)
        planning = sum(end - begin for stage, begin, end in stages if stage in PLANNING)
        assert planning > 0
        beyond.append(drawn - planning)
    assert min(beyond) < 1.0, beyond
    desk.close(server.port)


#: Stages in which nothing but the planner works.
PLANNING = {"weighing strings, pedals and hands", "timing the pedals", "looking again at the draft",
            "reading the texture"}


def follow(view, server, work, choice, old):
    """Choose; return the stages the job passes, in seconds from the choice, and when it is drawn.

    The server is asked as the page asks it, only more often; the page is drawn when its script has
    shown the first bar.
    """
    begun = time.monotonic()
    assert view.evaluate("([work, take]) => begin({ kind: 'take', take })", [work, choice]) is None
    stages, stage, since = [], "", 0.0
    while True:
        now = time.monotonic() - begun
        assert now < SLOW / 1000
        state = json.loads(server.ask("GET", f"/works/{work}/state")[1])
        if state["stage"] != stage:
            stages.append((stage, since, now))
            stage, since = state["stage"], now
        if state["state"] == "done":
            break
        assert state["state"] in ("waiting", "working"), state
        view.wait_for_timeout(25)
    while True:
        frame = next((f for f in view.frames if "report.html" in f.url and old not in f.url), None)
        if frame and frame.evaluate("Boolean(document.querySelector('#pair svg'))"):
            return stages, time.monotonic() - begun
        view.wait_for_timeout(25)


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_view_can_be_read_by_all(browser, started, size, scheme):
    server = started()
    work = server.lay("tune.musicxml", opening_bars(2))
    server.wait(work)
    desk = Desk(browser, server, viewport=size, color_scheme=scheme)
    assert axe(desk.view) == []
    desk.view.keyboard.press("Tab")
    assert desk.view.evaluate("document.activeElement.id") == "file"
    desk.view.locator(".works a").first.click()
    expect(desk.view.locator("#ask")).to_be_visible()
    assert axe(desk.view) == []
    assert desk.view.evaluate("document.documentElement.scrollWidth") <= size["width"]
    desk.view.get_by_role("checkbox", name="Voice").check()
    desk.view.get_by_role("checkbox", name="Voice").uncheck()
    desk.view.get_by_role("checkbox", name="Piano").uncheck()
    desk.view.get_by_role("button", name="Make the harp draft").click()
    desk.said = []  # the browser tells of the refusal
    expect(desk.view.locator("#said")).to_contain_text("Tick the part")
    desk.view.goto(f"http://127.0.0.1:{server.port}/works/000000000000")
    expect(desk.view.locator("main")).to_contain_text("not here")
    assert axe(desk.view) == []
    desk.said = []
    desk.close(server.port)
