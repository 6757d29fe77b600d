"""A real browser and a real server for the tests of the page; where there is no browser, the reason is said."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from tests.counts import share

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

ROOT = Path(__file__).resolve().parents[2]
HOST = "127.0.0.1"
START_S = 60.0
WAIT_MS = 60_000.0
TRIES = 4  # of a click on a list that is drawn anew in that very moment, and goes nowhere
WINDOWS = [("desk", "light"), ("phone", "dark"), *[("desk", "dark"), ("phone", "light")][: share(0, 2)]]
SIZES = {"desk": (1280, 900), "phone": (390, 844)}
NARROW_PX = 768  # a window of less has the list of pages over the page, not beside it
# What a phone's browser calls itself: by that the list of pages at the side folds itself once one is chosen.
PHONE = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/156.0 Mobile Safari/537.36"
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-dev-shm-usage", "--no-first-run")
FLAGS += ("--disable-background-networking", "--disable-component-update", "--disable-sync")
# On the address of a page other than the home page the server's own script first asks for these two in the wrong place.
HARMLESS = ("/_stcore/health", "/_stcore/host-config")
# A button asks for its file as it is drawn. On a slow machine the next run has put another in its place by then. What a
# button gives when it is pressed is taken in the tests, and a file that is not there fails them.
OUTRUN = re.compile(
    r"Failed to load .*404.*/media/\S+[.](csv|json|pdf|zip)\)|Client Error: Download Button source error"
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, named by the environment variable CHROMIUM or found on the path."""
    place = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not place:
        reason = "no Chromium found: install the package chromium, or name it in the environment variable CHROMIUM"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=place, args=list(FLAGS))
        yield chromium
        chromium.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


class Server:
    """The page as ``calib page`` serves it."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.port = free_port()
        self.url = f"http://{HOST}:{self.port}"
        self.log = folder / "server.log"
        self._log = self.log.open("ab")
        environment = {name: value for name, value in os.environ.items() if name not in {"DISPLAY", "WAYLAND_DISPLAY"}}
        self.register = folder / "register.duckdb"
        environment |= {"CALIB_REGISTER": str(self.register), "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}
        words = [sys.executable, "-m", "calib", "page", "--port", str(self.port), *options]
        self._process = subprocess.Popen(words, cwd=folder, env=environment, stdout=self._log, stderr=self._log)
        self.key = self._wait()

    def _wait(self) -> str:
        """The key of this start, once the page is there."""
        end = time.monotonic() + START_S
        while True:
            told = Path(self._log.name).read_text(encoding="utf-8", errors="replace")
            key = re.search(rf"{self.url}/[?]key=(\S+)", told)
            if key:
                return key[1]
            if self._process.poll() is not None or time.monotonic() > end:
                self.stop()
                pytest.fail(f"the server did not start:\n{told}")
            time.sleep(0.05)

    def stop(self) -> None:
        """End the server and wait until it has gone."""
        self._process.terminate()
        try:
            self._process.wait(timeout=20.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._log.close()


Serve = Callable[..., Server]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    """Starts servers on the register of the test; those still running are ended with it."""
    started: list[Server] = []

    def start(*options: str) -> Server:
        started.append(Server(tmp_path, *options))
        return started[-1]

    yield start
    for server in started:
        server.stop()


@pytest.fixture(scope="session")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One server on an own register, for the tests that mind nobody else's entries."""
    server = Server(tmp_path_factory.mktemp("own"))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One server on the practice register, for the tests that change nothing."""
    server = Server(tmp_path_factory.mktemp("practice"), "--practice")
    yield server
    server.stop()


class Visit:
    """One browser window, and everything in it that went wrong or went elsewhere."""

    def __init__(self, context: BrowserContext, server: Server) -> None:
        self.server = server
        self.trouble: list[str] = []
        self.hosts: set[str] = set()
        self.page: Page = context.new_page()
        self.page.set_default_timeout(WAIT_MS)
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.trouble.append(str(error)))
        self.page.on("request", lambda request: self._asked(request.url))
        self.page.on("websocket", lambda socket: self._asked(socket.url))

    def _heard(self, message: ConsoleMessage) -> None:
        place = message.location.get("url", "")
        told = f"{message.text} ({place})"
        if message.type == "error" and not place.endswith(HARMLESS) and not OUTRUN.match(told):
            self.trouble.append(told)

    def _asked(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in {"data", "blob"}:
            self.hosts.add(parts.netloc)

    def open(self, path: str = "") -> Page:
        """Open a page by the address that the command printed, with its key, which does not stay in the address."""
        self.page.goto(f"{self.server.url}/{path}{'&' if '?' in path else '?'}key={self.server.key}")
        self.page.wait_for_selector("h1")
        return self.page

    def turn_to(self, title: str, link: str | re.Pattern[str] = "") -> Page:
        """Go to a page by its name in the list at the side, or by another link there, as a visitor does.

        A narrow window folds the list away, after some of its links by itself and after others not; it is folded out
        before, and away again when the page is there.
        """
        from playwright.sync_api import TimeoutError as PlaywrightTimeout

        heading = self.page.locator(f"h1:has-text('{title}')").first
        way = self.page.get_by_test_id("stSidebar").get_by_role("link", name=link or title).first
        for _ in range(TRIES):
            if heading.count():
                break
            with suppress(PlaywrightTimeout):
                self._fold(away=False)
                way.click(timeout=WAIT_MS / TRIES / 2)
                heading.wait_for(timeout=WAIT_MS / TRIES)
        heading.wait_for()
        if self.page.viewport_size and self.page.viewport_size["width"] < NARROW_PX:
            self._fold(away=True)
        return self.page

    def _fold(self, *, away: bool) -> None:
        """Fold the list at the side out or away, where it is not so yet."""
        from playwright.sync_api import TimeoutError as PlaywrightTimeout

        open_now = self.page.locator("[data-testid=stSidebar]:is([data-collapsed=false], [aria-expanded=true])")
        button = self.page.get_by_test_id("stSidebarCollapseButton").get_by_role("button")
        if not away:
            button = self.page.get_by_test_id("stExpandSidebarButton")
        for _ in range(TRIES):
            if bool(open_now.count()) != away:
                return
            with suppress(PlaywrightTimeout):  # it does so by itself, then
                button.click(timeout=WAIT_MS / TRIES / 6)

    def check(self) -> None:
        """Nothing went wrong, nothing was asked of another host, nothing runs over the side of a window of any size."""
        assert self.trouble == []
        assert self.hosts == {f"{HOST}:{self.server.port}"}
        own = self.page.viewport_size
        for wide, high in SIZES.values():  # of whatever size this one is
            self.page.set_viewport_size({"width": wide, "height": high})
            taken, window = self.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
            assert taken <= window
        if own:
            self.page.set_viewport_size(own)


Look = Callable[..., Visit]


def window(browser: Browser, server: Server, size: str, scheme: str) -> Visit:
    """A window of one of the sizes on a light or dark system."""
    wide, high = SIZES[size]
    phone = size == "phone"
    context = browser.new_context(
        viewport={"width": wide, "height": high},
        color_scheme="dark" if scheme == "dark" else "light",
        is_mobile=phone,
        has_touch=phone,
        user_agent=PHONE if phone else None,
    )
    return Visit(context, server)


@pytest.fixture
def look(browser: Browser) -> Iterator[Look]:
    """Opens a window of its own."""
    visits: list[Visit] = []

    def begin(server: Server, size: str = "desk", scheme: str = "light") -> Visit:
        visits.append(window(browser, server, size, scheme))
        return visits[-1]

    yield begin
    for visit in visits:
        visit.page.context.close()


@pytest.fixture(scope="session")
def shared(browser: Browser) -> Iterator[Look]:
    """A window that several tests go on in, each from the home page: to load a page takes as long as to work in it."""
    visits: dict[tuple[str, str, str], Visit] = {}

    def go_on(server: Server, size: str = "desk", scheme: str = "light") -> Visit:
        named = (server.url, size, scheme)
        if named not in visits:
            visits[named] = window(browser, server, size, scheme)
            visits[named].open()
        return visits[named]

    yield go_on
    for visit in visits.values():
        visit.page.context.close()
