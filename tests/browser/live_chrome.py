"""A headless Chromium driven over its own debugging socket: open a page, look, evaluate, take a picture."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import subprocess
import tempfile
import time
import urllib.request
from pathlib import Path
from types import TracebackType
from typing import Any

FLAGS = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--remote-debugging-port=0",
    "--hide-scrollbars",
]


def find_chromium() -> str | None:
    """Path of a Chromium on this machine."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


class Chrome:
    """One browser with one page; use it in a ``with`` statement."""

    def __init__(
        self,
        width: int = 390,
        height: int = 844,
        *,
        dark: bool = False,
        mobile: bool = True,
        flags: tuple[str, ...] = (),
    ) -> None:
        program = find_chromium()
        assert program is not None
        self._folder = tempfile.TemporaryDirectory(prefix="armarc-chrome-", ignore_cleanup_errors=True)
        all_flags = [*FLAGS, *flags, f"--user-data-dir={self._folder.name}"]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            all_flags.append("--no-sandbox")
        self._process = subprocess.Popen(
            [program, *all_flags, "about:blank"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self._open = contextlib.ExitStack()
        try:
            self._link = self._connect()
            self._number = 0
            self.call("Page.enable")
            self.call("Runtime.enable")
            self.call("Network.enable")
            self.resize(width, height, mobile=mobile)
            self.prefer(dark)
        except BaseException:
            self.close()
            raise

    def _connect(self) -> Any:
        from websockets.sync.client import connect

        port_file = Path(self._folder.name) / "DevToolsActivePort"
        deadline = time.monotonic() + 20
        while True:
            with contextlib.suppress(OSError, ValueError, StopIteration, IndexError):
                port = int(port_file.read_text().split()[0])
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list", timeout=5) as answer:
                    pages = json.load(answer)
                page = next(one for one in pages if one["type"] == "page")
                return self._open.enter_context(connect(page["webSocketDebuggerUrl"], max_size=None))
            if time.monotonic() > deadline:
                raise TimeoutError("Chromium did not start")
            time.sleep(0.1)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send a command and wait for its answer."""
        self._number += 1
        self._link.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._link.recv(timeout=20))
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return dict(answer["result"])

    def resize(self, width: int, height: int, *, mobile: bool = True) -> None:
        """Make the page another size, in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=2,
            mobile=mobile,
        )

    def prefer(self, dark: bool) -> None:
        """Be a browser whose owner likes it dark, or light."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])

    def open(self, url: str) -> None:
        """Go to an address."""
        self.call("Page.navigate", url=url)

    def value(self, expression: str) -> Any:
        """Value of a JavaScript expression."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def wait_for(self, expression: str, seconds: float = 15.0) -> Any:
        """Wait until an expression is true."""
        deadline = time.monotonic() + seconds
        # A page that is still loading lacks what the expression asks for.
        careful = f"(() => {{ try {{ return {expression}; }} catch (error) {{ return false; }} }})()"
        while not (found := self.value(careful)):
            if time.monotonic() > deadline:
                raise TimeoutError(
                    f"{expression} stayed false; the page says {self.value('document.body.innerText')!r}"
                )
            time.sleep(0.03)
        return found

    def picture(self, path: Path) -> None:
        """Save what the page looks like, PNG."""
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"]))

    def keep(self, name: str) -> None:
        """Keep a picture as a file where ARMARC_SCREENSHOTS names a folder."""
        if folder := os.environ.get("ARMARC_SCREENSHOTS"):
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.picture(Path(folder) / f"{name}.png")

    def close(self) -> None:
        """End the browser and forget its folder."""
        with contextlib.suppress(Exception):
            self._open.close()
        self._process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=5)
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._folder.cleanup()

    def __enter__(self) -> Chrome:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
