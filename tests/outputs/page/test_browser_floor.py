"""The page under a vehicle: places of buttons, height of letters, lightness of colours, roles.

Cap heights are those of a phone of 6 inches: 412 CSS px on 68 mm of width (common, no source).
WCAG 2.2 gives the formula of contrast; axe-core judges names, roles and contrast after it.
"""

from itertools import combinations
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.outputs.page.browser import script
from warmwatch.outputs.screen.headline import Headline
from warmwatch.words.english import PHRASES

SHOW, CAPS, PLACES = script("show"), script("caps"), script("places")
OVERFLOWS = script("overflows")
SIZES = ((360, 640), (412, 915), (640, 360), (768, 1024), (1280, 800))
PX_PER_MM = 412 / 68
STATES = (*(str(each) for each in Headline), "connecting")
ADVICE = [text for code, text in PHRASES.items() if code.startswith("act.") and "{" not in text]
LONG = "Not fit for the check: the engine runs too fast for idle (1600 1/min), and 3 more."


def resize(page: Page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


@pytest.mark.parametrize("size", SIZES)
def test_no_button_ever_moves(still: Page, size: tuple[int, int]) -> None:
    """In every state, plug in or out, each button has its place: 64 px high, 8 px apart, in sight.

    Only the other way of holding the phone changes it.
    """
    resize(still, size)
    still.evaluate(SHOW, {})
    first = still.evaluate(PLACES)
    assert len(first) == 13
    for name, left, top, width, height in first:
        assert height >= 64, name
        assert left >= 0, name
        assert top >= 0, name
        assert left + width <= size[0], name
        assert top + height <= size[1], name
    for one, other in combinations(first, 2):
        across = max(other[1] - one[1] - one[3], one[1] - other[1] - other[3])
        along = max(other[2] - one[2] - one[4], one[2] - other[2] - other[4])
        assert max(across, along) >= 8, (one, other)
    mark = {"key": "2", "name": "topped-up", "note": "", "clock": "1:08:25", "withdrawn": False}
    for state in STATES:
        for change in ({"plug_out": True, "act": LONG}, {"act": "", "facts": [], "link_ok": False}):
            names = {"plug-out": "1:08:25", "level-set": "1:08:25"}
            about = {"state": state, "word": state.upper(), "marks": names, "last": mark}
            still.evaluate(SHOW, {**about, **change, "model": {"sending": {"drip": "failed"}}})
            assert still.evaluate(PLACES) == first, (state, change)


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_cut(still: Page, size: tuple[int, int]) -> None:
    """At each size every state fits: nothing is cut, and the temperature stays large."""
    resize(still, size)
    for state in STATES:
        word = PHRASES.get(f"headline.{state}", "CONNECTING")
        for act in (LONG, PHRASES.get(f"act.{state}", "")):
            still.evaluate(SHOW, {"state": state, "word": word, "act": act, "unheard": False})
            assert still.evaluate(OVERFLOWS) == {"wide": False, "cut": [], "outside": 0}, state
            box = still.locator("#degrees").bounding_box()
            hands = still.locator("#marks").bounding_box()
            assert box is not None
            assert hands is not None
            assert box["height"] >= 60, (state, act)
            assert (
                box["y"] + box["height"] <= hands["y"] + 6 or box["x"] + box["width"] < hands["x"]
            )


def test_state_and_advice_are_read_at_arms_length(still: Page) -> None:
    """On a 6-inch phone the capitals of state and advice are 5 mm high, at a desk larger yet."""
    assert len(ADVICE) > 8
    resize(still, (412, 915))
    for act in (*ADVICE, LONG):
        still.evaluate(SHOW, {"act": act, "unheard": False})
        for selector in ("#word", "#act"):
            assert still.evaluate(CAPS, selector) / PX_PER_MM >= 5.0, (selector, act)
    still.evaluate(SHOW, {"act": "The level may be checked now.", "unheard": False})
    assert still.evaluate(CAPS, "#degrees") / PX_PER_MM >= 15.0
    phone = [still.evaluate(CAPS, selector) for selector in ("#word", "#act")]
    resize(still, (1280, 800))
    still.evaluate(SHOW, {"unheard": False})
    desk = [still.evaluate(CAPS, selector) for selector in ("#word", "#act")]
    assert all(large > small for large, small in zip(desk, phone, strict=True))


def luminance(rgb: list[float]) -> float:
    """Return the relative luminance of WCAG 2.2."""
    parts = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in (value / 255 for value in rgb)
    ]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def test_the_states_differ_in_lightness(still: Page) -> None:
    """Check now, get ready, wait and alarm are told apart by eyes that see no green or red."""
    still.emulate_media(reduced_motion="reduce")
    found = {}
    for name, change in {
        "check": {"state": "inside"},
        "wait": {"state": "below"},
        "ready": {"state": "near"},
        "alarm": {"state": "above"},
    }.items():
        still.evaluate(SHOW, {**change, "unheard": False})
        colour = still.evaluate(
            "getComputedStyle(document.querySelector('#banner')).backgroundColor.match(/\\d+/g)"
        )
        found[name] = luminance([float(value) for value in colour])

    def contrast(one: str, other: str) -> float:
        high, low = sorted((found[one], found[other]), reverse=True)
        return (high + 0.05) / (low + 0.05)

    assert contrast("check", "alarm") >= 3.0
    assert contrast("check", "wait") >= 3.0
    assert contrast("ready", "alarm") >= 3.0
    assert contrast("check", "ready") >= 1.2


SHEETS: dict[str, dict[str, Any]] = {
    "checks": {"sheet": "checks"},
    "list": {"sheet": "list"},
    "more": {"sheet": "more"},
    "end": {"sheet": "end"},
    "amount": {"sheet": "amount", "pad": "amountPad('drained', '°C')"},
    "tilt": {"sheet": "tilt", "pad": "tiltPad()"},
}
VISIT: dict[str, Any] = {
    "stage": "prepare", "n": 1, "vehicle": {"label": "van", "band": "80 to 90 °C", "source": "x"},
    "vehicles": [{"label": "van", "band": "80 to 90 °C", "source": "x"}],
    "adapters": [{"id": "a0", "label": "port", "about": "an adapter", "chosen": True}],
    "trial": {"state": "failed", "steps": [{"state": "ok", "text": "link opened"},
        {"state": "failed", "text": "fluid"}, {"state": "unknown", "text": "x"}]},
    "unit": "°C", "ready": True, "missing": "", "problem": "", "caution": "Hot fluid burns.",
    "verdict": {"sign": "!", "text": "Level set inside the band."}, "lines": ["4.2 L"],
    "open": ["plug in not marked"], "recorded": True,
    "proof": {"state": "ready", "text": "Kept.", "url": "/proof/x", "name": "x.pdf"},
}  # fmt: skip


def violations(page: Page) -> list[str]:
    """Return what axe-core finds wrong with the page as it is now."""
    found = Axe().run(page).response["violations"]
    return [f"{each['id']}: {each['nodes'][0]['html'][:120]}" for each in found]


@pytest.mark.slow
@pytest.mark.parametrize("light", ["night", "sun"])
def test_axe_finds_nothing(still: Page, light: str) -> None:
    """In every state, on every sheet and at every stage of the visit axe-core finds nothing."""
    still.evaluate("light => { document.documentElement.dataset.light = light; }", light)
    still.emulate_media(reduced_motion="reduce")
    for number, state in enumerate(STATES):
        about = {"state": state, "fit": number % 2 == 0, "unheard": number % 3 == 0}
        odd = {"link_ok": number % 2 == 1, "recording_ok": number % 4 != 1, "clash": "Two phones."}
        still.evaluate(SHOW, {**about, **(odd if number % 2 else {})})
        assert violations(still) == [], state
    for name, model in SHEETS.items():
        pad = model.get("pad")
        made = still.evaluate(f"import('/pad.js').then((m) => m.{pad})") if pad else None
        still.evaluate(SHOW, {"model": {**model, "pad": made, "right": "run", "visit": None}})
        assert violations(still) == [], name
    new = still.evaluate("import('/pad.js').then((m) => m.bandPad('°C'))")
    for stage, more in (("prepare", {}), ("done", {}), ("prepare", {"sheet": "new", "pad": new})):
        visit = {**VISIT, "stage": stage}
        still.evaluate(SHOW, {"model": {"right": "run", "visit": visit, **more}})
        assert violations(still) == [], (stage, more)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("sheet", list(SHEETS))
def test_a_sheet_fits(still: Page, size: tuple[int, int], sheet: str) -> None:
    """On each sheet every button is at least 64 px high, nothing is wider than the phone, and the
    state stays in sight."""
    resize(still, size)
    model = SHEETS[sheet]
    pad = model.get("pad")
    made = still.evaluate(f"import('/pad.js').then((m) => m.{pad})") if pad else None
    still.evaluate(SHOW, {"unheard": False, "model": {**model, "pad": made, "right": "run"}})
    assert still.evaluate("document.documentElement.scrollWidth") <= size[0]
    for button in still.locator("#sheet button").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 64
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= size[0]
    if size[1] > size[0]:
        assert still.locator("#word").is_visible()
