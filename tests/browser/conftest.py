"""Pages opened in a real browser: Debian's Chromium, driven by playwright, without a network."""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.report.html import as_html
from envelope.verify import check

CELL = Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml"
NAME = "</script><script>window.taken = true</script><img src=x onerror='taken=1'> & tea"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# WebGL is computed without a graphics card; a container has no sandbox to offer.
SOFTWARE = (
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
)
NO_3D = ("--no-sandbox", "--disable-dev-shm-usage", "--disable-3d-apis")
PATIENCE = 60_000  # [ms]: the machine may be busy


@dataclass
class Opened:
    """A page in the browser, and what it said while it was open."""

    page: object
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def wait(page, condition: str) -> None:
    """Wait until something is so; asked from outside, since the page itself forbids eval."""
    end = time.monotonic() + PATIENCE / 1000
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        time.sleep(0.05)


@pytest.fixture(scope="session")
def start():
    """Starts browsers of our own, by their flags; skips, with the reason, where there is none."""
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.skip("Chromium (Debian's package chromium) is not installed")
    with driver.sync_playwright() as play:
        yield lambda flags: play.chromium.launch(
            executable_path=path, args=list(flags), timeout=PATIENCE
        )


@contextmanager
def opened(browser, path: Path, **window) -> Iterator[Opened]:
    """A file in a window of its own, the network off; window: as playwright's new_context."""
    window = {"viewport": {"width": 1280, "height": 900}} | window
    context = browser.new_context(offline=True, **window)
    page = context.new_page()
    page.set_default_timeout(PATIENCE)
    told = Opened(page)
    page.on("console", lambda message: told.said.append(message.text))
    page.on("pageerror", lambda error: told.said.append(str(error)))
    page.on("request", lambda request: told.asked.append(request.url))
    try:
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready=yes]", state="attached")
        yield told
    finally:
        context.close()


@pytest.fixture(scope="session")
def browser(start):
    started = start(SOFTWARE)
    yield started
    started.close()


@pytest.fixture(scope="session")
def checked(tmp_path_factory):
    """A cell in which two of eight placements fail; its name is markup."""
    folder = tmp_path_factory.mktemp("page")
    text = CELL.read_text(encoding="utf-8").splitlines()
    quoted = NAME.replace('"', '\\"')
    path = folder / "cell.yaml"
    path.write_text("\n".join([f'name: "{quoted}"', *text[1:]]), encoding="utf-8")
    cell = load(path, ("stacks.main.layers=1", "pallets.A.at.x=230"))
    return cell, check(cell, jobs=min(os.cpu_count() or 1, 2))


@pytest.fixture(scope="session")
def file(checked, tmp_path_factory):
    cell, result = checked
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_text(as_html(result, cell, {}, "No pictures here."), encoding="utf-8")
    return path


@pytest.fixture
def page(browser, file):
    with opened(browser, file) as told:
        yield told.page
        assert told.said == []
