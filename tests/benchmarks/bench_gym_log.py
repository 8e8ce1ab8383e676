"""The log of a gym, invented: how long every answer takes in a log of 100 000 sets.

    python tests/benchmarks/bench_gym_log.py [SETS [ADDRESS]]

Forty lifters, four tasks, both arms, four loads, two years. The address of an empty log on a server may be named;
else it is a file. Every command runs in a process of its own, with what Python and its libraries take to start;
processor time of this process (not of a server), median of three. For comparison the list that was printed is read
with the standard library's JSON.

Rows are written in bulk, because adding a hundred thousand results one by one takes minutes; what they hold is made by
the same code that adds a result.
"""

from __future__ import annotations

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import sqlalchemy as sa

from armarc.log import Labels, open_log, schema
from armarc.log.rows import rep_row, set_row
from armarc.log.writing import measurement_values
from invented_log import MONDAY, invented_result

LIFTERS = 40
SETS_A_RECORDING = 4
TASKS = (("lateral-raise", ""), ("lateral-raise", "cable"), ("front-raise", ""), ("y-raise", "prone"))
LOADS_KG = (6.0, 8.0, 10.0, None)
# Everybody's Python keeps what it has compiled; these answers are to start as theirs do.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
CURVE_NAMES = ("angle_deg", "concentric_n_m", "concentric_sd_n_m", "eccentric_n_m", "eccentric_sd_n_m")
TEMPLATES = 160
"""Recordings that differ in every rep; the numbers of each set differ once more."""


def fill_gym(where: str, sets: int, *, lifters: int = LIFTERS, seed: int = 1) -> None:
    """Make a log of about `sets` sets: each lifter trains a task with both arms every other day."""
    rng = random.Random(seed)
    documents = [_template(number, rng) for number in range(TEMPLATES)]
    tables = (schema.recording, schema.session, schema.measurement, schema.training_set)
    tables += (schema.set_number, schema.tag, schema.rep)
    rows: dict[str, list[dict]] = {table.name: [] for table in tables}
    with open_log(where) as store, store.writing() as connection:
        names = [{"id": n + 1, "name": f"lifter {n + 1:02d}"} for n in range(lifters)]
        connection.execute(sa.insert(schema.lifter), names)
        set_id = 0
        for number in range(sets // SETS_A_RECORDING):
            document, labels = documents[rng.randrange(TEMPLATES)]
            # Two recordings a session, one for each arm.
            day, lifter = divmod(number // 2, lifters)
            begun = (
                MONDAY - timedelta(days=900) + timedelta(days=2 * day, minutes=7 * lifter + 90 * (number % 2))
            )
            session = {
                "id": number // 2 + 1,
                "lifter_id": lifter + 1,
                "day": begun.date().isoformat(),
                "label": "",
            }
            if number % 2 == 0:
                rows["session"].append(session)
            rows["recording"].append(_recording(number + 1, begun.timestamp()))
            rows["measurement"].append({"id": number + 1, "recording_id": number + 1, **document[0]})
            better = 1 + 0.1 * day / 365 + rng.gauss(0, 0.03)
            for record, values in document[1]:
                set_id += 1
                rows["training_set"].append(
                    {
                        **values,
                        "id": set_id,
                        "measurement_id": number + 1,
                        "session_id": session["id"],
                        "side": ("left", "right")[number % 2],
                        "done_at": begun.timestamp() + record["start_s"],
                        "summary": _changed(values["summary"], better + rng.gauss(0, 0.02)),
                        "removed_at": begun.timestamp() if rng.random() < 0.01 else None,
                    }
                )
                numbers = schema.set_numbers(rows["training_set"][-1]["summary"])
                rows["set_number"].append({"set_id": set_id, **numbers})
                rows["rep"] += [{"set_id": set_id, **rep} for rep in record["rows"]]
                rows["tag"] += [{"set_id": set_id, "tag": name} for name in labels.tags]
            if len(rows["training_set"]) >= 2000:
                _write(connection, tables, rows)
        _write(connection, tables, rows)
        if connection.dialect.name == "postgresql":
            for table in tables:
                if "id" in table.c:
                    sequence = f"pg_get_serial_sequence('{table.name}', 'id')"
                    connection.exec_driver_sql(
                        f"SELECT setval({sequence}, (SELECT max(id) FROM {table.name}))"
                    )


def _write(connection, tables, rows) -> None:
    for table in tables:
        if rows[table.name]:
            connection.execute(sa.insert(table), rows[table.name])
            rows[table.name].clear()


def _template(number: int, rng: random.Random):
    exercise, variant = TASKS[number % len(TASKS)]
    load_kg = LOADS_KG[number // len(TASKS) % len(LOADS_KG)]
    result = invented_result(
        number, sets=SETS_A_RECORDING, reps=rng.randint(6, 14), exercise=exercise, load_kg=load_kg
    )
    labels = Labels(
        variant=variant,
        tags=("block",) if number % 3 else (),
        rir=rng.choice((None, 0.0, 1.0, 2.0)),
        note="invented",
    )
    sets = []
    for record in result["sets"]:
        # As large as the shoulder's load that a measured set carries.
        curve = {name: [round(rng.uniform(0, 60), 3) for _ in range(95)] for name in CURVE_NAMES}
        record["load"] = {"resistance": "dumbbell", "curve": curve}
        record["summary"]["impulse_n_m_s"] = rng.uniform(100, 400)
        values = set_row(record, result["settings"], labels)
        sets.append(
            ({"start_s": record["start_s"], "rows": [rep_row(rep) for rep in record["reps"]]}, values)
        )
    return (measurement_values(result), sets), labels


def _changed(summary: dict, factor: float) -> dict:
    return {
        key: round(factor * value, 4) if isinstance(value, float) and key.startswith("mean_") else value
        for key, value in summary.items()
    }


def _recording(number: int, started_at: float) -> dict:
    return {
        "id": number,
        "sha256": f"{number:064x}",
        "file_name": f"invented-{number}.csv",
        "suffix": ".csv",
        "bytes": 0,
        "kept": False,
        "started_at": started_at,
        "added_at": started_at,
    }


COMMANDS = (
    "trend rom --json",
    "compare --by side --json",
    "trend bests --json",
    "trend weeks --json",
    "trend parts --json",
    "trend next --json",
    "reliability --json",
    "log list --json",
    "log list -n 0 --json",
)


def child_cpu_s(words: list[str]) -> tuple[float, bytes]:
    before = os.times()
    done = subprocess.run(words, check=True, capture_output=True)
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return used, done.stdout


def main() -> None:
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        where = sys.argv[2] if len(sys.argv) > 2 else str(Path(folder) / "log.sqlite")
        start = time.process_time()
        fill_gym(where, sets)
        print(f"{sets} sets written in {time.process_time() - start:.0f} s")
        empty = statistics.median(
            child_cpu_s([sys.executable, "-c", "import numpy, sqlalchemy"])[0] for _ in range(3)
        )
        print(f"{'import numpy, sqlalchemy':<28} {empty:6.2f} s")
        for command in COMMANDS:
            words = [sys.executable, "-m", "armarc", *command.split(), "--log-file", where]
            runs = [child_cpu_s(words) for _ in range(1 if "-n 0" in command else 3)]
            print(
                f"{command:<28} {statistics.median(used for used, _ in runs):6.2f} s  {len(runs[0][1]) / 1e6:7.1f} MB"
            )
        start = time.process_time()
        json.loads(runs[0][1])
        print(f"{'json.loads of the last':<28} {time.process_time() - start:6.2f} s")


if __name__ == "__main__":
    main()
