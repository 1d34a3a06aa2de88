"""Pictures of the page and of the printed part: ``python -m tests.screenshots FOLDER``.

Needs the browser extra, Chromium and pypdfium2. The demo scores are used, nothing else.
"""

from __future__ import annotations

import shutil
import sys
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


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "out/pictures"))
