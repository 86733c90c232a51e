"""The picture: what it draws, that grey suffices, that hard recordings and texts do no harm."""

import io
import math
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from PIL import Image

from tests.outputs.invented import JOB, reading, warm_c, warm_up, with_marks
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.units import from_c
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.curve import BUCKETS, thinned
from warmwatch.outputs.picture.forecasts import horizon_s, pick_forecasts
from warmwatch.outputs.picture.plot import draw, picture
from warmwatch.outputs.picture.style import PAPER, PHONE, Look
from warmwatch.outputs.picture.tags import MOST_TAGS, grouped, make_tags, spread
from warmwatch.outputs.picture.text import drawable, duration, mark_text, windows_text
from warmwatch.outputs.picture.trace import Curve, Trace, make_trace

pytestmark = pytest.mark.slow


def curve_panel(trace: Trace, unit: str = "C") -> Axes:
    return draw(trace, unit, []).axes[0]


def line_named(axes: Axes, label: str) -> tuple[list[float], list[float]]:
    (line,) = [line for line in axes.get_lines() if line.get_label() == label]
    return list(map(float, line.get_xdata())), list(map(float, line.get_ydata()))  # type: ignore[arg-type]


def svg_texts(trace: Trace, notes: list[str] | None = None) -> list[str]:
    """Return every text of the SVG picture, read by an independent XML parser."""
    root = ET.fromstring(picture(trace, image_format="svg", notes=notes or []))  # noqa: S314
    return ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]


def test_curve_is_the_readings_and_the_band_is_where_it_should_be() -> None:
    """The line has the readings' values, and the band spans 80 to 90 and its edges are drawn."""
    trace = make_trace(JOB, warm_up())
    axes = curve_panel(trace)
    times, values = line_named(axes, "fluid")
    assert times == [float(t) for t in range(0, 2700, 5)]
    assert values == [float(round(warm_c(t))) for t in range(0, 2700, 5)]
    flat = [line.get_ydata() for line in axes.get_lines()]
    assert [80.0, 80.0] in [list(map(float, y)) for y in flat]  # type: ignore[arg-type]
    assert [90.0, 90.0] in [list(map(float, y)) for y in flat]  # type: ignore[arg-type]


def test_fahrenheit_shows_the_same_recording() -> None:
    """In degF the band is 176 to 194 and each value is 1.8 C + 32 (exact definition)."""
    trace = make_trace(JOB, warm_up())
    axes = curve_panel(trace, "F")
    _, values = line_named(axes, "fluid")
    assert values[0] == pytest.approx(20 * 1.8 + 32)
    assert axes.get_ylabel() == "temperature, °F"
    assert any("Band 176 to 194 °F" in text for text in svg_texts(replace_unit(trace, "F")))


def replace_unit(trace: Trace, unit: str) -> Trace:
    trace.job = replace(trace.job, unit=unit)
    return trace


def test_window_is_a_dark_patch_in_the_band() -> None:
    """Each window is one patch from first crossing to crossing out, as high as the band."""
    trace = make_trace(JOB, warm_up())
    wanted = to_rgb(style.WINDOW)
    patches = [
        p
        for p in curve_panel(trace).patches
        if isinstance(p, Rectangle) and to_rgb(p.get_facecolor()) == wanted
    ]
    (window,), (patch,) = trace.windows, patches
    assert patch.get_x() == window.entered_crossed_s
    assert window.left_crossed_s is not None
    assert patch.get_width() == window.left_crossed_s - window.entered_crossed_s
    assert (patch.get_y(), patch.get_height()) == (80.0, 10.0)


def test_line_is_broken_where_nothing_was_seen() -> None:
    """Over a gap the line has a NaN, so nothing is drawn through it, and the gap is hatched."""
    items: list[Item] = [*warm_up(500), Tick(520.0), *[reading(t, 45) for t in range(900, 1000, 5)]]
    axes = curve_panel(make_trace(JOB, items))
    times, values = line_named(axes, "fluid")
    assert sum(map(math.isnan, values)) == 1
    assert 495.0 < times[[math.isnan(v) for v in values].index(True)] <= 900.0
    assert [p.get_hatch() for p in axes.patches if p.get_hatch()] == ["///"]


def test_readings_off_the_scale_stand_at_its_edge() -> None:
    """Crosses for readings not believed are all inside the picture."""
    items = warm_up(500)
    items[10] = reading(50, 215.0)
    items[20] = reading(100, -40.0)
    items[30] = Reading(150.0, {}, {"fluid_c": "broken answer"})
    axes = curve_panel(make_trace(JOB, items))
    times, values = line_named(axes, "not believed")
    assert times == [50.0, 100.0, 150.0]
    low, high = axes.get_ylim()
    assert all(low < value < high for value in values)


def test_texts_tell_the_windows_the_marks_and_the_notes() -> None:
    """Marks, windows, phases, forecasts and notes are readable as text in the SVG."""
    items = with_marks(
        warm_up(engine_rpm=750.0, speed_kmh=0.0),
        (2000.5, MarkName.PLUG_OUT, ""),
        (2300.5, MarkName.NOTE, "filter new"),
    )
    texts = svg_texts(make_trace(JOB, items), ["The vehicle is invented."])
    for wanted in ("idle", "fluid", "The vehicle is invented."):
        assert wanted in texts
    assert any(text.endswith("33:20 plug out") for text in texts)
    assert any(text.endswith("38:20 filter new") for text in texts)
    assert any("In the band" in text for text in texts)
    assert any(text.startswith("in ") for text in texts)
    assert any(text.startswith("out ") for text in texts)


def busy() -> Trace:
    marks = [(100.5 * n, MarkName.NOTE, "sixteen letters.") for n in range(1, 26)]
    return make_trace(JOB, with_marks(warm_up(), *marks))


@pytest.mark.parametrize("unit", ["C", "F"])
def test_nothing_written_lies_on_the_curve_and_the_axis_keeps_to_the_data(unit: str) -> None:
    """Marks change no limit of the axis, and every text of the figure stands outside its panel."""
    plain, trace = curve_panel(make_trace(JOB, warm_up()), unit), busy()
    figure = draw(trace, unit, [])
    axes = figure.axes[0]
    assert axes.get_ylim() == plain.get_ylim()
    highest = from_c(max(*trace.fluid.celsius, JOB.band.high_c), unit)
    assert axes.get_ylim()[1] - highest < 10.0
    figure.draw_without_rendering()
    inner = axes.get_window_extent()
    for text in axes.findobj(Text):
        box = text.get_window_extent()
        if text.get_visible() and text.get_text():
            assert not inner.shrunk(0.999, 0.999).overlaps(box), text.get_text()


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_temperature_axis_is_round(unit: str) -> None:
    """Every tick is a multiple of 1, 2 or 5 times a power of ten in the unit that is shown."""
    axes = curve_panel(make_trace(JOB, warm_up()), unit)
    steps = set(np.diff(axes.get_yticks()))
    assert len(steps) == 1
    assert steps.pop() in (1, 2, 5, 10, 20, 50, 100)


@pytest.mark.parametrize("look", [PHONE, PAPER])
def test_nothing_is_clipped(look: Look) -> None:
    """Every text of a busy picture lies inside the figure, "not reached" at its end, too."""
    trace = busy()
    trace.windows = []
    trace.forecasts = [stated(float(t), "low", None, None) for t in range(0, 2690, 5)]
    figure = draw(trace, "C", ["A note at the foot."], look)
    figure.draw_without_rendering()
    page = figure.bbox
    for text in figure.findobj(Text):
        box = text.get_window_extent()
        if text.get_visible() and text.get_text():
            assert page.x0 <= box.x0, text.get_text()
            assert box.x1 <= page.x1 + 1, text.get_text()


def test_letters_on_paper_have_seven_points() -> None:
    """In the proof the picture is as wide as the page's text, so its letters keep their size."""
    a4_text_in = (210 - 2 * 16) / 25.4
    assert PAPER.width_in <= a4_text_in
    assert min(PAPER.small_pt, PAPER.text_pt) >= 7.0


@given(st.lists(st.floats(0, 1), max_size=14), st.floats(0.01, 0.07))
def test_tags_never_lie_on_each_other(places: list[float], least: float) -> None:
    """However close marks come, their tags stand side by side, in order, above the panel."""
    moved = spread(sorted(places), least)
    gaps = np.diff(moved)
    assert all(gap > least - 1e-5 for gap in gaps)
    assert all(0.0 <= place <= 1.0 for place in moved)


def test_of_very_many_marks_some_share_a_tag() -> None:
    """There are never more tags than have room, and none is left out without a number."""
    tags = make_tags(make_trace(JOB, HARD["many marks"]), 600.0)
    assert len(tags) <= MOST_TAGS
    assert tags[0].at_s == 0.5


def test_picture_is_a_png_of_the_promised_size() -> None:
    """An independent reader (Pillow) opens it and finds the width; the curve keeps its height."""
    trace = make_trace(JOB, warm_up(600))
    figure = draw(trace, "C", [])
    with Image.open(io.BytesIO(picture(trace))) as image:
        image.load()
        assert image.size[0] == round(PHONE.width_in * style.DOTS_PER_INCH)
    tall_in = figure.axes[0].get_position().height * figure.get_size_inches()[1]
    assert tall_in == pytest.approx(PHONE.curve_in)


@pytest.mark.parametrize("image_format", ["png", "svg"])
def test_same_recording_gives_the_same_bytes(image_format: str) -> None:
    """Two pictures of one recording do not differ in a single byte."""
    first, second = (
        picture(make_trace(JOB, warm_up(600)), image_format=image_format) for _ in range(2)
    )
    assert first == second


def luminance(color: str) -> float:
    """Relative luminance after WCAG 2.x (from memory), 0 black to 1 white."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(color)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_everything_is_told_apart_in_grey() -> None:
    """Curve, text and band edges contrast with what is under them by lightness alone (WCAG)."""
    for ground in ("white", style.BAND, style.WINDOW):
        assert contrast(style.FLUID, ground) >= 3.0
        assert contrast(style.INK, ground) >= 4.5
    assert contrast(style.SOFT_INK, "white") >= 4.5
    assert contrast(style.BAND_EDGE, style.BAND) >= 3.0
    assert contrast(style.WINDOW, style.BAND) >= 1.5
    assert contrast(style.DOUBT, "white") >= 3.0
    looks = {(round(luminance(p.fill), 1), p.hatch) for p in style.PHASES.values()}
    assert len(looks) == len(style.PHASES)


def test_printed_grey_picture_still_shows_the_window() -> None:
    """In the picture turned to grey the window is clearly darker than the band beside it."""
    trace = make_trace(JOB, warm_up())
    figure = draw(trace, "C", [])
    axes = figure.axes[0]
    with Image.open(io.BytesIO(picture(trace))) as image:
        grey = np.asarray(image.convert("L"), dtype=float)

    def shade(elapsed_s: float, celsius: float) -> float:
        x, y = figure.transFigure.inverted().transform(
            axes.transData.transform((elapsed_s, celsius))
        )
        return float(grey[round((1 - y) * grey.shape[0]), round(x * grey.shape[1])])

    (window,) = trace.windows
    inside_s = window.entered_crossed_s + 30.0
    assert shade(inside_s, 88.0) < shade(300.0, 88.0) - 40
    assert shade(300.0, 88.0) < shade(300.0, 75.0) - 8


def riddled() -> list[Item]:
    """Return readings of which hardly two come together."""
    items: list[Item] = []
    for count in range(120):
        at_s = 20.0 * count
        items.append(reading(at_s, -40.0 if count % 3 == 0 else round(warm_c(at_s))))
    return items


HARD: dict[str, list[Item]] = {
    "empty": [],
    "only a mark": [Mark(3.0, MarkName.NOTE, "")],
    "one reading": [reading(0, 25.0)],
    "one reading late": [reading(1e7, 25.0)],
    "three readings": [reading(t, 25.0 + t) for t in range(3)],
    "eight hours": [reading(t, round(60 + 35 * math.sin(t / 2500))) for t in range(0, 28800, 60)],
    "riddled": riddled(),
    "never believed": [reading(t, 215.0) for t in range(100)],
    "no fluid": [Reading(float(t), {"coolant_c": 50.0}) for t in range(100)],
    "time runs back": [reading(100 - t, 40.0) for t in range(50)],
    "a year": [reading(0, 25.0), reading(3e7, 30.0), reading(3e7 + 1, 30.0)],
    "no numbers": [
        Reading(float(t), {"fluid_c": math.nan, "coolant_c": math.inf}) for t in range(100)
    ],
    "flat": [reading(t, 85.0) for t in range(100)],
    "many marks": with_marks(
        warm_up(600), *[(float(t) + 0.5, MarkName.DRIP, "") for t in range(0, 600, 2)]
    ),
}


@pytest.mark.parametrize("name", HARD)
@pytest.mark.parametrize("image_format", ["png", "svg"])
def test_hard_recordings_are_drawn_without_a_warning(name: str, image_format: str) -> None:
    """Empty, tiny, long, blind and broken recordings make a picture (warnings are errors)."""
    assert len(picture(make_trace(JOB, HARD[name]), image_format=image_format)) > 5000


@pytest.mark.parametrize("name", ["empty", "never believed", "no fluid"])
def test_a_recording_without_fluid_says_so(name: str) -> None:
    """An empty picture is never shown without a word."""
    texts = svg_texts(make_trace(JOB, HARD[name]))
    assert any("No fluid temperature" in text for text in texts)


@given(st.text(max_size=40))
def test_free_text_is_one_line_of_what_the_font_has(text: str) -> None:
    """No control character, line end or missing glyph is left in a label."""
    shown = drawable(text)
    assert shown.isprintable()
    assert len(shown) <= 60


def test_free_text_is_no_formula_and_no_markup() -> None:
    """Dollar signs, backslashes, angle brackets and foreign scripts do no harm."""
    note = "$\\frac{a}{b}$<b>&漢\U0001f600"
    trace = make_trace(
        replace(JOB, vehicle="$x_1$ & <i>", method="idle"),
        with_marks(warm_up(600), (100.5, MarkName.NOTE, note)),
    )
    texts = svg_texts(trace)
    assert "$x_1$ & <i> · idle" in texts
    assert any("$\\frac{a}{b}$<b>&" in text for text in texts)
    assert picture(trace)


@given(st.integers(0, 2**32 - 1), st.integers(2 * BUCKETS + 1, 9 * BUCKETS))
def test_thinning_keeps_extremes_and_breaks(seed: int, count: int) -> None:
    """Of very many points the highest, the lowest and a break where there was one are kept."""
    random = np.random.default_rng(seed)
    values = random.normal(50.0, 20.0, count)
    values[random.integers(0, count, 3)] = np.nan
    curve = Curve()
    for at_s, value in enumerate(values):
        curve.add(float(at_s), float(value))
    times, kept = thinned(curve, "C")
    assert len(kept) <= 4 * BUCKETS
    assert times == sorted(times)
    assert np.nanmax(kept) == np.nanmax(values)
    assert np.nanmin(kept) == np.nanmin(values)
    broken = int(np.flatnonzero(np.isnan(values))[0])
    between = [
        v for t, v in zip(times, kept, strict=True) if abs(t - broken) <= count / BUCKETS + 1
    ]
    assert any(math.isnan(v) for v in between)


def stated(elapsed_s: float, edge: str, q50_s: float | None, q90_s: float | None) -> Forecast:
    made = Forecast(elapsed_s, edge, q50_s, q50_s, q90_s, 0.9, None, 1.0)
    return replace(made, to="enter" if edge == "low" else "leave")


def test_forecasts_are_spread_over_the_way_to_the_first_window() -> None:
    """Some stand before the entry and some inside, each edge on its own side."""
    trace = make_trace(JOB, warm_up())
    (window,) = trace.windows
    trace.forecasts = [stated(float(t), "low", 2000.0 - t, None) for t in range(0, 1900, 5)]
    trace.forecasts += [stated(float(t), "high", 2500.0 - t, None) for t in range(1900, 2400, 5)]
    picked = pick_forecasts(trace)
    low = [f.elapsed_s for f in picked if f.edge == "low"]
    high = [f.elapsed_s for f in picked if f.edge == "high"]
    assert len(low) == 4
    assert len(high) == 2
    assert max(low) < window.entered_crossed_s <= min(high)
    assert low[0] < 200 < low[1] < low[2] < low[3]


def test_a_forecast_that_says_never_is_shown_as_that() -> None:
    """Where no time can be named, the row says so in words."""
    trace = make_trace(JOB, [reading(t, 40.0) for t in range(100)])
    trace.forecasts = [stated(float(t), "low", None, None) for t in range(100)]
    assert "not reached like this" in svg_texts(trace)


def test_the_time_axis_reaches_a_forecast_but_not_for_ever() -> None:
    """Past the end there is room for the band not yet met, half the recording at most."""
    trace = make_trace(JOB, [reading(t, 40.0) for t in range(1001)])
    trace.forecasts = [stated(999.0, "low", 50.0, 90.0)]
    assert horizon_s(trace) == 1089.0
    trace.forecasts = [stated(999.0, "low", 50.0, 1e9)]
    assert horizon_s(trace) == 1500.0


def test_words() -> None:
    """Durations, groups of marks and the line about the windows read well."""
    assert [duration(s) for s in (34.2, 454.0, 4800.0)] == ["34 s", "7 min 34 s", "1 h 20 min"]
    marks = [
        Mark(0.0, MarkName.PLUG_OUT),
        Mark(1.0, MarkName.DRIP),
        Mark(2.0, MarkName.DRIP),
        Mark(3.0, MarkName.NOTE, "x" * 40),
        Mark(30.0, MarkName.PLUG_IN),
    ]
    groups = grouped(marks, 10.0)
    assert [mark_text(group) for group in groups] == ["plug out, drip +1", "plug in"]
    assert mark_text(marks[3:4]) == "x" * 25 + "…"
    assert windows_text([], 0.0) == "Never confirmed inside the band"


def test_drawing_leaves_no_trace_in_the_library() -> None:
    """No display module is loaded and no setting of the drawing library is changed."""
    before = dict(mpl.rcParams)
    picture(make_trace(JOB, warm_up(600)))
    assert dict(mpl.rcParams) == before
    code = (
        "import sys, warmwatch.outputs.picture.plot; "
        "print([m for m in ('matplotlib.pyplot', 'pandas', 'tkinter') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
