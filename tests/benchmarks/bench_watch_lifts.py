"""Real raises between two lifts of a watch before the eyes that turn as the raises do: is a lift counted as a rep?

Run with ``python tests/benchmarks/bench_watch_lifts.py [TIMES]``: every open wrist recording (seglearn) of abduction
and of forward elevation, TIMES times (4), each time between other invented lifts (`tests/external/watch_lifts.py`),
measured as a finished recording and live. "Said": for every movement too many a rep is flagged ``perhaps_no_rep``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "external")]

from test_open_wrist_dataset import ABDUCTION, FORWARD_ELEVATION, dataset, recording  # noqa: E402
from watch_lifts import pressed_at_its_bottoms  # noqa: E402

from armarc.api import process  # noqa: E402
from live_runs import run, sets_in  # noqa: E402


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    for code, exercise in ((ABDUCTION, "lateral-raise"), (FORWARD_ELEVATION, "front-raise")):
        options = {"exercise": exercise, "side": "right"}
        total = exact = said = alike = 0
        for k in np.flatnonzero(np.asarray(dataset()["y"]) == code).tolist():
            alone = process(recording(k), **options)
            for time in range(times):
                pressed, reps = pressed_at_its_bottoms(recording(k), alone, np.random.default_rng([time, k]))
                found = process(pressed, **options)
                counts = [len(one.reps) for one in found.sets]
                flagged = sum("perhaps_no_rep" in rep.quality for one in found.sets for rep in one.reps)
                total += 1
                exact += counts == [reps]
                said += counts != [reps] and 0 < sum(counts) - reps <= flagged
                alike += counts == [len(one.reps) for one in sets_in(run(pressed, **options))]
        print(f"{exercise}: {exact} of {total} exact, {said} of the others said, live the same in {alike}")


if __name__ == "__main__":
    main()
