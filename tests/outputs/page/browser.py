"""A real Chromium without a window, driven by Playwright; used by the browser tests."""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser")
"""The first is the same engine without windows: it takes a third of the processor time."""
PHONE, LANDSCAPE, TABLET = (360, 640), (640, 360), (800, 1100)


def find_chromium() -> str:
    """Return the browser; without one the test is skipped at home and fails in CI."""
    for name in BROWSERS:
        if found := shutil.which(name):
            return found
    if os.environ.get("CI"):
        pytest.fail("no chromium on this machine: install it, the page is judged in a browser")
    pytest.skip("no chromium on this machine")


@contextmanager
def chromium(size: tuple[int, int] = PHONE) -> Iterator[BrowserContext]:
    """Run a browser and give a phone in it; `phone` gives more of them."""
    executable = find_chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=executable, headless=True, args=list(FLAGS)
        )
        try:
            yield phone(browser, size)
        finally:
            browser.close()


def phone(browser: Browser | None, size: tuple[int, int] = PHONE) -> BrowserContext:
    """Return a phone of its own: no cookie is shared with another one."""
    assert browser is not None
    return browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme="dark")


def opened(context: BrowserContext, link: str) -> Page:
    """Open the link in a new tab and wait for the first state."""
    page = context.new_page()
    page.goto(link)
    page.wait_for_url("**/")
    wait_js(page, "document.body.dataset.state !== 'connecting'")
    return page


def state(page: Page) -> str:
    """Return the state that the page shows."""
    return str(page.evaluate("document.body.dataset.state"))


def wait_state(page: Page, wanted: str, limit_s: float = 8.0) -> None:
    """Wait until the page shows a state."""
    wait_js(page, f"document.body.dataset.state === '{wanted}'", limit_s)


def wait_js(page: Page, expression: str, limit_s: float = 8.0) -> None:
    """Wait until an expression is true in the page.

    The driver's own waiting evaluates strings inside the page, which the page's policy forbids.
    """
    deadline = time.monotonic() + limit_s
    while not page.evaluate(expression):
        assert time.monotonic() < deadline, f"never true: {expression}"
        page.wait_for_timeout(30)


def script(name: str) -> str:
    """Return one of the functions in scripts/, to be evaluated in the page."""
    text = (Path(__file__).parent / "scripts" / f"{name}.js").read_text(encoding="utf-8")
    return text.partition("\n")[2]  # Playwright knows a function only without a comment before it
