"""Makes the pictures of screen and page in docs/pictures: `python -m tests.outputs.make_pictures`.

Every number in them is invented. Needs a Chromium on the machine.
"""

import io
import time
from pathlib import Path
from typing import Literal

from playwright.sync_api import BrowserContext
from rich.console import Console
from rich.text import Text

from tests.outputs.page.browser import LANDSCAPE, PHONE, TABLET, chromium, opened, wait_state
from tests.outputs.page.serving import Feeding, serve
from tests.outputs.views import Played, ramp, silent
from warmwatch.app.keyboard.terminal import KEYS, key_words
from warmwatch.core.reading import MarkName, Reading
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.screen.board import board
from warmwatch.outputs.screen.glyphs import FULL
from warmwatch.outputs.screen.layout import Frame, render
from warmwatch.outputs.screen.painter import COLOURS

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"


def near() -> Played:
    """Warming towards the band."""
    return Played().take(ramp(55.0, 77.0, per_min=2.2))


def inside() -> Played:
    """In the band for some minutes, settled, the plug out."""
    played = near().take(ramp(77.1, 84.0, per_min=1.8, from_s=601.0))
    played.take(ramp(84.0, 85.6, per_min=0.4, from_s=played.now_s + 1))
    return played.mark(MarkName.PLUG_OUT)


def blind() -> Played:
    """The signal is lost with the plug out."""
    played = inside()
    return played.take(silent(played.now_s, 14))


STATES = {"near": near, "inside": inside, "blind": blind}


def main() -> None:
    """Make all pictures."""
    FOLDER.mkdir(exist_ok=True)
    with chromium() as context:
        for name, size in (("near", (60, 20)), ("inside", (100, 32)), ("blind", (80, 24))):
            draw_screen(context, name, size)
        draw_page(context, "blind", PHONE, "night")
        draw_page(context, "inside", LANDSCAPE, "night")
        draw_page(context, "inside", TABLET, "sun")


def draw_screen(context: BrowserContext, name: str, size: tuple[int, int]) -> None:
    """Draw the terminal screen of a state."""
    played = STATES[name]()
    job = played.watch.job
    frame = Frame(*size, FULL, job.band, job.unit, key_words(KEYS, page=True))
    console = Console(record=True, width=size[0], file=io.StringIO(), color_system="truecolor")
    for line in render(board(played.view(later_s=0.4), played.history()), frame):
        text = Text(no_wrap=True, end="\n")
        for piece, style in line:
            text.append(piece, COLOURS[style])
        console.print(text, overflow="crop", highlight=False)
    page = context.new_page()
    page.set_viewport_size({"width": size[0] * 11, "height": size[1] * 21})
    styles = "margin:0;background:#000;color:#eee;font:17.19px/20px 'DejaVu Sans Mono';padding:4px"
    body = console.export_html(inline_styles=True, code_format="<pre>{code}</pre>")
    page.set_content(f'<body style="{styles}">{body.replace("<pre>", "<pre style=margin:0>")}')
    page.locator("pre").screenshot(path=FOLDER / f"screen-{name}.png")
    page.close()


def draw_page(context: BrowserContext, name: str, size: tuple[int, int], light: str) -> None:
    """Draw the page of a state."""
    with serve() as served:
        served.played = STATES[name]()
        served.page._history = served.played.story
        fill_curve(served.played, served.server._curve.add)
        with Feeding(served):
            page = opened(context, served.server.link(Right.MARK))
            page.set_viewport_size({"width": size[0], "height": size[1]})
            scheme: Literal["dark", "light"] = "light" if light == "sun" else "dark"
            page.emulate_media(reduced_motion="reduce", color_scheme=scheme)
            wait_state(page, name)
            time.sleep(2.5)  # the curve comes every two seconds
            kind = {PHONE: "phone", LANDSCAPE: "landscape", TABLET: "tablet"}[size]
            page.screenshot(path=FOLDER / f"page-{name}-{kind}.png")
            page.close()


def fill_curve(played: Played, add: object) -> None:
    """Give the curve what the page would have seen, had it been there from the start."""
    assert callable(add)
    for reading in played.seen:
        if isinstance(reading, Reading):
            add(reading.elapsed_s, reading.values["fluid_c"])


if __name__ == "__main__":
    main()
