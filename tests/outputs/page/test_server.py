"""The page's server: what it sends, how it ends, and where it may be reached."""

import socket
import threading
import time
from importlib.resources import files
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.outputs.page.serving import STEADY, Listener, serve, until
from tests.outputs.views import silent
from warmwatch.core.events import Event, EventKind
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.errors import UsageError
from warmwatch.outputs.base import Summary
from warmwatch.outputs.page.address import names, page_host, url
from warmwatch.outputs.page.code import code_rows
from warmwatch.outputs.page.cues import Cues, tone_table
from warmwatch.outputs.page.curve import KEPT, Curve
from warmwatch.outputs.page.files import static_files
from warmwatch.outputs.page.limits import Askers, Bucket
from warmwatch.outputs.page.marklog import Clash, MarkLog, log_message
from warmwatch.outputs.page.orders import MarkSet
from warmwatch.outputs.page.rights import Right, Rights
from warmwatch.outputs.page.server import PageServer
from warmwatch.outputs.screen.glyphs import ASCII, FULL
from warmwatch.outputs.sound.tones import TONES


def test_the_state_is_sent_at_once_and_again() -> None:
    """A page gets the newest state when it connects, and each further one as it is shown."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        with Listener(served) as listener:
            messages = listener.messages("state")
            assert next(messages)["word"] == "IN THE BAND"
            served.played.take(silent(4.0, 14))
            served.show()
            blind = next(messages)
            assert (blind["state"], blind["figure"], blind["place"]) == ("blind", "", None)


def test_a_watch_that_stands_still_is_blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the session shows nothing any more the server itself tells the pages: blind."""
    monkeypatch.setattr("warmwatch.outputs.page.server.STALLED_S", 0.4)
    monkeypatch.setattr("warmwatch.outputs.page.server.HEARTBEAT_S", 0.2)
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        with Listener(served) as listener:
            messages = listener.messages("state")
            while (message := next(messages))["state"] != "blind":
                assert message["figure"] == "85"
            assert "DOES NOT ANSWER" in str(message["link"])
            assert message["figure"] == ""


def test_no_page_begins_with_an_old_state(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that connects while the watch stands still is told so at once, not what was last."""
    monkeypatch.setattr("warmwatch.outputs.page.server.STALLED_S", 0.3)
    monkeypatch.setattr("warmwatch.outputs.page.server.HEARTBEAT_S", 60.0)
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        time.sleep(0.5)
        with Listener(served) as listener:
            assert next(listener.messages("state"))["state"] == "blind"


def test_the_end_is_told() -> None:
    """At the end the pages are told so, and the stream ends; it is no loss of signal."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        with Listener(served) as listener:
            messages = listener.messages("state")
            next(messages)
            served.page.close(Summary(served.played.view(), "key"))
            last = list(messages)[-1]
            assert (last["state"], last["figure"], last["repeats"]) == ("ended", "", [])
        assert not [t for t in threading.enumerate() if t.name == "page"]
        with pytest.raises(OSError, match="ended"):
            served.show()


def test_marks_come_back() -> None:
    """What a phone marks is there for the session once, with its note."""
    with serve() as served:
        assert served.mark({"mark": "plug-out"}).status == 202
        assert served.mark({"mark": "note", "note": " <b>hot</b> "}).status == 202
        expected = [(MarkName.PLUG_OUT, ""), (MarkName.NOTE, "<b>hot</b>")]
        assert served.page.drain() == expected
        assert served.page.drain() == []


def test_signals_follow_the_same_rules_as_the_speaker() -> None:
    """An event is a cue; what insists is repeated until a mark, and blindness is recalled after."""
    with serve() as served:
        served.played.take(STEADY)
        served.page.take(Event(4.0, EventKind.ENTERED, 85.0))
        served.show()
        with Listener(served) as listener:
            messages = listener.messages("state")
            first = next(messages)
            cue = first["cues"][0]  # type: ignore[index]
            assert (cue["n"], cue["tone"]) == (1, "entered")
            assert cue["say"].startswith("In the band, eighty-five degrees")
            served.played.take(silent(4.0, 14))
            served.show()
            blind = {"tone": "blind", "every_s": 3.0, "say": "Signal lost."}
            assert next(messages)["repeats"] == [blind]
            served.played.mark(MarkName.ACKNOWLEDGE)
            served.show()
            assert next(messages)["repeats"] == [{**blind, "every_s": 30.0}]
            served.played.take([Reading(19.0, {"fluid_c": 85.0})])
            served.show()
            assert next(messages)["repeats"] == []


def test_old_cues_are_not_made_up_for() -> None:
    """A tone is offered for some seconds, and numbered, so that no page plays it twice."""
    cues = Cues()
    cues.now_s = 100.0
    cues.play("entered", lambda: "now")
    cues.play("drip")
    assert [cue["n"] for cue in cues.cues()] == [1]
    cues.now_s = 107.0
    assert cues.cues() == []


def test_the_page_has_every_tone() -> None:
    """The table for the page holds every tone with the pitches and pulses of the tone player."""
    table = tone_table()["tones"]
    assert isinstance(table, dict)
    assert set(table) == {*TONES, "ended"}
    for name, tone in TONES.items():
        assert len(table[name]["pulses"]) == len(tone.pulses)


@given(st.lists(st.tuples(st.floats(0, 30), st.one_of(st.none(), st.floats(-30, 150)))))
def test_the_curve_is_bounded_and_keeps_gaps(steps: list[tuple[float, float | None]]) -> None:
    """However long it runs the curve holds a bounded number of points, and no two gaps in a row."""
    curve, now_s = Curve(), 0.0
    for _ in range(40):
        for pause_s, value in steps:
            now_s += pause_s
            if value is None:
                curve.gap(now_s)
            else:
                curve.add(now_s, value)
    points = curve.points()
    assert len(points) <= KEPT
    assert not [1 for (_, a), (_, b) in pairwise(points) if a is None and b is None]


def test_the_limits() -> None:
    """A bucket refills with time; each asker has one, and the forgotten are the longest unseen."""
    bucket = Bucket(per_s=2.0, burst=4)
    assert [bucket.take(0.0) for _ in range(5)] == [True] * 4 + [False]
    assert bucket.take(0.6)
    assert not bucket.take(0.6)
    askers = Askers()
    assert [askers.may("192.168.1.7", 0.0) for _ in range(61)].count(True) == 60
    assert askers.may("192.168.1.8", 0.0)
    assert [askers.may("::1", 0.0) for _ in range(601)].count(True) == 600


@pytest.mark.parametrize(
    ("asked", "host"),
    [(None, "127.0.0.1"), ("localhost", "127.0.0.1"), ("192.168.1.20", "192.168.1.20")],
)
def test_where_the_page_may_be(asked: str | None, host: str) -> None:
    """Loopback unless an address is given; private addresses (RFC 1918) are taken as they are."""
    assert page_host(asked) == host


@pytest.mark.parametrize(
    "asked", ["0.0.0" + ".0", "::", "8.8.8.8", "224.0.0.1", "no such name", ""]
)
def test_where_the_page_must_not_be(asked: str) -> None:
    """All networks at once, public and multicast addresses are refused, in one sentence."""
    with pytest.raises(UsageError, match="--page-host"):
        page_host(asked)


def test_a_private_address_is_chosen(monkeypatch: pytest.MonkeyPatch) -> None:
    """`private` takes the machine's address towards others if it is private, else looks further."""
    module = "warmwatch.outputs.page.address"
    monkeypatch.setattr(f"{module}._towards_others", lambda: "10.1.2.3")
    monkeypatch.setattr(f"{module}._by_name", lambda: ["192.168.7.7"])
    assert page_host("private") == "10.1.2.3"
    monkeypatch.setattr(f"{module}._towards_others", lambda: "8.8.8.8")
    assert page_host("private") == "192.168.7.7"
    monkeypatch.setattr(f"{module}._by_name", lambda: ["127.0.1.1"])
    with pytest.raises(UsageError, match="no address in a private network"):
        page_host("private")


def test_host_names() -> None:
    """Links and Host headers follow RFC 3986 and RFC 9110: IPv6 in brackets, port 80 left out."""
    assert url("fd00::1", 4780, "/x") == "http://[fd00::1]:4780/x"
    assert names("192.168.1.2", 4780) == {"192.168.1.2:4780"}
    assert names("127.0.0.1", 80) == {"127.0.0.1", "localhost"}


def test_a_port_in_use_is_told() -> None:
    """A port that somebody else has is one sentence; without a wish another port is taken."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        server = PageServer("127.0.0.1", taken.getsockname()[1], Rights(marks=False))
        with pytest.raises(UsageError, match="choose another"):
            server.start()
    with serve() as one, serve() as two:
        assert one.server.port != two.server.port


def test_stopping_is_quick_and_may_be_repeated() -> None:
    """The server ends within a second with a stream open, and again without effect."""
    with serve() as served, Listener(served):
        until(lambda: served.server.clients == 1)
        started = time.monotonic()
        served.server.stop()
        served.server.stop()
        assert time.monotonic() - started < 2.0


def test_the_files_are_in_the_package() -> None:
    """All files of the page are package data, and none names a resource of another site."""
    served = static_files()
    folder = files("warmwatch.outputs.page") / "static"
    names_there = {entry.name for entry in folder.iterdir()}
    assert names_there == {path[1:] or "page.html" for path in served} - {"favicon.ico", "all.js"}
    for path, file in served.items():
        if file.packed is None or path in ("/preact.js", "/all.js"):
            continue
        text = file.content.decode("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http" not in text.replace("plain http", ""), path
        assert "//" not in text.replace("// ", "") or path.endswith((".js", ".css"))
        assert "innerHTML" not in text


def test_the_first_view_is_small() -> None:
    """All that a phone fetches before it shows the first state is under 60 kB, packed on the wire.

    The films that keep the screen on come only after a tap.
    """
    with serve() as served:
        paths = ["/", "/all.js", "/page.css", "/icon.svg", "/tick.js"]
        answers = [served.ask("GET", path, Accept_Encoding="gzip, br") for path in paths]
        assert {answer.headers["Content-Encoding"] for answer in answers} == {"gzip"}
        assert sum(len(answer.body) for answer in answers) < 60_000
        whole = served.ask("GET", "/all.js")
        assert whole.body == static_files()["/all.js"].content
        assert "Content-Encoding" not in whole.headers


def bits(rows: list[str]) -> list[list[bool]]:
    """Return the pixels of rows of half blocks."""
    upper, lower = set("█▀"), set("█▄")
    return [[c in half for c in row] for row in rows for half in (upper, lower)]


def test_the_code_holds_the_link() -> None:
    """The drawn code is the library's code of the link, in either polarity, and fits 20 rows."""
    import segno

    link = "http://192.168.178.123:4780/open/" + "k" * 24
    rows = code_rows(link, FULL)
    assert len(rows) <= 19
    assert len(rows[0]) <= 60
    matrix = [[bool(cell) for cell in row] for row in segno.make(link, error="l").matrix]
    dark = bits(rows)
    size = len(matrix)
    assert [row[2 : 2 + size] for row in dark[2 : 2 + size]] == matrix
    light = bits(code_rows(link, FULL, dark_on_light=False))
    assert light == [[not cell for cell in row] for row in dark]
    assert code_rows(link, ASCII) == []


@pytest.mark.parametrize(
    ("size", "holds"),
    [
        ((60, 30), ("http", "Only", "█")),
        ((60, 18), ("http", "█")),
        ((60, 15), ("http", "Only")),
        ((30, 30), ("http", "Only")),
    ],
)
def test_the_panel_for_the_screen(size: tuple[int, int], holds: tuple[str, ...]) -> None:
    """The panel has as much as fits of link, words and code; the code whole or not at all."""
    with serve() as served:
        lines = served.page.lines(*size, FULL, colour=True)
        text = "\n".join("".join(text for text, _ in line) for line in lines)
        assert tuple(mark for mark in ("http", "Only", "█") if mark in text) == holds
        assert len(lines) <= size[1]
        assert served.server.link(Right.MARK) in text


def test_a_server_that_was_never_started_can_be_stopped() -> None:
    """Stopping what never ran is harmless."""
    PageServer("127.0.0.1", None, Rights(marks=False)).stop()


def test_two_phones_that_mark_opposite_things_are_told() -> None:
    """Opposite marks of two phones within a moment are both recorded, and every page says so."""
    with serve() as served, Listener(served) as listener:
        served.played.take(STEADY)
        mine, other = (f"{served.cookie()}; browser-{served.server.port}={name}" for name in "ab")
        served.mark({"mark": "plug-out"}, Cookie=mine)
        served.mark({"mark": "plug-in"}, Cookie=other)
        assert served.page.drain() == [(MarkName.PLUG_OUT, ""), (MarkName.PLUG_IN, "")]
        served.show()
        told = next(listener.messages("state"))["clash"]
        assert "plug out, then plug in" in str(told)


def test_one_phone_that_goes_on_is_no_clash() -> None:
    """The same phone's next mark, a later one of another, or one that goes with it is no clash."""
    clash = Clash()
    clash.take(MarkSet(MarkName.PLUG_OUT, browser="a"), 10.0)
    clash.take(MarkSet(MarkName.PLUG_IN, browser="a"), 10.5)
    clash.take(MarkSet(MarkName.PLUG_OUT, browser="b"), 20.0)
    clash.take(MarkSet(MarkName.DRIP, browser="a"), 20.5)
    assert clash.text(21.0) == ""
    clash.take(MarkSet(MarkName.NO_DRIP, browser="b"), 21.0)
    assert clash.text(21.0)
    assert clash.text(60.0) == ""


def test_the_list_of_marks_knows_what_was_taken_back() -> None:
    """`withdraw` takes back the last mark that stands; heard is no mark to take back."""
    log = MarkLog()
    names = ("stream", "plug-out", "acknowledge", "withdraw", "withdraw", "withdraw", "drip")
    for second, name in enumerate(names):
        log.take(Mark(float(second), MarkName(name)))
    shown = log_message(log.lines())
    assert [(line.name, line.withdrawn) for line in log.lines()] == [
        (MarkName.STREAM, True),
        (MarkName.PLUG_OUT, True),
        (MarkName.DRIP, False),
    ]
    assert shown["marks"] == {"drip": "00:06"}


@pytest.mark.parametrize(
    ("mark", "note", "told"),
    [
        ("drained", "4.2 L at 50 °C", "4.20 L at 50 °C is 4.1"),
        ("filled", "4.5 qt at 68 °F", "4.50 qt at 20 °C is 4.50 qt at 20 °C"),
        ("drained", "4.2", ""),
        ("drained", "9999 L", ""),
        ("drained", "75 L 50 C", "MORE THAN ALL THE FLUID"),
        ("filled", "-3 L", ""),
        ("vehicle-level", "0.3 lengthwise, 0.2 crosswise", "within the limit of 1°"),
        ("vehicle-level", "3 crosswise", "BEYOND the limit"),
        ("vehicle-level", "80 crosswise", ""),
        ("note", "hello", ""),
    ],
)
def test_what_is_typed_is_understood_or_not(mark: str, note: str, told: str) -> None:
    """Amounts and tilts come back in words; one without a unit, or absurd, is not understood."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        answer = served.post("/understand", {"mark": mark, "note": note}).body.decode()
        assert told in answer
        assert bool(told) == bool(answer)
