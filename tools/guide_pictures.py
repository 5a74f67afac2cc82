"""Photograph the pages that docs/guide.md shows, from the demo garden, into `docs/pictures`.

    python tools/guide_pictures.py [NAME ...]

Serves the demo on this machine alone and opens its pages in a browser the size of a telephone; needs the
development environment and a Chromium (`MULCHWRIGHT_BROWSER` names one). A test holds the guide to this
list, and each page to the words that are given here with it.
"""

from __future__ import annotations

import os
import re
import socket
import sys
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "pictures"
WIDTH, HEIGHT = 360, 700
BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")


@dataclass(frozen=True)
class Picture:
    """One picture: the file's name, the page, words that are on it, and what is scrolled into sight first."""

    name: str
    path: str
    words: str
    at: str = ""


PICTURES = (
    Picture("now", "/now", "Quince walk"),
    Picture("bed", "/beds/quince-walk", "Quince walk"),
    Picture("choose", "/ground/choose", "wine cap"),
    Picture("needs", "/stores/needs", "Currant end"),
    Picture("year", "/year", "2015"),
)


def main(names: list[str]) -> int:
    """Photograph these, or all."""
    import uvicorn
    from playwright.sync_api import sync_playwright

    from mulchwright.book import create_book
    from mulchwright.book.demo import demo_garden
    from mulchwright.web import create_app

    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        book = Path(folder, "demo.garden")
        create_book(book, *demo_garden())
        listener = socket.socket()
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        server = uvicorn.Server(uvicorn.Config(create_app(book), log_level="error", ws="none"))
        thread = threading.Thread(target=lambda: server.run(sockets=[listener]), daemon=True)
        thread.start()
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        found = os.environ.get("MULCHWRIGHT_BROWSER") or next((b for b in BROWSERS if Path(b).exists()), None)
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        page = browser.new_page(
            viewport={"width": WIDTH, "height": HEIGHT}, reduced_motion="reduce", color_scheme="light"
        )
        page.set_default_timeout(600_000)
        for picture in PICTURES:
            if names and picture.name not in names:
                continue
            page.goto(address + picture.path)
            page.locator("main:not([data-waiting])").wait_for()
            charts = page.locator("figure[data-chart]:visible")
            for n in range(charts.count()):
                charts.nth(n).and_(page.locator("[data-ready]")).wait_for()
            if picture.at:
                page.locator(picture.at).first.evaluate("(e) => e.scrollIntoView()")
            page.screenshot(path=str(FOLDER / f"{picture.name}.png"))
            print(FOLDER / f"{picture.name}.png", re.sub(r"\s+", " ", page.title()))
        browser.close()
        server.should_exit = True
        thread.join(10)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
