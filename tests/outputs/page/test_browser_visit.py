"""A whole visit from the phone, from `start --page` to the proof, in a real browser.

The adapter is a stand-in in a process of its own, the vehicle behind it is invented. The laptop is
not touched: everything is done on the page. A phone asleep is a browser whose processes stand.
"""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page
from pypdf import PdfReader

from tests.links.can_runs import signal_file
from tests.outputs.page.browser import opened, phone, wait_js
from tests.outputs.page.serving import STEADY, Feeding, free_port, serve
from tests.standins.process import StandIn
from warmwatch.book.change import set_texts
from warmwatch.core.reading import Reading
from warmwatch.outputs.page.rights import Right


class Laptop:
    """`warmwatch start --page` in a process and a home of its own."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port = folder, port
        home = {"WARMWATCH_HOME": str(folder / "home")}
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-m", "warmwatch", "start", "--page", "--quiet", "--plain"),
                *("--page-port", str(port), "--record", str(folder / "rec")),
            ],
            cwd=folder, env={**os.environ, **home}, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8",
        )  # fmt: skip
        self.links: dict[str, str] = {}
        self.lines: list[str] = []
        assert self.process.stdout is not None
        while len(self.links) < 3:
            line = self.process.stdout.readline()
            assert line, self.lines
            self.lines.append(line)
            if found := re.search(r"Page to (\w+).*: (http://\S+)", line):
                self.links[f"{found[1]}{'' if 'only' not in line else '-only'}"] = found[2]
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        self.lines += list(self.process.stdout)

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=20)
        self._reader.join(timeout=5)
        assert self.process.stdout is not None
        self.process.stdout.close()


@contextmanager
def laptop(folder: Path, port: int) -> Iterator[Laptop]:
    started = Laptop(folder, port)
    try:
        yield started
    finally:
        started.end()


def text(page: Page) -> str:
    return page.inner_text("#page")


def wait_text(page: Page, wanted: str, limit_s: float = 20.0) -> None:
    wait_js(page, f"document.querySelector('#page').innerText.includes({wanted!r})", limit_s)


def wait_stage(page: Page, stage: str, limit_s: float = 20.0) -> None:
    wait_js(page, f"document.body.dataset.state === '{stage}'", limit_s)


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.click(f"[data-key='{key}']")


def mark(page: Page, name: str) -> None:
    page.click(f'[data-mark="{name}"]')
    page.wait_for_selector(f'[data-mark="{name}"][data-noted="true"]')


def book_of(folder: Path, monkeypatch: pytest.MonkeyPatch, adapter: StandIn) -> None:
    """Write an adapter into the shop's book, as the guide does."""
    monkeypatch.setenv("WARMWATCH_HOME", str(folder / "home"))
    file = signal_file(folder, target="0x7E1")
    address = f"serial:{adapter.address}?signals={file}"
    set_texts("blue adapter", {"address": address, "notes": "invented"})


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_a_whole_visit_without_touching_the_laptop(
    browser: BrowserContext, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New vehicle, adapter tried, watch, a wrong mark taken back, adapter unplugged and back,
    another phone taking over, amounts, verdict, proof on the phone, next vehicle."""
    port = free_port()
    adapter_port = free_port()
    options = ("--tcp", str(adapter_port), "--pace", "40")
    adapter = StandIn("text_adapter.py", *options)
    book_of(tmp_path, monkeypatch, adapter)
    with laptop(tmp_path, port) as running:
        page = opened(phone(browser.browser, (412, 915)), running.links["run"])
        wait_stage(page, "prepare")
        assert page.is_disabled("#start")
        page.click("#new-vehicle")
        page.fill("input[name=label]", "grey van (invented)")
        page.fill("input[name=source]", "invented for a test")
        press(page, "2", "5", "field high", "9", "8")
        page.click("#take")
        page.click("text=blue adapter")
        page.click("#try")
        wait_text(page, "fluid temperature now")
        wait_js(page, "!document.querySelector('#start').disabled")
        page.click("#tones")
        page.wait_for_selector('[data-awake="lock"],[data-awake="video"]')
        page.evaluate("document.querySelector('#start').click(); "
                      "document.querySelector('#start')?.click()")  # fmt: skip
        wait_js(
            page,
            "['inside','not-fit','below','near','waiting'].includes(document.body.dataset.state)",
        )
        wait_js(page, "document.querySelector('#degrees').innerText > '0'")

        # A slip: stream in place of plug out, taken back with one tap.
        mark(page, "stream")
        page.click('[data-mark="withdraw"]')
        page.wait_for_selector('[data-mark="stream"][data-noted="false"]')

        # What only a person can tell.
        page.click("#open-checks")
        page.click('[data-tell="selector-cycled"]')
        wait_js(page, "document.querySelectorAll('[data-tell=\"selector-cycled\"]').length > 0")
        page.click('[data-tell="vehicle-level"]')
        press(page, "0", ".", "3", "field crosswise", "0", ".", "2")
        wait_text(page, "within the limit")
        page.click("#note-it")

        # An amount, echoed before it is noted; an absurd one is not.
        page.click("#open-amount")
        press(page, "9", "9", "9", "9")
        wait_text(page, "That cannot be")
        assert page.is_disabled("#note-it")
        press(page, "back", "back", "back", "back", "4", ".", "2", "field temp", "5", "0")
        wait_text(page, "4.20 L at 50")
        page.click("#note-it")

        # The adapter is unplugged: blind within moments; plugged in again: seeing.
        adapter.unplug()
        wait_stage(page, "blind", 25.0)
        adapter = StandIn("text_adapter.py", *options)
        wait_js(page, "document.body.dataset.state !== 'blind'", 40.0)

        # Another phone takes over where the first was; the first is closed.
        page.context.close()
        page = opened(phone(browser.browser, (360, 640)), running.links["run"])
        wait_js(page, "document.querySelector('#page').innerText.includes('Plug out')")
        for name in ("plug-out", "drip", "plug-in", "level-set"):
            mark(page, name)
        page.click("#open-more")
        page.click("#end")
        page.click("#end-yes")
        wait_stage(page, "done")
        wait_js(page, "!document.querySelector('#act').innerText.includes('Looking')")
        page.click("#proof")
        page.wait_for_selector("#download", timeout=60000)
        with page.expect_download() as download:
            page.click("#download")
        saved = tmp_path / "phone.pdf"
        download.value.save_as(saved)
        shown = page.inner_text("#act").split("\n")[0]
        told = " ".join("".join(p.extract_text() for p in PdfReader(saved).pages).split())
        assert shown[:30] in told
        kept = list((tmp_path / "rec").glob("*.pdf"))
        assert [path.read_bytes() for path in kept] == [saved.read_bytes()]
        page.click("#next")
        wait_stage(page, "prepare")
        wait_text(page, "grey van (invented)")
        page.context.close()
    recordings = list((tmp_path / "rec").glob("*.csv"))
    assert len(recordings) == 1  # start was pressed twice
    recorded = recordings[0].read_text(encoding="utf-8")
    marks = re.findall(r",mark,([a-z-]+),", recorded)
    assert marks == ["stream", "withdraw", "selector-cycled", "vehicle-level", "drained",
                     "plug-out", "drip", "plug-in", "level-set"]  # fmt: skip
    assert "0.3 lengthwise, 0.2 crosswise" in recorded
    assert "4.2 L at 50 °C" in recorded
    adapter.unplug()


@pytest.mark.slow
def test_a_restarted_laptop_is_told_within_five_seconds(
    browser: BrowserContext, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed, the laptop is missed within 5 s; started again, the old page says its link is old."""
    port = free_port()
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    with laptop(tmp_path, port) as first:
        page = opened(phone(browser.browser), first.links["run"])
        wait_stage(page, "prepare")
        first.process.kill()
        first.process.wait()
        started = time.monotonic()
        wait_stage(page, "cut")
        assert time.monotonic() - started < 5.0
    with laptop(tmp_path, port) as second:
        started = time.monotonic()
        wait_text(page, "This link is old")
        assert time.monotonic() - started < 5.0
        page.goto(second.links["run"])
        page.wait_for_url("**/")
        wait_stage(page, "prepare")
        page.context.close()


@pytest.mark.slow
def test_who_may_only_watch_sees_the_visit_and_runs_nothing(
    browser: BrowserContext, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The watching link shows that nothing runs yet, and offers nothing to press for it."""
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    set_texts("secret van", {"band": "80:90"})
    with laptop(tmp_path, free_port()) as running:
        page = opened(phone(browser.browser), running.links["watch-only"])
        wait_stage(page, "prepare")
        assert "No watch runs now" in text(page)
        assert "secret van" not in page.content()
        assert page.locator("#start, #try, #new-vehicle").count() == 0
        page.context.close()


def processes_below(root: int) -> list[int]:
    """Return the ids of all processes that `root` has started, from /proc."""
    parents = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        parents[int(path.parent.name)] = int(fields[1])
    found, left = [], [root]
    while left:
        left = [child for child, parent in parents.items() if parent in left]
        found += left
    return found


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_a_phone_that_slept_says_so_and_catches_up(browser: BrowserContext) -> None:
    """Its processes stopped for 12 s, the page says for how long, sounds, and shows what is now."""
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            page = opened(browser, served.server.link(Right.MARK))
            page.click("#tones")
            wait_js(page, "document.body.dataset.played === 'seeing'")
            asleep = [pid for pid in processes_below(os.getpid()) if _is_browser(pid)]
            assert asleep
            for pid in asleep:
                os.kill(pid, signal.SIGSTOP)
            time.sleep(12.0)
            served.played.take([Reading(5.0 + i, {"fluid_c": 86.0}) for i in range(5)])
            for pid in reversed(asleep):
                os.kill(pid, signal.SIGCONT)
            wait_text(page, "The phone slept for 1")
            wait_js(page, "document.querySelector('#degrees').textContent === '86'", 10.0)
            wait_js(page, "document.body.dataset.played.includes('trouble')")
            page.click("#now")
            wait_js(page, "!document.querySelector('#page').innerText.includes('slept')")
            page.close()


def _is_browser(pid: int) -> bool:
    try:
        return "chrom" in Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return False
