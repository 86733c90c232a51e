"""Green and red differ in lightness, too, on screen and page (WCAG 2.2, relative luminance)."""

import re
from importlib.resources import files

import pytest

from warmwatch.outputs.screen.layout import Style
from warmwatch.outputs.screen.painter import COLOURS


def luminance(colour: str) -> float:
    """Return the relative luminance of `#rrggbb` as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_ends() -> None:
    """Black on white is 21 : 1, a colour on itself 1 : 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == 1.0


def grounds() -> dict[str, str]:
    return {style: text.split(" on ")[1] for style, text in COLOURS.items() if " on " in text}


def test_in_the_band_and_alarm_differ_in_lightness_on_the_screen() -> None:
    """At least 3 : 1, so that an eye without red and green tells them apart."""
    assert contrast(grounds()[Style.GOOD], grounds()[Style.ALARM]) >= 3.0


def test_in_the_band_and_alarm_differ_in_lightness_on_the_page() -> None:
    """The same of the page's palette."""
    css = (files("warmwatch.outputs.page") / "static" / "page.css").read_text(encoding="utf-8")
    good, alarm = (re.search(rf"--{name}: (#[0-9a-f]{{6}})", css) for name in ("good", "alarm"))
    assert good is not None
    assert alarm is not None
    assert contrast(good[1], alarm[1]) >= 3.0


@pytest.mark.parametrize("style", [Style.CALM, Style.READY, Style.GOOD, Style.ALARM])
def test_every_banner_can_be_read(style: Style) -> None:
    """Text on its ground has 4.5 : 1 at least."""
    ink, ground = COLOURS[style].removeprefix("bold ").split(" on ")
    assert contrast(ink, ground) >= 4.5
