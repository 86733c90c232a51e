"""How the page looks: sizes, contrast, roles. Judged in a real browser.

WCAG 2.2: relative luminance and contrast ratio as defined there; at least 4.5 for text (1.4.3), 3
for large text and for the borders of controls (1.4.11). Touch targets: at least 44 px are asked for
(2.5.5, AAA); gloves want more.
"""

import time
from itertools import product
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.outputs.page.browser import LANDSCAPE, PHONE, TABLET, script, wait_state
from tests.outputs.page.serving import Served

SIZES = (PHONE, LANDSCAPE, TABLET)
OVERFLOWS, SHOW, CONTRAST = script("overflows"), script("show"), script("contrast")


@pytest.mark.parametrize(("size", "text"), list(product(SIZES, ("85", "-12.5", "186.8"))))
def test_it_fits_every_phone(fed: tuple[Served, Page], size: tuple[int, int], text: str) -> None:
    """At each size nothing is cut or wider than the window; figure and buttons are large."""
    _, page = fed
    page.set_viewport_size({"width": size[0], "height": size[1]})
    wait_state(page, "inside")
    for kind, word in (("inside", "IN THE BAND"), ("blind", "BLIND"), ("above", "ABOVE THE BAND")):
        shown = {"figure": text, "word": word, "state": kind, "unheard": False}
        page.evaluate(SHOW, shown if kind != "blind" else {**shown, "figure": ""})
        assert page.evaluate(OVERFLOWS) == {"wide": False, "cut": [], "outside": 0}, kind
        box = page.locator("#degrees").bounding_box()
        now = page.locator("#now").bounding_box()
        assert box is not None
        assert now is not None
        assert now["x"] - 1 <= box["x"]
        assert box["x"] + box["width"] <= now["x"] + now["width"] + 1
        assert box["height"] >= 60
    for button in page.locator("#marks button").all():
        found = button.bounding_box()
        assert found is not None
        assert found["height"] >= 64
        assert found["width"] >= 90
        # All marks are on the first screenful: no scrolling with oily gloves.
        assert found["y"] + found["height"] <= size[1]


@pytest.mark.parametrize("light", ["night", "sun"])
def test_the_contrast_is_enough(fed: tuple[Served, Page], light: str) -> None:
    """Every text in every state, by night and in the sun, has the contrast of WCAG AA at least."""
    _, page = fed
    page.click("#light")
    if light == "sun":
        page.click("#light")
    assert page.evaluate("document.documentElement.dataset.light") == light
    states = ("waiting", "below", "levelling", "near", "inside", "top-near", "above", "too-hot")
    for name, fit, unheard in product((*states, "blind", "ended"), (True, False), (True, False)):
        page.emulate_media(reduced_motion="reduce")
        page.evaluate(
            SHOW,
            {"state": name, "fit": fit, "unheard": unheard, "link_ok": fit, "recording_ok": fit},
        )
        found: list[list[Any]] = page.evaluate(CONTRAST)
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
        "Tones",
        "Voice",
    ):
        assert page.get_by_role("button", name=name).count() == 1
    for section in page.locator("section").all():
        assert section.get_attribute("aria-label")
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))
    assert "user-scalable" not in (page.get_attribute("meta[name=viewport]", "content") or "")
    wait_state(page, "inside")
    page.evaluate(script("watch_text"), "#spoken")
    time.sleep(1.0)
    assert page.evaluate("window.texts") == []
