"""How the page looks: sizes, contrast, roles. Judged in a real browser.

WCAG 2.2: relative luminance and contrast ratio as defined there; at least 4.5 for text (1.4.3), 3
for large text and for the borders of controls (1.4.11). Touch targets: at least 44 px are asked for
(2.5.5, AAA); gloves want more.
"""

import re
import time
from itertools import product
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.outputs.page.browser import LANDSCAPE, PHONE, TABLET, script, wait_state
from tests.outputs.page.serving import Served
from warmwatch.outputs.screen.headline import Headline

SIZES = (PHONE, LANDSCAPE, TABLET)
OVERFLOWS, SHOW, CONTRAST = script("overflows"), script("show"), script("contrast")


@pytest.mark.parametrize(("size", "text"), list(product(SIZES, ("85", "-12.5", "186.8"))))
def test_it_fits_every_phone(still: Page, size: tuple[int, int], text: str) -> None:
    """At each size nothing is cut or wider than the window; figure and buttons are large."""
    still.set_viewport_size({"width": size[0], "height": size[1]})
    for kind, word in (("inside", "IN THE BAND"), ("blind", "BLIND"), ("above", "ABOVE THE BAND")):
        figure = "" if kind == "blind" else text
        still.evaluate(SHOW, {"figure": figure, "word": word, "state": kind, "unheard": False})
        assert still.evaluate(OVERFLOWS) == {"wide": False, "cut": [], "outside": 0}, kind
        box = still.locator("#degrees").bounding_box()
        now = still.locator("#now").bounding_box()
        assert box is not None
        assert now is not None
        assert now["x"] - 1 <= box["x"]
        assert box["x"] + box["width"] <= now["x"] + now["width"] + 1
        assert box["height"] >= 60


@pytest.mark.parametrize(("size", "plug_out"), list(product(SIZES, (False, True))))
def test_the_marks_are_at_hand(still: Page, size: tuple[int, int], plug_out: bool) -> None:
    """Every mark is a large target on the first screenful, also those asked with the plug out."""
    still.set_viewport_size({"width": size[0], "height": size[1]})
    advice = "Inside the band: mark what runs out, a stream, a drip or nothing."
    facts = ["PLUG OUT since 08:25", "idling"] if plug_out else ["idling"]
    still.evaluate(SHOW, {"act": advice, "facts": facts, "plug_out": plug_out, "unheard": False})
    buttons = still.locator("#hands button:visible").all()
    assert len(buttons) == 13
    for button in buttons:
        found = button.bounding_box()
        assert found is not None
        assert found["height"] >= 64
        assert found["width"] >= (90 if button.get_attribute("data-mark") else 70)
        assert found["y"] + found["height"] <= size[1]
    link = still.locator("#link").bounding_box()
    assert link is not None
    assert link["y"] + link["height"] <= size[1]
    assert still.evaluate(OVERFLOWS) == {"wide": False, "cut": [], "outside": 0}


@pytest.mark.parametrize("light", ["night", "sun"])
def test_the_contrast_is_enough(still: Page, light: str) -> None:
    """Every text in every state, by night and in the sun, has the contrast of WCAG AA at least."""
    still.evaluate("light => { document.documentElement.dataset.light = light; }", light)
    for name, fit, unheard in product(map(str, Headline), (True, False), (True, False)):
        still.emulate_media(reduced_motion="reduce")
        still.evaluate(
            SHOW,
            {"state": name, "fit": fit, "unheard": unheard, "link_ok": fit, "recording_ok": fit},
        )
        found: list[list[Any]] = still.evaluate(CONTRAST)
        assert len(found) > 20
        worst = [entry for entry in found if entry[1] < (3.0 if entry[2] >= 24 else 4.5)]
        assert worst == [], (name, fit, unheard)


def test_roles_and_names(fed: tuple[Served, Page]) -> None:
    """Landmarks, one heading first, buttons with names, and live regions that say only states."""
    _, page = fed
    assert page.get_attribute("html", "lang") == "en"
    assert page.locator("main").count() == 1
    assert page.locator("h1").count() == 1
    assert page.get_by_role("status").count() == 1
    assert page.get_by_role("alert").count() == 1
    for name in (
        "Plug out",
        "Drip",
        "Plug in",
        "Topped up",
        "Level set",
        "Heard",
        "Take back",
        "Sound",
        "Checks",
        "Amount",
        "More",
    ):
        assert page.get_by_role("button", name=re.compile(f"^{name}( |$)")).count() == 1
    for section in page.locator("section").all():
        assert section.get_attribute("aria-label")
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))
    assert "user-scalable" not in (page.get_attribute("meta[name=viewport]", "content") or "")
    wait_state(page, "inside")
    page.evaluate(script("watch_text"), "#spoken")
    time.sleep(1.0)
    assert page.evaluate("window.texts") == []
