"""What stands between a phone's browser and the program: a wire that can be cut, and motion that is played in."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np

START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"
FLAGS = ("--ignore-certificate-errors",)
# A page that is half read shows its button, but nobody listens to it yet.
READY = "!document.getElementById('start').disabled"


def start(page: Any, url: str) -> None:
    """Open a phone's page, tap its button and wait until the program has greeted it."""
    page.open(url)
    page.wait_for(READY)
    page.value("document.getElementById('start').click()")
    page.wait_for("greeted")


class Program:
    """A command that waits for a phone, in a process of its own."""

    def __init__(self, folder: Path, *words: str, phone: str = "") -> None:
        self.out, self.err = folder / "out.txt", folder / "err.txt"
        env = {**os.environ, "PYTHONUNBUFFERED": "1", "ARMARC_DATA_DIR": str(folder / "data")}
        with self.out.open("w") as out, self.err.open("w") as err:
            at = ("--host", "127.0.0.1", "--port", "0")
            self.process = subprocess.Popen(
                [sys.executable, "-c", START, *words, "--phone", *filter(None, [phone]), *at],
                stdout=out, stderr=err, env=env, cwd=folder,
            )  # fmt: skip
        self.url = self.wait_for(r"open (https://\S+)")[1]
        self.port = int(re.search(r":(\d+)/", self.url)[1])  # type: ignore[index]

    def wait_for(self, pattern: str, seconds: float = 30.0) -> re.Match[str]:
        """Wait until stderr says something."""
        deadline = time.monotonic() + seconds
        while not (found := re.search(pattern, self.err.read_text())):
            assert time.monotonic() < deadline, self.err.read_text()
            assert self.process.poll() is None, self.err.read_text()
            time.sleep(0.05)
        return found

    def events(self) -> list[dict[str, Any]]:
        """What stdout has said so far, as JSON lines."""
        return [json.loads(line) for line in self.out.read_text().splitlines() if line.endswith("}")]

    def end(self) -> int:
        """End it as Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        return self.process.returncode


class Wire:
    """A port that leads to another and can be cut: connections break, and no new one gets through."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._cut = threading.Event()
        self._ends: set[socket.socket] = set()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        self._cut.set()
        for one in list(self._ends):
            self._end(one)

    def mend(self) -> None:
        self._cut.clear()

    def close(self) -> None:
        self._listener.close()
        self.cut()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self._cut.is_set():
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self._to))
            self._ends |= {near, far}
            for a, b in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(a, b), daemon=True).start()

    def _carry(self, a: socket.socket, b: socket.socket) -> None:
        try:
            while data := a.recv(65536):
                b.sendall(data)
        except OSError:
            pass
        self._end(a)
        self._end(b)

    def _end(self, one: socket.socket) -> None:
        self._ends.discard(one)
        with contextlib.suppress(OSError):
            one.shutdown(socket.SHUT_RDWR)
        one.close()


FEED = """
window.played = null;
function play(rate, interval, times, values) {
  // As a browser does: it looks at the sensor when its timer fires, and stamps that moment.
  const began = performance.now() + 50, last = times[times.length - 1];
  let k = 0, i = 0;
  window.fired = 0;
  function look() {
    const s = (performance.now() - began) / 1000;
    if (s >= 0) {
      while (i + 2 < times.length && times[i + 1] <= s) i++;
      const share = Math.min(1, Math.max(0, (s - times[i]) / (times[i + 1] - times[i])));
      const v = values[i].map((one, j) => one + share * (values[i + 1][j] - one));
      window.fired++;
      dispatchEvent(new DeviceMotionEvent("devicemotion", {
        acceleration: {x: 0, y: 0, z: 0}, interval,
        accelerationIncludingGravity: {x: v[0], y: v[1], z: v[2]},
        rotationRate: {alpha: v[3], beta: v[4], gamma: v[5]} }));
      if (s > last) { window.played = true; return; }
      k = Math.max(k, Math.floor(s * rate)) + 1;  // a timer may fire a little early
    }
    setTimeout(look, Math.max(0, began + 1000 * k / rate - performance.now()));
  }
  look();
}
"""


def feed(page: Any, recording: Any, *, rate_hz: float) -> None:
    """Play a recording into the page as motion events of a browser."""
    values = np.hstack([recording.specific_force_m_s2, np.degrees(recording.angular_velocity_rad_s)])
    page.value(FEED + "0")
    times, rows = json.dumps(recording.time_s.tolist()), json.dumps(np.round(values, 5).tolist())
    page.value(f"play({rate_hz}, {1000 / rate_hz}, {times}, {rows}); 0")


def virtual_sensors(page: Any, up: dict[str, float] | None = None) -> None:
    """Give the browser sensors of its own making (DevTools protocol), lying flat or turned by a quaternion."""
    for kind in ("accelerometer", "gyroscope", "linear-acceleration", "relative-orientation"):
        page.call("Emulation.setSensorOverrideEnabled", enabled=True, type=kind)
    turned = up or {"x": 0.0, "y": 0.0, "z": 0.0, "w": 1.0}
    page.call(
        "Emulation.setSensorOverrideReadings", type="relative-orientation", reading={"quaternion": turned}
    )


def set_sensors(page: Any, force_m_s2: np.ndarray, rate_rad_s: np.ndarray) -> None:
    """What the browser's own sensors read from now on."""
    for kind, values in (
        ("accelerometer", force_m_s2),
        ("linear-acceleration", np.zeros(3)),
        ("gyroscope", rate_rad_s),
    ):
        reading = {"xyz": dict(zip("xyz", values.tolist(), strict=True))}
        page.call("Emulation.setSensorOverrideReadings", type=kind, reading=reading)


def move_sensors(page: Any, recording: Any, *, rate_hz: float) -> float:
    """Move the browser's own sensors as a recording did, so many times a second; gives the mean rate kept."""
    began, done = time.monotonic(), 0
    while (now_s := time.monotonic() - began) < recording.duration_s:
        force, rate = (
            np.array([np.interp(now_s, recording.time_s, column) for column in values.T])
            for values in (recording.specific_force_m_s2, recording.angular_velocity_rad_s)
        )
        set_sensors(page, force, rate)
        done += 1
        time.sleep(max(0.0, began + done / rate_hz - time.monotonic()))
        done = max(done, int((time.monotonic() - began) * rate_hz))
    return done / recording.duration_s


PLAY_FAST = """
if (!window.fakeNow) {
  const offset = Date.now() - performance.now();
  window.fakeNow = performance.now() + 60000;  // so that no stamp of the browser's own clock passes for one of this
  performance.now = () => fakeNow;
  Date.now = () => fakeNow + offset;
  window.taken = 0;
}
function fast(n) {  // half a second of 100 events a second every 50 ms
  let k = 0;
  window.fastDone = false;
  const timer = setInterval(() => {
    for (let i = 0; i < 50 && k < n; i++, k++) {
      fakeNow += 10;
      const s = Math.sin(window.taken++ / 40);
      dispatchEvent(new DeviceMotionEvent("devicemotion", { interval: 10,
        accelerationIncludingGravity: {x: 3 * s, y: 0, z: 9.3}, rotationRate: {alpha: 0, beta: 10 * s, gamma: 0} }));
    }
    if (k >= n) { clearInterval(timer); window.fastDone = true; }
  }, 50);
}
"""


def play_fast(page: Any, count: int) -> int:
    """Play so many events at ten times their speed, by a clock of the page's own; bytes of its heap afterwards."""
    page.value(f"{PLAY_FAST} fast({count}); 0")
    page.wait_for("window.fastDone && next - acked < 100", 60 + count / 500)
    page.call("HeapProfiler.enable")
    page.call("HeapProfiler.collectGarbage")
    return int(page.call("Runtime.getHeapUsage")["usedSize"])
