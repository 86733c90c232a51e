"""The page in a real browser when something is in the way: long labels, small windows, refusals."""

import time

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.outputs.page.browser import LANDSCAPE, PHONE, opened, phone, script, wait_js, wait_state
from tests.outputs.page.serving import STEADY, Feeding, serve
from warmwatch.outputs.page import streams
from warmwatch.outputs.page.rights import Right

SHOW, OVERFLOWS = script("show"), script("overflows")
BARS = (360, 560)
"""What a small phone leaves when the browser's own bars stand there (common, no source)."""
LONGEST = (
    ("inside", "IN THE BAND", "Inside the band: mark what runs out, a stream, a drip or nothing."),
    (
        "above",
        "ABOVE THE BAND",
        "Above the band: close the plug and check again when it has cooled.",
    ),
    (
        "top-near",
        "TOP IS NEAR",
        "Finish. Not fit for the check: engine speed too high (1600 1/min).",
    ),
    ("blind", "BLIND", "The temperature is not known."),
)


@pytest.mark.parametrize("size", [PHONE, LANDSCAPE, BARS])
@pytest.mark.parametrize(("kind", "word", "act"), LONGEST)
def test_every_mark_is_at_hand_in_every_state(
    still: Page, size: tuple[int, int], kind: str, word: str, act: str
) -> None:
    """With the plug out no state's words push a button below the window, nor the figure away."""
    still.set_viewport_size({"width": size[0], "height": size[1]})
    figure = "" if kind == "blind" else "188.6"
    facts = ["PLUG OUT since 17:52", "idling", "INVENTED vehicle"]
    shown = {"state": kind, "word": word, "act": act, "figure": figure, "plug_out": True}
    still.evaluate(SHOW, {**shown, "facts": facts, "unheard": False})
    for button in still.locator("#hands button:visible").all():
        found = button.bounding_box()
        assert found is not None
        assert found["y"] + found["height"] <= size[1]
        assert found["height"] >= 64
    degrees = still.locator("#degrees").bounding_box()
    assert degrees is not None
    assert degrees["height"] >= 60
    assert still.evaluate(OVERFLOWS) == {"wide": False, "cut": [], "outside": 0}


def test_a_long_label_does_not_make_the_page_small(still: Page) -> None:
    """A label, reason or note of 500 signs without a space leaves the page as wide as the phone."""
    for name in ("vehicle", "link", "act", "recording", "time"):
        still.evaluate(SHOW, {name: "w" * 500, "recording_ok": name != "recording"})
        assert still.evaluate("document.documentElement.scrollWidth") == PHONE[0], name
    still.evaluate(SHOW, {"facts": ["f" * 500], "conditions": ["c" * 500], "happened": ["h" * 500]})
    assert still.evaluate("document.documentElement.scrollWidth") == PHONE[0]


def test_a_link_of_an_earlier_watch_is_told(browser: BrowserContext) -> None:
    """When the watch is started again on the same port, an open page says that its link is old."""
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            page = opened(browser, served.server.link(Right.MARK))
            wait_state(page, "inside")
            port = served.server.port
    with serve(port=port) as again:
        again.played.take(STEADY)
        with Feeding(again):
            wait_js(page, "document.body.dataset.state === 'blind'", 10.0)
            wait_js(
                page, "document.getElementById('link').textContent.includes('has a new one')", 10.0
            )
            assert page.inner_text("#degrees") == "BLIND"
            page.goto(again.server.link(Right.MARK))
            page.wait_for_url("**/")
            wait_state(page, "inside")
    page.close()


def test_one_page_too_many_is_told_why(
    browser: BrowserContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that is not served for their number says so, and is served once another closes."""
    monkeypatch.setattr(streams, "MOST_STREAMS", 1)
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            first = opened(browser, served.server.link(Right.WATCH))
            second = opened(phone(browser.browser), served.server.link(Right.WATCH))
            wait_js(
                second, "document.getElementById('link').textContent.includes('Too many')", 10.0
            )
            first.close()
            wait_state(second, "inside", 10.0)
            second.context.close()


def test_the_button_says_whether_there_is_sound(browser: BrowserContext) -> None:
    """Sound that is taken away is taken back; while that fails the button says that it is off."""
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            page = browser.new_page()
            page.add_init_script(script("keep_contexts"))
            page.goto(served.server.link(Right.MARK))
            page.wait_for_url("**/")
            wait_state(page, "inside")
            page.click("#tones")
            wait_js(page, "document.body.dataset.tones === 'on'")
            page.evaluate("window.contexts[0].suspend()")
            time.sleep(0.8)
            wait_js(page, "window.contexts[0].state === 'running'")
            page.evaluate("window.refuse = true; window.contexts[0].suspend()")
            wait_js(page, "document.body.dataset.tones === 'off'")
            assert page.get_attribute("#tones", "aria-pressed") == "false"
            page.evaluate("window.refuse = false")
            wait_js(page, "document.body.dataset.tones === 'on'")
            page.close()
