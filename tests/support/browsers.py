"""Debian's Chromium and Firefox, with one way to drive both: open a page, run JavaScript, hear what it said.

Chromium is driven by playwright, Firefox by WebDriver BiDi (a W3C standard), of which it is a server itself.
Nothing here needs a network. A browser shows one page at a time.
"""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shutil
import subprocess
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest

from support import sound_server

SECONDS = 60.0
"""After which a browser that does not answer is given up."""
LATE = 0.3
"""s for which news of what a page said is waited for."""
CHROMIUM, FIREFOX = "chromium", "firefox-esr"
LOG = "stderr.txt"
FIREFOX_SETTINGS = {
    "media.autoplay.default": 0,
    "media.autoplay.blocking_policy": 0,
    "app.update.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.homepage_override.mstone": "ignore",
    "browser.safebrowsing.malware.enabled": False,
    "browser.safebrowsing.phishing.enabled": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "toolkit.telemetry.enabled": False,
    "remote.active-protocols": 1,  # WebDriver BiDi
}


def _is_outside(url: str) -> bool:
    return not url.startswith(("data:", "blob:", "about:"))


class Chromium:
    """All calls go to one thread: playwright's loop would be in the way of others in this one."""

    name = "chromium"
    plays = True
    """Without a device, as with one: into a clock."""

    def __init__(self) -> None:
        self.console: list[str] = []
        self.requests: list[str] = []
        self._thread = ThreadPoolExecutor(1)
        self._context = None
        self._on_thread(self._start)

    def _on_thread(self, function, *arguments, **named):
        return self._thread.submit(function, *arguments, **named).result(SECONDS)

    def _start(self) -> None:
        from playwright.sync_api import sync_playwright

        self._playwright = sync_playwright().start()
        self._browser = self._playwright.chromium.launch(
            executable_path=shutil.which(CHROMIUM),
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )

    def open(
        self, path: Path, width: int = 1280, height: int = 800, dark: bool = False
    ) -> Chromium:
        """Show the page of a file, in a viewport of that many pixels; what it said before is forgotten."""
        self._on_thread(self._open, path, width, height, "dark" if dark else "light")
        return self

    def _open(self, path: Path, width: int, height: int, scheme: str) -> None:
        if self._context:
            self._context.close()
        self.console, self.requests = [], []
        said, asked, address = self.console, self.requests, path.absolute().as_uri()
        size = {"width": width, "height": height}
        self._context = self._browser.new_context(viewport=size, color_scheme=scheme)
        self.page = self._context.new_page()
        self.page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: said.append(f"error: {error}"))
        self.page.on(
            "request",
            lambda request: (
                asked.append(request.url)
                if _is_outside(request.url) and request.url != address
                else None
            ),
        )
        self.page.set_default_timeout(SECONDS * 1000)
        self.page.goto(address)

    def run(self, body: str, *arguments):
        """What the body of an async function returns (as JSON has it), given ``args``."""
        return self._on_thread(
            lambda: self.page.evaluate(f"async (args) => {{{body}}}", list(arguments))
        )

    def press(self, *keys: str) -> None:
        """Keys by their names in the UI Events standard: "Tab", "Enter", "a"."""
        for key in keys:
            self._on_thread(lambda key=key: self.page.keyboard.press(key))

    def picture(self, path: Path, whole: bool = False) -> None:
        """Write a PNG of the viewport, or of the whole page."""
        self._on_thread(lambda: self.page.screenshot(path=path, full_page=whole))

    def print(self, path: Path, paper: str = "A4") -> None:
        """Write the print as PDF: "A4" or "Letter"."""
        self._on_thread(lambda: self.page.pdf(path=path, format=paper, prefer_css_page_size=False))

    def close(self) -> None:
        self._on_thread(lambda: (self._browser.close(), self._playwright.stop()))
        self._thread.shutdown()


KEYS = {"Tab": "\ue004", "Enter": "\ue007", "Escape": "\ue00c", "ArrowLeft": "\ue012"} | {
    "ArrowUp": "\ue013",
    "ArrowRight": "\ue014",
    "ArrowDown": "\ue015",
}
"""Code points of WebDriver's table of normalised keys."""


class Firefox:
    """Speaks WebDriver BiDi, whose answers and events come as JSON over one socket of this machine."""

    name = "firefox"

    def __init__(self, folder: Path) -> None:
        """Needs a sound server to play: where there is none, what is to be played never starts."""
        from websockets.sync.client import connect

        self._said: list[str] = []
        self._requests: list[str] = []
        lines = [
            f"user_pref({json.dumps(key)}, {json.dumps(value)});"
            for key, value in FIREFOX_SETTINGS.items()
        ]
        (folder / "user.js").write_text("\n".join(lines))
        self._stack, self._asked = ExitStack(), 0
        self.plays = sound_server.missing() is None
        with self._stack:
            self._process = self._started(folder, self._environment(folder))
            address = f"{self._address(folder / LOG)}/session"
            socket = connect(address, max_size=None, open_timeout=SECONDS)
            self._socket = self._stack.enter_context(socket)
            self._begin()
            self._stack = self._stack.pop_all()

    def _begin(self) -> None:
        self._ask("session.new", capabilities={})
        events = ["log.entryAdded", "network.beforeRequestSent"]
        self._ask("session.subscribe", events=events)
        self._page = self._ask("browsingContext.getTree")["contexts"][0]["context"]

    def _environment(self, folder: Path) -> dict[str, str]:
        if not self.plays:
            return os.environ | {"HOME": str(folder)}
        server = sound_server.SoundServer(folder)
        return self._stack.enter_context(server).environment

    def _started(self, folder: Path, environment: dict[str, str]) -> subprocess.Popen:
        with (folder / LOG).open("w") as log:
            process = subprocess.Popen(
                [FIREFOX, "--headless", "--remote-debugging-port=0", "--profile", folder],
                stdout=subprocess.DEVNULL,
                stderr=log,
                env=environment,
            )
        self._stack.callback(process.wait)
        self._stack.callback(process.kill)
        return process

    def _address(self, log: Path) -> str:
        end = time.monotonic() + SECONDS
        while time.monotonic() < end and self._process.poll() is None:
            if found := re.search(r"BiDi listening on (ws://\S+)", log.read_text()):
                return found[1]
            time.sleep(0.05)
        raise RuntimeError(f"Firefox did not start: {log.read_text()}")

    def _ask(self, method: str, **parameters):
        self._asked += 1
        call = {"id": self._asked, "method": method, "params": parameters}
        self._socket.send(json.dumps(call))
        while True:
            told = json.loads(self._socket.recv(SECONDS))
            if told["type"] == "event":
                self._hear(told["method"], told["params"])
            elif told.get("id") == self._asked:
                break
        if told["type"] == "error":
            raise RuntimeError(f"{method}: {told['error']}: {told['message']}")
        return told["result"]

    @property
    def console(self) -> list[str]:
        self._drain()
        return self._said

    @property
    def requests(self) -> list[str]:
        self._drain()
        return self._requests

    def _drain(self) -> None:
        """Take what is told late: nobody asked for it, and it comes when it comes."""
        with suppress(TimeoutError):
            while True:
                told = json.loads(self._socket.recv(LATE))
                self._hear(told["method"], told["params"])

    def _hear(self, event: str, told) -> None:
        if event == "log.entryAdded":
            self._said.append(f"{told['level']}: {told['text']}")
        elif told["context"] == self._page:
            url = told["request"]["url"]
            if _is_outside(url) and url != self._shown:
                self._requests.append(url)

    def open(self, path: Path, width: int = 1280, height: int = 800, dark: bool = False) -> Firefox:
        """As with Chromium, but ``dark`` cannot be had."""
        assert not dark
        self._shown = path.absolute().as_uri()
        self._ask(
            "browsingContext.navigate", context=self._page, url="about:blank", wait="complete"
        )
        self._drain()
        self._said, self._requests = [], []
        size = {"width": width, "height": height}
        self._ask("browsingContext.setViewport", context=self._page, viewport=size)
        self._ask("browsingContext.navigate", context=self._page, url=self._shown, wait="complete")
        return self

    def run(self, body: str, *arguments):
        """As with Chromium."""
        given = json.dumps(list(arguments))
        result = self._ask(
            "script.evaluate",
            expression=f"(async (args) => {{{body}}})({given})"
            ".then((found) => JSON.stringify({found}))",
            target={"context": self._page},
            awaitPromise=True,
        )
        if result["type"] == "exception":
            raise RuntimeError(result["exceptionDetails"]["text"])
        return json.loads(result["result"]["value"]).get("found")

    def press(self, *keys: str) -> None:
        for key in keys:
            value = KEYS.get(key, key)
            actions = [{"type": kind, "value": value} for kind in ("keyDown", "keyUp")]
            keyboard = {"type": "key", "id": "keyboard", "actions": actions}
            self._ask("input.performActions", context=self._page, actions=[keyboard])

    def close(self) -> None:
        with self._stack:
            self._ask("browser.close")
            self._process.wait(10.0)


Browser = Chromium | Firefox


def _lacks(what: str, where: str) -> None:
    """Skip the test; but in the gate, where all must be there, let it fail."""
    reason = f"{what} is not installed ({where})"
    if os.environ.get("AURALIZE_BROWSERS") == "required":
        pytest.fail(reason)
    pytest.skip(reason)


def _need(program: str, library: str) -> None:
    if shutil.which(program) is None:
        _lacks(program, f"Debian: apt install {program}")
    if importlib.util.find_spec(library) is None:
        _lacks(library, "the extra test has it")


def needs_sound(browser: Browser) -> None:
    """For tests of what is played, not only rendered."""
    if not browser.plays:
        _lacks("a sound server for Firefox", "Debian: apt install pulseaudio")


@pytest.fixture(scope="session")
def chromium():
    _need(CHROMIUM, "playwright")
    browser = Chromium()
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def firefox(tmp_path_factory):
    _need(FIREFOX, "websockets")
    browser = Firefox(tmp_path_factory.mktemp("firefox"))
    yield browser
    browser.close()


@pytest.fixture(params=["chromium", "firefox"], scope="session")
def browser(request):
    """Each of the two."""
    return request.getfixturevalue(request.param)
