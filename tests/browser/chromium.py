"""A headless Chromium, driven over its DevTools socket (the open Chrome DevTools Protocol)."""

from __future__ import annotations

import base64
import contextlib
import io
import itertools
import json
import os
import shutil
import subprocess
import tempfile
import time
import urllib.request
from pathlib import Path

import pytest

PROGRAMS = ("chromium", "chromium-browser")
FLAGS = (
    "--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-extensions", "--hide-scrollbars",
    "--remote-debugging-port=0", "--remote-allow-origins=*", "about:blank",
)  # fmt: skip


def program() -> str:
    """The program, or a skip with the reason."""
    for name in PROGRAMS:
        if place := shutil.which(name):
            return place
    pytest.skip("no Chromium here (Debian: chromium)")


class Browser:
    """One tab."""

    def __init__(self) -> None:
        connect = pytest.importorskip("websockets.sync.client", reason="websockets is not installed").connect
        self.folder = tempfile.mkdtemp(prefix="armarc-browser-")
        words = [program(), f"--user-data-dir={self.folder}", *FLAGS]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            words.insert(1, "--no-sandbox")
        self.process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            self._connect(connect)
        except BaseException:
            self.close()
            raise

    def _connect(self, connect) -> None:
        port_file = Path(self.folder) / "DevToolsActivePort"
        give_up = time.monotonic() + 30
        while not (port_file.exists() and len(port_file.read_text().splitlines()) == 2):
            if time.monotonic() > give_up or self.process.poll() is not None:
                pytest.skip("Chromium does not start here")
            time.sleep(0.05)
        port = port_file.read_text().splitlines()[0]
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list", timeout=10) as answer:
            tab = next(one for one in json.load(answer) if one["type"] == "page")
        self.stack = contextlib.ExitStack()
        self.socket = self.stack.enter_context(connect(tab["webSocketDebuggerUrl"], max_size=None))
        self.numbers = itertools.count(1)
        self.requests: list[str] = []
        self.problems: list[str] = []
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters):
        """Send a command and wait for its answer; note what happens meanwhile."""
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": parameters}))
        while True:
            message = json.loads(self.socket.recv(timeout=30))
            if message.get("id") == number:
                assert "error" not in message, message
                return message["result"]
            self._note(message)

    def _note(self, message) -> None:
        name, values = message.get("method"), message.get("params", {})
        if name == "Network.requestWillBeSent":
            self.requests.append(values["request"]["url"])
        elif name == "Runtime.exceptionThrown":
            self.problems.append(str(values["exceptionDetails"]))
        elif name == "Log.entryAdded" and values["entry"]["level"] == "error":
            self.problems.append(values["entry"]["text"])

    def open(self, address: str) -> None:
        """Go to an address and wait until the page is loaded."""
        self.call("Page.navigate", url=address)
        self.wait_for("document.readyState === 'complete' && location.href !== 'about:blank'")

    def run(self, script: str):
        """Value of a script in the page."""
        result = self.call("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in result, result
        return result["result"].get("value")

    def wait_for(self, condition: str) -> None:
        """Wait until a script is true."""
        give_up = time.monotonic() + 20
        while time.monotonic() < give_up:
            with contextlib.suppress(AssertionError):
                if self.run(condition):
                    return
            time.sleep(0.03)
        raise AssertionError(f"never true: {condition}")

    def click(self, selector: str) -> None:
        """Click in the middle of an element with the mouse."""
        element = f"document.querySelector({json.dumps(selector)})"
        self.run(f"{element}.scrollIntoView({{block: 'center'}})")
        box = f"(r => [r.x + r.width / 2, r.y + r.height / 2])({element}.getBoundingClientRect())"
        place = self.run(box)
        for kind in ("mousePressed", "mouseReleased"):
            self.call(
                "Input.dispatchMouseEvent", type=kind, x=place[0], y=place[1], button="left", clickCount=1
            )

    def follow(self, selector: str) -> None:
        """Click something that leads to another page, and wait for that page."""
        self.run("window.here = true")
        self.click(selector)
        self.wait_for("window.here !== true && document.readyState === 'complete'")

    def key(self, name: str, code: int) -> None:
        """Press a key."""
        for kind in ("rawKeyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, windowsVirtualKeyCode=code)

    def look(
        self,
        *,
        width: int = 900,
        height: int = 1000,
        dark: bool = False,
        phone: bool = False,
        paper: bool = False,
    ) -> None:
        """Size of the window and what the reader prefers."""
        scale = 2 if phone else 1
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=scale,
            mobile=phone,
        )
        feature = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", media="print" if paper else "", features=[feature])

    def picture(self) -> "Image.Image":  # noqa: F821, UP037
        """The whole page as an image."""
        Image = pytest.importorskip("PIL.Image")
        return Image.open(io.BytesIO(self._png())).convert("RGB")

    def keep(self, name: str) -> None:
        """Keep a picture as a file where ARMARC_SCREENSHOTS names a folder; drawing one takes a second."""
        if folder := os.environ.get("ARMARC_SCREENSHOTS"):
            Path(folder).mkdir(parents=True, exist_ok=True)
            (Path(folder) / f"{name}.png").write_bytes(self._png())

    def _png(self) -> bytes:
        data = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)["data"]
        return base64.b64decode(data)

    def pdf(self) -> bytes:
        """The page as it is printed on its own paper size."""
        return base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True)["data"])

    def close(self) -> None:
        """End the browser that was started here."""
        with contextlib.suppress(Exception):
            self.call("Browser.close")
        with contextlib.suppress(Exception):
            self.stack.close()
        try:
            self.process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)
