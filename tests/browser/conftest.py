"""One headless Chromium for all tests; whatever a page says, asks for or trips over is held against it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from conftest import missing
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Dialog,
    Page,
    Playwright,
    Request,
    sync_playwright,
)

from browser.handling import START, Sheet
from browser.written import Written, written

PHONE = {"width": 360, "height": 740}
DESKTOP = {"width": 1280, "height": 800}
_NAMES = ("chromium-headless-shell", "chromium", "chromium-browser")
# The last: with a document of its own for every load, one load in seventy on a busy machine gets a localStorage that is
# not connected (13 of 942 here, without it none of 990). How the page stands that is tested by taking the store away.
_QUIET = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-features=RenderDocument"
)
_AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="session")
def driver() -> Iterator[Playwright]:
    """What drives the browser."""
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def path() -> str:
    """Where the browser is."""
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    return found or missing("No Chromium is here: install the Debian package chromium.")


@pytest.fixture(scope="session")
def chromium(driver: Playwright, path: str) -> Iterator[Browser]:
    """The browser."""
    browser = driver.chromium.launch(executable_path=path, args=_QUIET.split())
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core."""
    if not _AXE.is_file():
        missing("axe-core is not here: run npm ci --ignore-scripts --prefix tests/browser.")
    return _AXE.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Written]:
    """Pages of the demo's tanks, each written once."""

    @cache
    def page(tank: str, *options: str, edits: tuple[tuple[str, str], ...] = ()) -> Written:
        return written(tmp_path_factory.mktemp("sheet"), tank, *options, edits=edits)

    return page


class Watch:
    """What pages did that they must not: errors, dialogs, requests."""

    def __init__(self) -> None:
        self.wrong: list[str] = []
        self._files: set[str] = set()

    def over(self, page: Page, url: str) -> None:
        """Listen to a page that may ask for this file alone."""
        self._files.add(url)
        page.on("console", self._said)
        page.on("pageerror", lambda error: self.wrong.append(f"error: {error}"))
        page.on("dialog", self._asked)
        page.on("request", self._requested)

    def _said(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.wrong.append(f"console: {message.text}")

    def _asked(self, dialog: Dialog) -> None:
        self.wrong.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def _requested(self, request: Request) -> None:
        if request.url not in self._files and not request.url.startswith(("blob:", "data:")):
            self.wrong.append(f"request: {request.url}")

    def check(self) -> None:
        """Nothing was wrong so far."""
        wrong, self.wrong = self.wrong, []
        assert not wrong


@pytest.fixture
def watch() -> Iterator[Watch]:
    """Checked at the end of every test."""
    found = Watch()
    yield found
    found.check()


@pytest.fixture
def phone(
    request: pytest.FixtureRequest, driver: Playwright, path: str, chromium: Browser, tmp_path: Path
) -> Iterator[Callable[..., BrowserContext]]:
    """Makes a device: its storage, zone and size; all are shut afterwards.

    A test marked `reloads` has a profile on disk, as a phone has.
    """
    made: list[BrowserContext] = []
    on_disk = request.node.get_closest_marker("reloads") is not None

    def new(**options: Any) -> BrowserContext:
        # Without motion a card stands still when it is pressed.
        usual: dict[str, Any] = {
            "viewport": PHONE,
            "timezone_id": "Europe/Berlin",
            "locale": "en-GB",
            "reduced_motion": "reduce",
        }
        if on_disk:
            profile, start = tmp_path / f"profile-{len(made)}", driver.chromium.launch_persistent_context
            made.append(start(profile, executable_path=path, args=_QUIET.split(), **(usual | options)))
        else:
            made.append(chromium.new_context(**(usual | options)))
        made[-1].set_default_timeout(15_000)
        return made[-1]

    yield new
    for context in made:
        context.close()


@pytest.fixture
def opened(phone: Callable[..., BrowserContext], watch: Watch) -> Callable[..., Sheet]:
    """Opens a page; its clock stands at START until a test moves it."""

    def new(
        page: Written,
        *,
        on: BrowserContext | None = None,
        scripts: tuple[str, ...] = (),
        stopped: bool = True,
        at: str = START,
        **options: Any,
    ) -> Sheet:
        fresh = on is None
        context = phone(**options) if on is None else on
        for script in scripts:
            context.add_init_script(script)
        if stopped and fresh:
            context.clock.install(time=datetime.fromisoformat(at) - timedelta(minutes=10))
        shown = context.new_page()
        watch.over(shown, page.url)
        shown.goto(page.url)
        if stopped and fresh:
            context.clock.pause_at(at)
        return Sheet(shown, page)

    return new
