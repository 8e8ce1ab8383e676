"""Counting sessions with long holds, pulses, partial reps and long pauses, on bodies of a physics engine.

    python tests/benchmarks/bench_unusual.py [SESSIONS] [FIRST_SEED]

Every session has three sets of a raise with rests of 20–45 s, and each of the four habits in at least one of them
(sizes: common practice and working limits, no source). The bodies, the raise and the sensor are those of
`tests/external/engine_kinds.py`, which shares no code with `armarc.simulate`; `engine_moves.Set` says what a pulse
is, and it is no rep. A wrong count is said where a rep carries ``perhaps_no_rep`` or a movement was left out, as
nothing but reps happens in these sessions. Needs ``mujoco-core``.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "external"))

import numpy as np
from engine_body import lift
from engine_kinds import Case, drawn_by, usual
from engine_moves import course
from engine_sensor import recorded

import armarc

HABITS = ("holds", "pulses", "partial", "pauses")


def _session(rng: np.random.Generator, exercise: str) -> tuple[Any, ...]:
    """A lifter's three sets, with the habits dealt out among them."""
    person, plan = usual(rng, exercise)
    sizes = [int(rng.integers(5, 11)) for _ in range(3)]
    dealt: list[set[str]] = [set(), set(), set()]
    for habit in HABITS:
        dealt[int(rng.integers(3))].add(habit)
    rests: dict[int, float] = {}
    holds: dict[int, float] = {}
    pulses: dict[int, int] = {}
    partial: dict[int, float] = {}
    first = 0
    for size, habits in zip(sizes, dealt, strict=True):
        own = range(first, first + size)
        if "holds" in habits:
            holds |= {k: float(rng.uniform(2, 6)) for k in own}
        if "pulses" in habits:
            pulses |= {k: int(rng.integers(1, 5)) for k in own if rng.random() < 0.5}
        if "partial" in habits:
            short = int(rng.integers(2, 4))
            partial |= {k: float(rng.uniform(0.4, 0.7)) for k in own[-short:]}
        if "pauses" in habits:
            rests |= {k: float(rng.uniform(3, 7)) for k in own if rng.random() < 0.4}
        first += size
        rests[first - 1] = float(rng.uniform(20, 45))
    pulse = (float(rng.uniform(0.1, 0.25)), float(rng.uniform(0.6, 1.1)))
    more = {
        "reps": first,
        "rests": rests,
        "holds": holds,
        "pulses": pulses,
        "pulse": pulse,
        "partial": partial,
    }
    return person, replace(plan, **more), {"sizes": sizes, "habits": dealt}


def session(seed: int) -> tuple[Case, list[int], list[set[str]]]:
    """A session, its sets' true counts, and which habits each has."""
    case = drawn_by(_session, "unusual", seed)
    says = dict(case.says)
    sizes, habits = says.pop("sizes"), says.pop("habits")
    return replace(case, says=says), sizes, habits


def main() -> None:
    asked = [int(word) for word in sys.argv[1:]]
    count, start = (asked + [108, 7000][len(asked) :])[:2]
    came: Counter[str] = Counter()
    for seed in range(start, start + count):
        case, true, habits = session(seed)
        moved, _ = course(case.plan, case.person.mirror, case.seed)
        recording = recorded(lift(case.person, moved), case.seed, case.sensor)
        found = armarc.process(recording, kept=armarc.NOTHING_KEPT, **case.says)
        counts = [len(one.reps) for one in found.sets]
        if counts == true:
            came["exact"] += 1
            continue
        doubted = any("perhaps_no_rep" in rep.quality for one in found.sets for rep in one.reps)
        said = doubted or bool(found.left_out)
        came["wrong, said" if said else "wrong, not said"] += 1
        print(f"{seed}: {counts}, true {true}, {[sorted(each) for each in habits]}", flush=True)
    print(f"{count} sessions from seed {start}: " + ", ".join(f"{n} {how}" for how, n in came.most_common()))


if __name__ == "__main__":
    main()
