"""The page in a real browser: what a mechanic sees, hears and taps."""

import re
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.outputs.page.browser import opened, phone, script, state, wait_js, wait_state
from tests.outputs.page.serving import STEADY, Feeding, Served, free_port, serve
from tests.outputs.views import silent
from warmwatch.core.events import Event, EventKind
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.outputs.base import Summary
from warmwatch.outputs.page.rights import Right


def test_the_link_opens_the_page(fed: tuple[Served, Page]) -> None:
    """The printed link leads to the page, without its key in the address, showing the state."""
    served, page = fed
    assert page.url == f"http://{served.host}/"
    wait_state(page, "inside")
    assert page.inner_text("#word") == "IN THE BAND"
    assert page.inner_text("#degrees") == "85"
    assert page.inner_text("#unit") == "°C"
    assert "Last reading" in page.inner_text("#link")
    assert "85 °C" in page.title()
    assert page.evaluate("document.cookie") == ""


def test_no_outside_resource(browser: BrowserContext) -> None:
    """The page asks for nothing but its own files, and the policy has nothing to complain about."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        page = browser.new_page()
        asked: list[str] = []
        told: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: told.append(message.text))
        page.on("pageerror", lambda error: told.append(str(error)))
        page.goto(served.server.link(Right.MARK))
        page.wait_for_url("**/")
        wait_state(page, "inside")
        page.click("#tones")
        page.click("#open-more")
        page.click("#light")
        page.wait_for_selector('[data-awake="lock"],[data-awake="video"]')
        assert asked
        assert {url.split("/")[2] for url in asked} == {served.host}
        assert told == []
        page.close()


@pytest.mark.parametrize("name", ["plug-out", "drip", "plug-in", "topped-up", "level-set"])
def test_a_button_is_a_mark(fed: tuple[Served, Page], name: str) -> None:
    """A tap is one mark; the button says noted only when the watch has it."""
    served, page = fed
    page.click(f'[data-mark="{name}"]')
    page.wait_for_selector(f'[data-mark="{name}"][data-noted="true"]')
    assert "noted 00:04" in page.inner_text(f'[data-mark="{name}"] small')
    marks = [t.entry.name for t in served.played.history().latest if isinstance(t.entry, Mark)]
    assert marks == [MarkName(name)]
    if name == "plug-out":
        wait_js(page, "document.querySelector('#rates').textContent.includes('PLUG OUT')")


def test_a_pedal_that_types_a_key_marks(fed: tuple[Served, Page]) -> None:
    """Keys mark as on the laptop; any other key says heard while something insists."""
    served, page = fed
    page.keyboard.press("d")
    page.wait_for_selector('[data-mark="drip"][data-noted="true"]')
    page.keyboard.press("F9")
    served.played.take(silent(4.0, 10))
    served.page.take(Event(9.0, EventKind.BLIND))
    page.wait_for_selector('body[data-unheard="true"]')
    page.keyboard.press("F9")
    page.wait_for_selector('body[data-unheard="false"]')
    names = [t.entry.name for t in served.played.history().latest if isinstance(t.entry, Mark)]
    assert names == [MarkName.DRIP, MarkName.ACKNOWLEDGE]


def test_a_mark_that_did_not_arrive_is_told(fed: tuple[Served, Page]) -> None:
    """When a mark cannot be sent the button says so and does not say noted."""
    _, page = fed
    page.route("**/mark", lambda route: route.abort())
    page.click('[data-mark="plug-in"]')
    page.wait_for_selector('[data-mark="plug-in"][data-failed="true"]')
    assert "NOT NOTED" in page.inner_text('[data-mark="plug-in"]')
    assert page.get_attribute('[data-mark="plug-in"]', "data-noted") != "true"


def test_who_may_only_watch_has_no_mark_buttons(browser: BrowserContext) -> None:
    """With the watching link the marks are not there; heard is, and quiets this phone alone."""
    with serve() as served:
        served.played.take(STEADY).take(silent(4.0, 10))
        with Feeding(served):
            page = opened(browser, served.server.link(Right.WATCH))
            page.wait_for_selector('#marks[data-may="false"]')
            assert page.locator("#marks button:visible").count() == 1
            page.click('[data-mark="acknowledge"]')
            time.sleep(0.4)
            assert served.played.watch.alarm.insists
            page.close()


def test_blind_claims_nothing(fed: tuple[Served, Page]) -> None:
    """When the watch is blind the page shows no figure, no time and no rate."""
    served, page = fed
    served.played.take(silent(4.0, 14))
    wait_state(page, "blind")
    assert page.inner_text("#degrees") == "BLIND"
    assert [page.inner_text(f"#{name}") for name in ("unit", "soon", "time")] == [""] * 3
    assert "NO GOOD READING for 14 s" in page.inner_text("#link")
    assert "85" not in page.inner_text("main")
    assert page.inner_text("#alarm") == "BLIND. The temperature is not known."


def test_a_lost_connection_is_blind_within_5_s(browser: BrowserContext) -> None:
    """When the watch is gone, however it went, the page says so in 5 s; it recovers by itself."""
    with serve(port=free_port()) as served:
        served.played.take(STEADY)
        with Feeding(served):
            page = opened(browser, served.server.link(Right.MARK))
            wait_state(page, "inside")
            page.click("#tones")
        # Nothing is shown any more, but the connection stands: the server itself says so.
        started = time.monotonic()
        wait_state(page, "blind")
        assert time.monotonic() - started < 5.0
        assert "THE WATCH DOES NOT ANSWER" in page.inner_text("#link")
        wait_js(page, "document.body.dataset.played === 'seeing blind'")
        with Feeding(served):
            wait_state(page, "inside")
        port = served.server.port
        served.server.stop()
        started = time.monotonic()
        wait_state(page, "blind")
        assert time.monotonic() - started < 5.0
        assert page.inner_text("#degrees") == "BLIND"
        assert "No word from the watch" in page.inner_text("#link")
        wait_js(page, "document.body.dataset.played.endsWith('blind blind')")
        # The same watch is there again: the page finds it without a tap.
        again = type(served.server)("127.0.0.1", port, served.server.site.rights)
        again.start()
        feeding = Served(again, type(served.page)(again, "C"), served.played)
        again.site.rights._cookies.update(served.server.site.rights._cookies)
        with Feeding(feeding):
            wait_state(page, "inside", 10.0)
            assert page.inner_text("#degrees") == "85"
        again.stop()
        page.close()


class Wire:
    """A TCP relay that can stop passing anything on, without closing: a phone out of reach."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.open = threading.Event()
        self.open.set()
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            server = socket.create_connection(("127.0.0.1", self._to))
            for one, other in ((client, server), (server, client)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        try:
            while piece := one.recv(65536):
                self.open.wait()
                other.sendall(piece)
        except OSError:
            pass
        finally:
            other.close()

    def close(self) -> None:
        self.open.set()
        self._listener.close()


def test_a_frozen_wire_is_blind_and_old_states_are_not_believed(browser: BrowserContext) -> None:
    """A connection that stands still is blind in 5 s; what it delivers late is not shown as now."""
    with serve() as served:
        wire = Wire(served.server.port)
        served.server.site.hosts |= {f"127.0.0.1:{wire.port}"}
        served.played.take(STEADY)
        with Feeding(served):
            key = served.server.site.rights.key(Right.MARK)
            page = opened(browser, f"http://127.0.0.1:{wire.port}/open/{key}")
            # The cookie is named for the port that the server knows.
            wait_state(page, "inside")
            wire.open.clear()
            started = time.monotonic()
            wait_state(page, "blind")
            assert time.monotonic() - started < 5.0
            page.evaluate(script("watch_text"), "#degrees")
            served.played.take([Reading(5.0 + i, {"fluid_c": 85.0}) for i in range(3)])
            served.played.take([Reading(8.0 + i, {"fluid_c": 86.0}) for i in range(5)])
            time.sleep(0.5)
            wire.open.set()
            wait_state(page, "inside", 10.0)
            wait_js(page, "document.querySelector('#degrees').textContent === '86'")
            assert "85" not in page.evaluate("window.texts")
            page.close()
        wire.close()


def test_a_clock_that_is_set_does_not_blind_for_long(fed: tuple[Served, Page]) -> None:
    """When the phone's clock is set forward, the page believes the states again after seconds."""
    _, page = fed
    wait_state(page, "inside")
    page.evaluate("{ const now = Date.now; Date.now = () => now() + 3600000; }")
    page.wait_for_timeout(500)
    wait_state(page, "inside", 10.0)
    page.wait_for_timeout(1500)
    assert state(page) == "inside"


def test_the_end_is_no_alarm(fed: tuple[Served, Page]) -> None:
    """At the end of the watch the page says ended, and stays so without an alarm."""
    served, page = fed
    wait_state(page, "inside")
    page.click("#tones")
    served.ended = True  # a session shows nothing more once it closes its outputs
    time.sleep(0.5)
    served.page.close(Summary(served.played.view(), "key"))
    wait_state(page, "ended")
    time.sleep(4.5)
    assert state(page) == "ended"
    assert page.inner_text("#degrees") == "?"
    assert "blind" not in page.evaluate("document.body.dataset.played")


def test_sound_begins_with_a_tap(fed: tuple[Served, Page]) -> None:
    """No tone before the tap; after it each signal is heard once, and words follow with voice."""
    served, page = fed
    served.page.take(Event(4.0, EventKind.ENTERED, 85.0))
    time.sleep(0.4)
    assert page.evaluate("document.body.dataset.played") is None
    page.click("#tones")
    page.wait_for_selector('#tones[aria-pressed="true"]')
    assert page.evaluate("document.body.dataset.played") == "seeing"
    page.click("#open-more")
    page.click("#voice")
    page.wait_for_selector('#voice[aria-pressed="true"]')
    served.page.take(Event(4.0, EventKind.TOP_NEARING, 85.0))
    wait_js(page, "document.body.dataset.played === 'seeing top-nearing'")
    wait_js(page, "(document.body.dataset.said || '').length > 5")
    assert page.evaluate("document.body.dataset.said") == "The top of the band is near."


def test_blindness_insists_until_it_is_heard(fed: tuple[Served, Page]) -> None:
    """The blind tone comes again and again; after heard it does not come at once again."""
    served, page = fed
    page.click("#tones")
    wait_js(page, "document.body.dataset.played")
    served.played.take(silent(4.0, 14))
    served.page.take(Event(9.0, EventKind.BLIND, 85.0))
    wait_js(page, "document.body.dataset.played.split('blind').length > 2", 12.0)
    page.click('[data-mark="acknowledge"]')
    page.wait_for_selector('body[data-unheard="false"]')
    heard = page.evaluate("document.body.dataset.played")
    time.sleep(4.5)
    assert page.evaluate("document.body.dataset.played") == heard


def test_the_tones_are_the_same_as_on_the_laptop(fed: tuple[Served, Page]) -> None:
    """What the browser makes has its energy at the pitch and its harmonics (spectrum by FFT)."""
    import numpy as np

    _, page = fed
    samples = page.evaluate(
        """async () => {
          const {Sound} = await import('/sound.js');
          const sound = new Sound();
          const context = new OfflineAudioContext(1, 44100, 44100);
          sound.context = context;
          sound.table = {edge_s: 0.012, harmonics: [1, 0.9, 0.6, 0.5, 0.4], tones: {}};
          sound.schedule({pulses: [[610, 0.8, 0]]});
          const buffer = await context.startRendering();
          return Array.from(buffer.getChannelData(0)).slice(4410, 4410 + 22050);
        }"""
    )
    spectrum = np.abs(np.fft.rfft(np.asarray(samples) * np.hanning(22050)))
    hz = np.fft.rfftfreq(22050, 1 / 44100)
    peaks = [float(spectrum[np.abs(hz - 610 * k) < 6].max()) for k in range(1, 7)]
    assert [round(peak / peaks[0], 1) for peak in peaks[:5]] == [1.0, 0.9, 0.6, 0.5, 0.4]
    assert peaks[5] < 0.01 * peaks[0]


def test_notes_are_text_everywhere(fed: tuple[Served, Page]) -> None:
    """Markup in a note, a vehicle's label or a link's trouble is shown as text and does nothing."""
    served, page = fed
    nasty = '<img src=x onerror="document.title=1"><script>document.title=1</script>'
    served.played.mark(MarkName.NOTE, nasty)
    served.page.take(Mark(4.0, MarkName.NOTE, nasty))
    page.click("#open-more")
    wait_js(page, "document.querySelector('#happened').textContent.includes('<img')")
    assert page.locator("img").count() == 0
    assert page.locator("#happened script").count() == 0
    assert page.title() != "1"


def test_several_phones_at_once(browser: BrowserContext) -> None:
    """A mark of one phone is seen on the other."""
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            one = opened(browser, served.server.link(Right.MARK))
            two = opened(phone(browser.browser), served.server.link(Right.MARK))
            one.click('[data-mark="plug-out"]')
            two.wait_for_selector('[data-mark="plug-out"][data-noted="true"]')
            assert served.server.clients == 2
            one.close()
            two.context.close()


def test_another_site_cannot_use_the_cookie(fed: tuple[Served, Page]) -> None:
    """A page of another origin in the same browser can neither mark nor read."""
    served, page = fed
    with socket.create_server(("127.0.0.1", 0)) as listener:
        body = b"<!doctype html><title>other</title><p>other site"
        head = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: %d\r\n\r\n"

        def answer() -> None:
            client, _ = listener.accept()
            client.recv(4096)
            client.sendall(head % len(body) + body)
            client.close()

        threading.Thread(target=answer, daemon=True).start()
        other = page.context.new_page()
        other.goto(f"http://localhost:{listener.getsockname()[1]}/")
        tried = other.evaluate(
            script("cross_site"),
            served.host,
        )
        other.close()
    assert tried[1:] == ["error", "error"]
    time.sleep(0.3)
    assert [t for t in served.played.history().latest if isinstance(t.entry, Mark)] == []


def test_the_whole_check_from_the_phone(browser: BrowserContext, tmp_path: Path) -> None:
    """`watch --page`: the printed link, from waiting to in band to left, marks in the recording."""
    temperatures = [*(70 + i * 0.25 for i in range(41)), *(80.2 + i * 0.2 for i in range(60))]
    rows = "\n".join(f"{i * 3},{c:.1f},780,0" for i, c in enumerate(temperatures))
    (tmp_path / "rise.csv").write_text(f"t,c,rpm,v\n{rows}\n", encoding="utf-8")
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "warmwatch", "watch", "rise.csv", "--band", "80:90"),
            *("--column", "elapsed_s=t", "--column", "fluid_c=c", "--column", "engine_rpm=rpm"),
            *("--column", "speed_kmh=v", "--pace", "30", "--quiet", "--record", "rec", "--page"),
        ],
        cwd=tmp_path, stdout=subprocess.PIPE, text=True, encoding="utf-8",
    )  # fmt: skip
    assert process.stdout is not None
    link = re.search(r"http://\S+", process.stdout.readline())
    assert link is not None
    page = opened(browser, link[0])
    seen: list[str] = []
    page.expose_function("tell", lambda told: seen.append(told))
    page.evaluate(
        "new MutationObserver(() => tell(document.body.dataset.state))"
        ".observe(document.body, {attributes: true, attributeFilter: ['data-state']})"
    )
    wait_js(page, "['inside', 'top-near'].includes(document.body.dataset.state)", 20.0)
    for name in ("plug-out", "drip", "plug-in", "level-set"):
        page.click(f'[data-mark="{name}"]')
        page.wait_for_selector(f'[data-mark="{name}"][data-noted="true"]')
    wait_state(page, "above", 20.0)
    process.send_signal(signal.SIGINT)
    wait_state(page, "ended")
    process.communicate(timeout=20)
    page.close()
    recorded = next((tmp_path / "rec").glob("*.csv")).read_text(encoding="utf-8")
    marks = re.findall(r",mark,([a-z-]+),", recorded)
    assert marks == ["plug-out", "drip", "plug-in", "level-set"]
    assert seen[-1] == "ended"
    assert "above" in seen


def test_without_a_browser_ci_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """In CI a missing browser is a failure, so that these tests cannot vanish unnoticed."""
    from tests.outputs.page.browser import find_chromium

    monkeypatch.setattr("tests.outputs.page.browser.shutil.which", lambda name: None)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception):
        find_chromium()
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception):
        find_chromium()
