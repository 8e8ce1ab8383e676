"""What is told live at the gate against what is measured when the set has ended, after a set's first rep.

Run with ``python tests/benchmarks/bench_told.py [FOLDER]``: every fourth open wrist recording (seglearn) of abduction
and of forward elevation, and the dumbbell raises of people (``dumbbell-lateral-raise.s?.wrist.csv.gz``) of a folder.
Columns: starts told, share within 3 °/s, share within one / two of the standard errors they are told with.
"""

from __future__ import annotations

import gzip
import sys
import tempfile
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "external")]

from test_open_wrist_dataset import ABDUCTION, FORWARD_ELEVATION, dataset, recording  # noqa: E402

from armarc.api import read_csv  # noqa: E402
from armarc.live.offline import measure_live_set  # noqa: E402
from armarc.recording import Recording  # noqa: E402
from live_runs import choices_for, run, sets_in  # noqa: E402

NEAR_DEG_S = 3.0


def misses(made: Recording, exercise: str) -> list[tuple[float, float]]:
    """Error of each told start and its standard error, °/s."""
    options = {"exercise": exercise, "side": "right"}
    found = []
    for one in sets_in(run(made, **options)):
        result = measure_live_set(one, choices_for(made, **options)).result
        for rep in () if result is None else result.sets[0].reps[1:]:
            if rep.told_velocity_rad_s is not None and rep.start_velocity_rad_s is not None:
                error = rep.told_velocity_rad_s - rep.start_velocity_rad_s
                found.append((np.degrees(error), np.degrees(rep.told_velocity_se_rad_s)))
    return found


def say(name: str, found: list[tuple[float, float]]) -> None:
    error, se = np.abs(np.array(found).T)
    near, one, two = (100 * float(np.mean(error <= limit)) for limit in (NEAR_DEG_S, se, 2 * se))
    print(f"{name:32} {len(error):4}  {near:3.0f} %  {one:3.0f}/{two:3.0f} %")


def main(folder: Path | None) -> None:
    for path in sorted(folder.glob("dumbbell-lateral-raise.s?.wrist.csv.gz")) if folder else ():
        with tempfile.NamedTemporaryFile(suffix=".csv") as file:
            file.write(gzip.decompress(path.read_bytes()))
            file.flush()
            say(path.name.removesuffix(".wrist.csv.gz"), misses(read_csv(file.name), "lateral-raise"))
    for name, code, exercise in (
        ("abduction", ABDUCTION, "lateral-raise"),
        ("forward elevation", FORWARD_ELEVATION, "front-raise"),
    ):
        picked = np.flatnonzero(np.asarray(dataset()["y"]) == code)[::4]
        say(name, [each for k in picked for each in misses(recording(k), exercise)])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
