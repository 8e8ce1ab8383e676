"""One strap that goes round in one recording: are its sets measured as each part would be by itself?

Run with ``python tests/benchmarks/bench_one_strap.py``: watches that go from one wrist to the other (open wrist
dataset, `seglearn`), and, with the people data beside the project, sensors turned half round before the last of three
sets and two people one after the other (`tests/external/one_strap.py`). "As alone": every set with its reps, starts
and ranges within a standard error. "Said": that the sensor lay otherwise on the arm. "Live": a stream of it ends with
as many reps in every set as each part has alone.
"""

from __future__ import annotations

import sys
from itertools import permutations, product
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "external")]

from one_strap import Worn, from_person_to_person, from_wrist_to_wrist, turned_half_round  # noqa: E402
from test_open_wrist_dataset import ABDUCTION, FORWARD_ELEVATION, dataset  # noqa: E402
from test_people_counts import FOLDER  # noqa: E402

PEOPLE = (1, 2, 3)
HALF_TURNS = ((-1.0, -1.0, 1.0), (-1.0, 1.0, -1.0))
"""About the two sensor axes across these people's forearms."""


def line(what: str, cases: list[Worn]) -> None:
    alike, said = sum(one.is_alike for one in cases), sum(one.is_said for one in cases)
    live = sum(one.is_counted_live for one in cases)
    print(f"{what}: as alone {alike} of {len(cases)}, said in {said}; counted so live {live}", flush=True)


def main() -> None:
    subjects = np.unique(dataset()["subject"]).tolist()
    kinds = ((ABDUCTION, "lateral-raise"), (FORWARD_ELEVATION, "front-raise"))
    line("from wrist to wrist", [from_wrist_to_wrist(one, *kind) for one, kind in product(subjects, kinds)])
    if not FOLDER.is_dir():
        print("the recordings of people are not beside the project")
        return
    line("turned half round", [turned_half_round(*each) for each in product(PEOPLE, HALF_TURNS)])
    line("from person to person", [from_person_to_person(*each) for each in permutations(PEOPLE, 2)])


if __name__ == "__main__":
    main()
