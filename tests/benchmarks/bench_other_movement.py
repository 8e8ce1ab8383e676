"""Real raises between real movement of another kind: are all counted, is nothing else, and are they measured alike?

Run with ``python tests/benchmarks/bench_other_movement.py [SESSIONS] [FIRST_SEED]``, sessions of each of three people
(`tests/external/held_by_hand.py`; needs the people data and the orientation benchmark beside the project). "Beside":
sets counted where none was lifted, and how many of them are said to be perhaps none or another exercise.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "external")]

from held_by_hand import WINDOWS, among_other_movement  # noqa: E402

PEOPLE = (1, 2, 3)
KEYS = {"start_velocity": "start, °/s", "rom": "range, °"}


def main() -> None:
    if not WINDOWS.is_dir():
        print("the recordings are not beside the project")
        return
    sessions, first = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 10), (2, 0)))
    lifted = exact = beside = said = 0
    off: dict[str, list[tuple[float, float]]] = {key: [] for key in KEYS}
    for number in PEOPLE:
        for seed in range(first, first + sessions):
            one = among_other_movement(number, seed)
            right = sum(sizes == [10] for sizes in one.sizes)
            lifted, exact = lifted + 3, exact + right
            others, of_them = one.beside
            beside, said = beside + others, said + of_them
            line = f"person {number}, seed {seed}: {one.sizes}, beside {others}, said {of_them}"
            if all(one.sizes):
                found = {key: one.differs(key) for key in KEYS}
                for key, values in found.items():
                    off[key] += values
                line += "".join(f"; {KEYS[key]} {[round(v, 1) for v, _ in x]}" for key, x in found.items())
            print(line, flush=True)
    print(f"sets exact {exact} of {lifted}; beside them {beside}, said {said}")
    for key, name in KEYS.items():
        by, error = np.transpose(off[key])
        rmse, within = np.sqrt(np.mean(by**2)), 100 * np.mean(np.abs(by) < 2 * error)
        print(f"{name}: RMSE {rmse:.1f}, within two standard errors {within:.0f} %")


if __name__ == "__main__":
    main()
