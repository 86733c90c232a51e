"""The page's logic, without a browser: what it may claim, what insists, what a tap does."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.outputs.page.engine import STATE, PageModel, find, value, walk
from tests.outputs.page.serving import STEADY, Listener, serve

MARK = {"key": "1-drip", "name": "drip", "note": "", "clock": "00:05", "withdrawn": False}
TONES = {"blind": {"urgency": 5}, "entered": {"urgency": 2}, "trouble": {"urgency": 3}}


def seen(**more: object) -> PageModel:
    """A page that has had states for a while."""
    page = PageModel(**more)  # type: ignore[arg-type]
    page.happen("hello", body={"right": page.get("right"), "caution": "", "tones": TONES})
    for _ in range(12):
        page.state(0.5)
        page.happen("tick")
    return page


def names(effects: list[list[Any]]) -> list[str]:
    return [effect[0] for effect in effects]


@pytest.mark.slow
def test_silence_is_blindness() -> None:
    """Without a state for 3.5 s nothing is claimed: no figure, no time; it sounds once, at once."""
    page = seen()
    assert page.shown("figure") == "85"
    effects = page.tick(3.25)
    assert page.attribute("state") == "inside"
    effects = page.tick(1.0)
    assert page.attribute("state") == "blind"
    assert [e for e in effects if e[0] == "cue"] == [["cue", "blind", "Signal lost."]]
    assert "85" not in page.texts()
    assert "12 min" not in page.texts()
    assert "connect" in names(page.tick(3.0))
    page.state()
    assert page.attribute("state") == "inside"
    assert page.shown("figure") == "85"


def test_an_old_message_is_not_shown_as_now() -> None:
    """A state much later than the quickest one has lain about somewhere: it is not believed."""
    page = seen()
    page.state(1.0, figure="86", lag_s=40.0)
    assert page.shown("figure") == "85"
    page.state(0.1, figure="87")
    assert page.shown("figure") == "87"


def test_a_clock_that_was_set_is_believed_again() -> None:
    """When all messages of a connection are late alike, a clock was set."""
    page = seen()
    for _ in range(20):
        page.state(0.5, figure="90", lag_s=3600.0)
        page.happen("tick")
    assert page.shown("figure") == "90"


@pytest.mark.parametrize("slept_s", [6.0, 60.0, 3600.0])
def test_a_phone_that_slept_says_for_how_long(slept_s: float) -> None:
    """A gap in the page's own clock is told with its length, sounds, and connects anew."""
    page = seen()
    effects = page.happen("tick", slept_s)
    assert ["cue", "trouble"] in [effect[:2] for effect in effects]
    assert "connect" in names(effects)
    said = f"{slept_s:.0f} s" if slept_s < 120 else f"{slept_s / 60:.0f} min"
    assert f"The phone slept for {said}" in " ".join(page.texts())
    assert page.attribute("state") == "blind"
    page.state()
    assert page.attribute("state") == "inside"
    assert "slept" in " ".join(page.texts())
    page.happen("woken")
    assert "slept" not in " ".join(page.texts())


def test_only_what_is_recorded_is_noted() -> None:
    """A tap is sent; the button says noted only when the watch has the mark, or that it failed."""
    page = seen()
    effects = page.happen("mark", name="drip")
    assert ["post", "/mark", {"mark": "drip", "note": ""}, "drip"] in effects
    assert "sending…" in page.texts()
    page.happen("sent", name="drip", ok=True, text="")
    assert not [text for text in page.texts() if text.startswith("noted")]
    page.state(0.2, marks={"drip": "00:05"}, last=MARK, log=[MARK])
    assert "noted 00:05" in page.texts()
    page.happen("mark", name="drip")
    page.state(0.2, marks={"drip": "00:06"}, last=MARK, log=[MARK])
    page.happen("sent", name="drip", ok=True, text="")  # the answer comes after the state
    assert "noted 00:06" in page.texts()
    page.happen("mark", name="plug-in")
    page.happen("sent", name="plug-in", ok=False, text="Too much at once")
    assert "NOT NOTED: again" in page.texts()
    assert "Too much at once" in page.texts()


def test_take_back_is_at_hand_for_ten_seconds() -> None:
    """Within 10 s of a mark one tap takes it back; later the same button opens the list."""
    page = seen()
    page.state(0.2, last=MARK, log=[MARK], marks={"drip": "00:05"})
    assert "drip" in page.texts()
    for _ in range(18):
        page.state(0.5, last=MARK, log=[MARK], marks={"drip": "00:05"})
    effects = page.happen("take-back")
    assert ["post", "/mark", {"mark": "withdraw", "note": ""}, "withdraw"] in effects
    for _ in range(4):
        page.state(0.5, last=MARK, log=[MARK], marks={"drip": "00:05"})
    assert page.happen("take-back") == []
    assert page.get("sheet") == "list"
    assert "Take back" in page.texts()


def test_a_mark_of_long_ago_is_not_at_hand() -> None:
    """A page that is opened later does not offer to take back what was marked before."""
    page = PageModel()
    page.state(last=MARK, log=[MARK])
    assert page.happen("take-back") == []
    assert page.get("sheet") == "list"


def test_who_may_only_watch_sends_nothing() -> None:
    """Without the right no tap and no key sends a mark or an order; heard quiets this phone."""
    page = seen(right="watch")
    page.state(0.2, unheard=True, cues=[{"n": 1, "tone": "entered", "say": ""}])
    for name in ("drip", "plug-out", "acknowledge", "withdraw"):
        assert "post" not in names(page.happen("mark", name=name))
    assert "post" not in names(page.happen("do", body={"do": "stop"}))
    assert page.attribute("unheard") == "false"
    assert [name for name in page.buttons() if name] == ["acknowledge"]


def test_the_more_urgent_is_heard() -> None:
    """Of several new signals the most urgent is let be heard; old ones never again."""
    page = seen()
    list_ = [{"n": 1, "tone": "entered", "say": "a"}, {"n": 2, "tone": "blind", "say": "b"}]
    assert page.state(0.2, cues=list_) == [["cue", "blind", "b", 2]]
    assert page.state(0.2, cues=list_) == []


def test_the_end_is_heard_once_and_its_age_goes_on() -> None:
    """The end sounds once; though nothing more comes it is no blindness, and its age is true."""
    page = seen()
    assert ["cue", "ended", "The watch has ended."] in page.state(0.2, state="ended", figure="")
    assert "cue" not in names(page.tick(30.0))
    assert page.attribute("state") == "ended"
    assert "The watch ended 3" in page.shown("link")


def test_a_refused_page_says_why() -> None:
    """After a restart of the program the page says that its link is old."""
    page = seen()
    page.happen("refused", status=403)
    page.tick(4.0)
    assert "This link is old" in page.shown("link")


def test_another_tab_takes_over() -> None:
    """A tab whose place was taken claims nothing and does not fight for it; a touch takes it."""
    page = seen()
    page.happen("elsewhere")
    assert page.attribute("state") == "blind"
    assert "connect" not in names(page.tick(20.0))
    assert "connect" in names(page.happen("visible"))


VISIT = {"stage": "prepare", "n": 1, "vehicles": [], "vehicle": None, "adapters": [],
    "trial": {"state": "none", "steps": []}, "unit": "°C", "ready": False, "missing": "Choose.",
    "problem": "", "caution": ""}  # fmt: skip


def test_before_a_watch_no_temperature_is_missed() -> None:
    """While a visit is prepared silence of readings is no alarm; a laptop that is gone is told."""
    page = PageModel(right="run")
    page.happen("visit", body=VISIT)
    assert page.attribute("state") == "prepare"
    assert "cue" not in names(page.tick(3.0))
    page.tick(1.0)
    assert page.attribute("state") == "cut"
    assert "NO LAPTOP" in page.texts()
    page.happen("visit", body=VISIT)
    assert "PREPARE" in page.texts()


def test_a_new_watch_begins_with_nothing_of_the_last() -> None:
    """Figures, marks and signals of one watch are not shown in the next."""
    page = seen(right="run")
    page.happen("visit", body={**VISIT, "stage": "watch"})
    page.state(0.2, last=MARK, log=[MARK], marks={"drip": "00:05"})
    for stage in ("prepare", "opening"):
        page.happen("visit", body={**VISIT, "stage": stage, "n": 2})
    assert page.shown("figure") == ""
    assert page.attribute("state") == "connecting"
    page.happen("visit", body={**VISIT, "stage": "watch", "n": 3})
    assert page.get("mark") is None
    page.state(0.2, cues=[{"n": 1, "tone": "blind", "say": ""}])
    assert page.state(0.2, cues=[{"n": 2, "tone": "blind", "say": "x"}])[0][0] == "cue"


KEYS = st.lists(
    st.sampled_from([*"0123456789", ".", "back", "L", "mL", "qt", "oz", "°C", "°F",
        "field amount", "field temp", "act filled", "-"]),
    max_size=25,
)  # fmt: skip


@pytest.mark.slow
@given(KEYS)
@settings(deadline=None, max_examples=60)
def test_the_number_pad_writes_numbers(keys: list[str]) -> None:
    """Whatever is typed, each field is empty or a number; only a whole amount is asked about."""
    pad = value('modules["pad.js"].amountPad("drained", "°C")')
    for key in keys:
        pad = value(f'modules["pad.js"].typed({json.dumps(pad)}, {json.dumps(key)})')
    for field in pad["fields"]:
        assert field["text"] in ("", "-") or float(field["text"]) is not None
        assert field["unit"] in field["units"]
    asked = pad["asks"]
    assert (asked is None) == (not any(char.isdigit() for char in pad["fields"][0]["text"]))


def test_an_amount_is_noted_only_as_understood() -> None:
    """The key that notes an amount is dead until the laptop has said what it understood."""
    page = seen()
    page.happen("open", sheet="amount", pad=value('modules["pad.js"].amountPad("drained", "°C")'))
    effects = [effect for key in ("4", ".", "2") for effect in page.happen("key", key=key)]
    asks = {"mark": "drained", "note": "4.2 L"}
    assert effects[-1][:2] == ["understand", asks]
    assert find(page.tree(), "note-it")["props"]["disabled"] is True
    page.happen("understood", of="something older", text="4 L")
    assert find(page.tree(), "note-it")["props"]["disabled"] is True
    page.happen("understood", of=effects[-1][2], text="")
    assert "That cannot be: look again." in page.texts()
    assert find(page.tree(), "note-it")["props"]["disabled"] is True
    page.happen("understood", of=effects[-1][2], text="4.20 L at 20 °C")
    assert find(page.tree(), "note-it")["props"]["disabled"] is False


STATES = st.fixed_dictionaries(
    {
        "state": st.sampled_from(["inside", "blind", "ended", "above", "near", "plug-open"]),
        "figure": st.sampled_from(["", "85", "-12.5"]),
        "plug_out": st.booleans(),
        "unheard": st.booleans(),
        "stalled": st.booleans(),
        "last": st.sampled_from([None, MARK]),
        "lag_s": st.sampled_from([0.01, 0.3, 50.0]),
    }
)
PLAIN = ("tick", "elsewhere", "visible", "woken", "take-back")
MESSAGES: st.SearchStrategy[tuple[str, Any]] = st.one_of(
    st.tuples(st.just("state"), STATES),
    st.tuples(st.sampled_from(PLAIN), st.just({})),
    st.tuples(
        st.just("mark"),
        st.fixed_dictionaries({"name": st.sampled_from(["drip", "plug-out", "acknowledge"])}),
    ),
    st.tuples(
        st.just("sent"),
        st.fixed_dictionaries({"name": st.just("drip"), "ok": st.booleans(), "text": st.just("")}),
    ),
    st.tuples(st.just("refused"), st.fixed_dictionaries({"status": st.sampled_from([403, 503])})),
)


@pytest.mark.slow
@given(st.lists(st.tuples(MESSAGES, st.sampled_from([0.0, 0.25, 1.0, 4.0, 100.0])), max_size=30))
@settings(deadline=None, max_examples=80)
def test_marks_keep_their_places_and_nothing_unheard_of_is_claimed(
    happened: list[tuple[tuple[str, dict[str, Any]], float]],
) -> None:
    """Whatever happens, each mark stays in its place; and no figure is shown that is not of now."""
    page = PageModel()
    places = page.buttons()
    for (kind, about), later_s in happened:
        if kind == "state":
            page.state(later_s, **about)
        else:
            page.happen(kind, later_s, **about)
        page.happen("tick")
        assert page.buttons() == places
        old_s = page.now_s - page.get("heardAt.wall") / 1000
        if old_s > 3.5 and page.attribute("state") != "ended":
            assert page.shown("figure") == ""
            assert page.attribute("state") in ("blind", "connecting")


def test_the_curve_shows_forecast_band_marks_and_gaps() -> None:
    """The fan goes from now to the edge between q10 and q90; what is not known is a field."""
    data = {
        "low": 80,
        "high": 90,
        "unit": "°C",
        "now": 300,
        "marks": [[250, "drip"]],
        "points": [[0, 60], [150, None], [200, 70], [300, 75]],
        "fan": {"from": 75, "edge": 80, "q10": 60, "q50": 80, "q90": 120},
    }
    tree = value(f'modules["curve.js"].curve({json.dumps(data)}, true)')
    scale = value(f'(() => {{ const s = modules["curve.js"].scales({json.dumps(data)}, true);'
                  " return [s.x(300), s.x(360), s.x(420), s.y(80), s.y(75)]; })()")  # fmt: skip
    classes = [node["props"].get("class") for node in _nodes(tree)]
    assert [classes.count(name) for name in ("fan", "mark", "unknown", "line", "band")] == [
        1,
        1,
        1,
        1,
        1,
    ]
    fan = next(node for node in _nodes(tree) if node["props"].get("class") == "fan")
    points = [[float(n) for n in pair.split(",")] for pair in fan["props"]["points"].split()]
    assert points == [[pytest.approx(x, abs=0.1), pytest.approx(y, abs=0.1)] for x, y in
        ((scale[0], scale[4]), (scale[1], scale[3]), (scale[2], scale[3]))]  # fmt: skip
    blind = value(f'modules["curve.js"].curve({json.dumps(data)}, false)')
    assert "fan" not in [node["props"].get("class") for node in _nodes(blind)]


def _nodes(tree: dict[str, Any]) -> list[dict[str, Any]]:
    return [node for node in walk(tree) if isinstance(node, dict)]


def test_the_stand_in_state_has_the_form_of_the_real_one() -> None:
    """What these tests feed the page has the same parts as what the server sends."""
    with serve() as served, Listener(served) as listener:
        served.played.take(STEADY)
        served.show()
        real = next(listener.messages("state"))
    assert set(STATE) <= set(real)
