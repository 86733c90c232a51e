"""Makes docs/pictures/visit-*.png: a whole visit on the phone, with an invented vehicle.

`python -m tests.outputs.make_visit_pictures`; takes about two minutes. It also fails where a step
does not come, so that the pictures show what the program does.
"""

import os
import tempfile
from pathlib import Path

from playwright.sync_api import Page

from tests.outputs.page.browser import chromium, opened, wait_js
from tests.outputs.page.serving import free_port
from tests.outputs.page.test_browser_visit import laptop, mark, press, wait_stage, wait_text
from warmwatch.book.change import set_texts

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"
PHONE = (412, 915)
WARM = "demo:?method=idle&start=58&ambient=24&pace=8&band=60:70&seed=4"


class Album:
    """Takes numbered pictures of one page."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._count = 0

    def take(self, name: str) -> None:
        self._count += 1
        self.page.wait_for_timeout(400)
        path = FOLDER / f"visit-{self._count:02}-{name}.png"
        self.page.screenshot(path=path)


def main() -> None:
    """Go through a visit and take the pictures."""
    for old in FOLDER.glob("visit-*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["WARMWATCH_HOME"] = str(folder / "home")
        set_texts("blue adapter", {"address": WARM, "notes": "invented, for these pictures"})
        with laptop(folder, free_port()) as running, chromium(PHONE) as context:
            page = opened(context, running.links["run"])
            page.emulate_media(reduced_motion="reduce")
            visit(Album(page))


def visit(album: Album) -> None:
    """One visit from the vehicle to the proof."""
    prepare(album)
    watch(album)
    finish(album)


def prepare(album: Album) -> None:
    page = album.page
    wait_stage(page, "prepare")
    wait_text(page, "blue adapter")
    album.take("prepare")
    page.click("#new-vehicle")
    page.fill("input[name=label]", "grey van (invented)")
    page.fill("input[name=source]", "invented for this picture")
    press(page, "6", "0", "field high", "7", "0")
    album.take("new-vehicle")
    page.click("#take")
    page.click("text=blue adapter")
    page.click("#try")
    wait_text(page, "readings a second", 40.0)
    album.take("tried")


def watch(album: Album) -> None:
    page = album.page
    page.click("#tones")
    page.click("#start")
    wait_js(page, "document.body.dataset.page === 'watch'", 20.0)
    wait_js(page, "document.querySelector('#soon').innerText.includes('min')", 60.0)
    page.wait_for_timeout(4000)
    album.take("waiting")
    page.click("#open-checks")
    album.take("checks")
    page.click('[data-tell="selector-cycled"]')
    page.click('[data-tell="vehicle-level"]')
    press(page, "0", ".", "3", "field crosswise", "0", ".", "2")
    wait_text(page, "within the limit")
    album.take("tilt")
    page.click("#note-it")
    page.click("#open-amount")
    press(page, "4", ".", "2", "field temp", "5", "0")
    wait_text(page, "4.20 L at 50")
    album.take("amount")
    page.click("#note-it")
    page.wait_for_timeout(1500)
    page.click("#open-amount")
    press(page, "4", ".", "1", "field temp", "2", "0")
    wait_text(page, "4.10 L at 20")
    page.click("#note-it")
    wait_js(page, "['inside','not-fit'].includes(document.body.dataset.state)", 90.0)
    album.take("in-band")
    mark(page, "plug-out")
    mark(page, "stream")
    page.wait_for_timeout(1500)
    album.take("plug-out")
    mark(page, "drip")
    mark(page, "plug-in")
    mark(page, "level-set")
    mark(page, "topped-up")
    album.take("slip")
    page.click('[data-mark="withdraw"]')
    page.wait_for_selector('[data-mark="topped-up"][data-noted="false"]')


def finish(album: Album) -> None:
    page = album.page
    page.click("#open-more")
    album.take("more")
    page.click("#end")
    album.take("end")
    page.click("#end-yes")
    wait_stage(page, "done")
    wait_js(page, "!document.querySelector('#act').innerText.includes('Looking')", 30.0)
    page.click("#proof")
    page.wait_for_selector("#download", timeout=60000)
    album.take("done")


if __name__ == "__main__":
    main()
