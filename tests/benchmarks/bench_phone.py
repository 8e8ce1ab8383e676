"""A phone as the sensor: a long run over TLS on loopback, and what 60 and 100 events a second leave of a start.

Run by hand: ``python tests/benchmarks/bench_phone.py run MINUTES``, ``… bench_phone.py page MINUTES`` (a real Chromium
at ten times the speed) or ``… bench_phone.py accuracy``.
"""

from __future__ import annotations

import json
import math
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from live_chrome import Chrome
from phone_link import FLAGS, Program, play_fast

import armarc
from armarc.recording import Recording
from armarc.sensor.events import Frames
from armarc.sensor.phone import Receiver, read_message
from armarc.simulate import SensorPlan, SimulationOptions, plan_session, simulate_session
from phone_page import Browser, Link, hello

RATE_HZ = 100.0
START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"


def run(minutes: float) -> None:
    """Stream in real time, cut the connection for ten seconds every few minutes, count what arrived."""
    from websockets.exceptions import ConnectionClosed

    rows = _motion()
    with tempfile.TemporaryDirectory() as folder:
        out, talk = Path(folder) / "phone.csv", Path(folder) / "talk.txt"
        words = ["record", str(out), "--phone", "--host", "127.0.0.1", "--port", "0", "--json"]
        with talk.open("w") as err:
            program = subprocess.Popen(
                [sys.executable, "-c", START, *words], stdout=subprocess.PIPE, stderr=err, text=True
            )
        while not (found := re.search(r"open https://(\S+)/phone(\?\S+)", talk.read_text())):
            time.sleep(0.1)
        url = f"wss://{found[1]}/phone/stream{found[2]}"
        dice, began, total, acked, sent, cuts = (
            random.Random(1),
            time.monotonic(),
            round(minutes * 6000),
            0,
            0,
            0,
        )
        cut_at, memory = 60.0, []
        while acked < total:
            with Link(url) as link:
                now = round((time.monotonic() - began) * RATE_HZ)
                link.send(hello(first=0, next=min(total, now)))
                sent = acked = json.loads(link.recv())["next"]
                try:
                    while acked < total:
                        now = min(total, round((time.monotonic() - began) * RATE_HZ))
                        while sent < now:
                            some = rows[np.arange(sent, min(now, sent + 300)) % len(rows)].copy()
                            some[:, 0] = 1000.0 / RATE_HZ * np.arange(sent, sent + len(some))
                            link.send(json.dumps({"from": sent, "frames": some.tolist(), "interval": 10}))
                            sent += len(some)
                            acked = json.loads(link.recv())["ack"]
                        if len(memory) < (time.monotonic() - began) / 30:
                            memory.append(_memory_mb(program.pid))
                        if time.monotonic() - began > cut_at:
                            cut_at, cuts = time.monotonic() - began + dice.uniform(120, 240), cuts + 1
                            link.break_off()
                            time.sleep(10.0)
                            break
                        time.sleep(0.05)
                except (ConnectionClosed, OSError):
                    time.sleep(0.5)
        program.send_signal(2)
        said = json.loads(program.communicate(timeout=60)[0])["files"][0]
        print(
            f"{minutes:g} min at {RATE_HZ:g} Hz, {cuts} cuts of 10 s: {total} taken, {said['samples']} written, "
            f"{said['missing_samples']} missing, clock drift {said['sensor_clock_drift_ppm']:.1f} ppm; memory of "
            f"both processes {memory[min(2, len(memory) - 1)]:.0f} MB after a minute, {memory[-1]:.0f} MB at the end"
        )


def page(minutes: int) -> None:
    """The page itself in a real Chromium, at ten times the speed, by a clock of its own."""
    with tempfile.TemporaryDirectory() as folder:
        program = Program(Path(folder), "record", str(Path(folder) / "page.csv"), "--json")
        with Chrome(flags=FLAGS) as chrome:
            chrome.open(program.url)
            chrome.wait_for("!document.getElementById('start').disabled")
            chrome.value("document.getElementById('start').click()")
            chrome.wait_for("greeted")
            heap, memory = [], []
            for _ in range(minutes):
                heap.append(play_fast(chrome, 6000) / 1e6)
                memory.append(_memory_mb(program.process.pid))
            chrome.wait_for("next === acked", 60)
            taken = chrome.value("next")
        program.end()
        (said,) = program.events()
    told = said["files"][0]
    print(
        f"{minutes} min at 100 Hz in Chromium, ten times as fast: {taken} taken, {told['samples']} written, "
        f"{told['missing_samples']} missing, {told['reconnects']} reconnects; heap of the page {heap[0]:.2f} MB after "
        f"a minute, {heap[-1]:.2f} MB at the end; memory of both processes {memory[0]:.0f} MB, {memory[-1]:.0f} MB"
    )


def _motion() -> np.ndarray:
    made, _ = simulate_session(plan_session(SimulationOptions(sets=1, reps=8), 3), 3)
    return Browser(rate_hz=RATE_HZ).rows(made)


def _memory_mb(pid: int) -> float:
    """Resident memory of a program and its children (Linux)."""
    total = 0.0
    pending = [pid]
    while pending:
        one = Path(f"/proc/{pending.pop()}")
        found = re.search(r"VmRSS:\s+(\d+)", (one / "status").read_text())
        total += int(found[1]) / 1024 if found else 0.0
        pending += [int(child) for child in (one / f"task/{one.name}/children").read_text().split()]
    return total


def accuracy(sessions: int = 20) -> None:
    """Start velocities of streams against the truth of sets simulated at 200 Hz."""
    for name, browser in (
        ("200 Hz file", None),
        ("100 Hz", Browser(rate_hz=100.0)),
        ("60 Hz", Browser()),
        ("60 Hz, rounded to 0.1 m/s² and 0.1 °/s", Browser(rounding=(0.1, 0.1))),
    ):
        off = []
        for seed in range(sessions):
            start = math.radians(40 + 3 * seed)
            options = SimulationOptions(
                sensor=SensorPlan(rate_hz=200.0), reps=6, start_velocity_rad_s=start, concentric_s=1.3
            )
            made, truth = simulate_session(plan_session(options, seed), seed)
            got = made if browser is None else streamed(made, browser, seed)
            reps = armarc.process(got, exercise="lateral-raise").frame()
            told = reps["start_velocity_deg_s"].to_numpy()
            wanted = np.degrees([rep.start_velocity_rad_s for one in truth.sets for rep in one.reps])
            if len(told) != len(wanted):
                print(f"  seed {seed}: {len(told)} reps of {len(wanted)}")
                continue
            off += list(told - wanted)
        print(
            f"{name}: start velocity {math.sqrt(np.mean(np.square(off))):.2f} °/s RMSE, worst {max(map(abs, off)):.2f}"
        )


def streamed(made: Recording, browser: Browser, seed: int) -> Recording:
    """A recording as it comes through a phone's page, its stamps and the network late by milliseconds."""
    dice = np.random.default_rng(seed)
    rows = browser.rows(made)
    rows[:, 0] = np.maximum.accumulate(rows[:, 0] + np.abs(dice.normal(0.0, 1.5, len(rows))))
    receiver = Receiver()
    events = receiver.hello(read_message(hello()), 0.0)
    for text in browser.messages(rows):
        message = read_message(text)
        events += receiver.frames(message, float(message.time_s[-1]) + float(dice.exponential(0.01)))
    events += receiver.finish(1e4)
    frames = [one for one in events if isinstance(one, Frames)]
    time_s = np.concatenate([one.time_s for one in frames])
    return Recording(
        time_s=time_s - time_s[0],
        specific_force_m_s2=np.concatenate([one.specific_force_m_s2 for one in frames]),
        angular_velocity_rad_s=np.concatenate([one.angular_velocity_rad_s for one in frames]),
        rate_hz=browser.rate_hz,
    )


if __name__ == "__main__":
    if sys.argv[1] == "run":
        run(float(sys.argv[2]))
    elif sys.argv[1] == "page":
        page(int(sys.argv[2]))
    else:
        accuracy()
