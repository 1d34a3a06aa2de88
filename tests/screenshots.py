"""Pictures of the page and of the printed part: ``python -m tests.screenshots FOLDER``.

Needs the browser extra, Chromium and pypdfium2. The demo scores are used, nothing else. With
``--readme`` the two pictures of the workbench that the README shows are made instead.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from arranger.api import Request, convert

SCORE = Path(__file__).parents[1] / "corpus" / "lantern-on-the-water" / "score.musicxml"
#: Name, width, height, scheme, what is clicked, what is scrolled to.
VIEWS = (
    ("page", 1400, 900, "light", (".strip a[data-bar='14']",), ""),
    ("page-dark", 1400, 900, "dark", (".strip a[data-bar='14']", "[data-play='draft']"), ""),
    ("pedals", 1400, 900, "light", (), "#pedals"),
    ("phone", 390, 844, "light", (".strip a[data-bar='4']", "#fold"), ""),
)


def main(folder: Path) -> None:
    """Write a PNG a view, and one for each printed page, into ``folder``."""
    from playwright.sync_api import sync_playwright
    from pypdfium2 import PdfDocument
    folder.mkdir(parents=True, exist_ok=True)
    result = convert(Request(SCORE, ("Piano",), pdf=True))
    page = folder / "report.html"
    page.write_bytes(result.files["report.html"])
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"),
                                             args=["--no-sandbox"])
        for name, width, height, scheme, clicks, goal in VIEWS:
            view = browser.new_page(viewport={"width": width, "height": height},
                                    color_scheme=scheme)
            view.goto(page.as_uri())
            view.wait_for_timeout(500)
            for click in clicks:
                view.locator(click).first.click()
            if goal:
                view.locator(goal).evaluate("element => element.scrollIntoView()")
            view.wait_for_timeout(1200)
            view.screenshot(path=folder / f"{name}.png")
            view.close()
        browser.close()
    for number, sheet in enumerate(PdfDocument(result.files["part.pdf"]), 1):
        sheet.render(scale=1.5).to_pil().save(folder / f"part-{number}.png")


def workbench(folder: Path) -> None:
    """Write the two pictures of the README, in few colours so that they stay small."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from tests.test_web import Serving
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as kept, sync_playwright() as playwright:
        server = Serving(Path(kept))
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"),
                                             args=["--no-sandbox"])
        view = browser.new_page(viewport={"width": 1240, "height": 780})
        view.goto(f"http://127.0.0.1:{server.port}/")
        view.get_by_role("button", name="The Mill Race").click()
        view.get_by_role("button", name="Make the harp draft").click(timeout=60_000)
        view.get_by_text("The draft is made.").wait_for(timeout=300_000)
        view.get_by_label("printed bars").fill("23")
        view.get_by_role("button", name="Look for other ways").click()
        view.get_by_text("Other ways are listed.").wait_for(timeout=900_000)
        view.locator("a[data-bar]").first.click()
        view.wait_for_timeout(1500)
        view.screenshot(path=folder / "workbench.png")
        view.goto(f"http://127.0.0.1:{server.port}/")
        view.wait_for_timeout(800)
        view.screenshot(path=folder / "shelf.png")
        browser.close()
        server.end()
    for name in ("workbench.png", "shelf.png"):
        with Image.open(folder / name) as picture:
            small = picture.convert("RGB").quantize(
                128, Image.Quantize.MAXCOVERAGE)
        small.save(folder / name, optimize=True)


if __name__ == "__main__":
    if "--readme" in sys.argv:
        workbench(Path(__file__).parent / "pictures")
    else:
        main(Path(sys.argv[1] if len(sys.argv) > 1 else "out/pictures"))
