"""One browser for all browser tests, and a page that is fed like by a session.

The browser lasts as long as its package: its driver keeps an event loop running in this
thread, which no other test can bear.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.outputs.page.browser import chromium, opened, script
from tests.outputs.page.serving import STEADY, Feeding, Served, serve
from warmwatch.outputs.page.rights import Right


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whatever needs the browser is slow."""
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker("slow")


@pytest.fixture(scope="package")
def browser() -> Iterator[BrowserContext]:
    with chromium() as context:
        yield context


@pytest.fixture
def fed(browser: BrowserContext) -> Iterator[tuple[Served, Page]]:
    """A page in the band, open with the right to mark."""
    with serve() as served:
        served.played.take(STEADY)
        with Feeding(served):
            page = opened(browser, served.server.link(Right.MARK))
            yield served, page
            page.close()


@pytest.fixture
def still(browser: BrowserContext) -> Iterator[Page]:
    """A page that shows only what the test gives it, to look at at leisure."""
    with serve() as served:
        page = browser.new_page()
        page.add_init_script(script("still"))
        page.goto(served.server.link(Right.MARK))
        page.wait_for_url("**/")
        yield page
        page.close()
