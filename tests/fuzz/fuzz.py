"""Fuzz one entrance of armarc and say honestly how often.

    nice -n 10 python tests/fuzz/fuzz.py csv 1000000 [--seed 1] [--plain] [--finds FOLDER]

Coverage-guided with the package atheris where it is installed, otherwise (or with ``--plain``) by mutation of the
seeds that are taken. Only the rooms behind the entrance are instrumented. Anything but an error of `armarc.errors`,
anything that computes for longer than two seconds and anything that makes the memory jump is kept as a find, one
input per place, and the run goes on; only an input that hangs for half a minute to a minute ends it, and lies in the
folder of finds as ``last-SEED`` (after four bytes with its length). A find belongs into ``corpus/`` with its fault
repaired. Guided runs of the tables need about two kilobytes more for every input; plain ones do not.
"""

from __future__ import annotations

import argparse
import faulthandler
import gc
import hashlib
import mmap
import random
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
try:
    import atheris
except ImportError:
    atheris = None

SLOWEST_S = 2.0
HANGS_S = 30.0
LARGEST_JUMP_KB = 300_000
ROOM_BYTES = 1 << 20


class Watch:
    """Runs inputs, counts, keeps finds."""

    def __init__(self, target, finds: Path, seed: int) -> None:
        from armarc.errors import ArmarcError

        self.target, self.finds, self.refusal = target, finds, ArmarcError
        self.count = self.accepted = self.refused = 0
        self.slowest = 0.0
        self.found: dict[str, int] = {}
        self.began = self.said = self.armed = time.monotonic()
        self.largest = 0
        finds.mkdir(parents=True, exist_ok=True)
        # Whatever ends the process, the input that did it is in this file, at the price of one copy in memory.
        self.last_path = finds / f"last-{seed}"
        self.last_path.write_bytes(bytes(ROOM_BYTES))
        with open(self.last_path, "r+b") as file:
            self.last = mmap.mmap(file.fileno(), ROOM_BYTES)
        faulthandler.dump_traceback_later(2 * HANGS_S, exit=True)

    def __call__(self, data: bytes) -> None:
        self.count += 1
        head = len(data).to_bytes(4, "big") + data
        self.last[: len(head)] = head
        started = time.process_time()
        try:
            self.target.run(data)
            self.accepted += 1
        except self.refusal:
            self.refused += 1
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)
            ours = [one for one in last if "armarc" in one.filename and "fuzz" not in one.filename] or last
            self.keep(f"{type(error).__name__} {Path(ours[-1].filename).name}:{ours[-1].lineno}", data, error)
        took = time.process_time() - started
        if took > self.slowest:
            self.slowest = took
            (self.finds / "slowest").write_bytes(data)
        if took > SLOWEST_S:
            self.keep(f"slow {took:.0f} s", data)
        largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if self.count > 100 and largest - self.largest > LARGEST_JUMP_KB:
            self.keep("memory", data)
        self.largest = largest
        now = time.monotonic()
        if now - self.armed > HANGS_S:
            # One timer for all inputs: a new one for each would cost more than most inputs.
            self.armed = now
            faulthandler.dump_traceback_later(2 * HANGS_S, exit=True)
        if now - self.said > 20:
            self.report()

    def keep(self, what: str, data: bytes, error: BaseException | None = None) -> None:
        self.found[what] = self.found.get(what, 0) + 1
        if self.found[what] > 1:
            return
        name = hashlib.sha256(data).hexdigest()[:10]
        (self.finds / name).write_bytes(data)
        print(f"FIND {what}: {self.finds / name}: {error!s:.200}", flush=True)

    def report(self) -> None:
        self.said = time.monotonic()
        seconds = self.said - self.began
        print(
            f"{self.count} inputs in {seconds:.0f} s ({self.count / seconds:.0f}/s): {self.accepted} accepted, "
            f"{self.refused} refused, slowest {self.slowest:.2f} s of computing, "
            f"largest {self.largest / 1024:.0f} MB, finds {self.found or 'none'}",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("target")
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--finds", type=Path, default=Path(tempfile.gettempdir()) / "armarc-finds")
    parser.add_argument("--plain", action="store_true", help="by mutation alone, without coverage")
    chosen = parser.parse_args()
    warnings.simplefilter("ignore")
    from targets import CORPUS, LONGEST, TARGETS, folder, mutate

    target = TARGETS[chosen.target]
    guided = atheris is not None and not chosen.plain

    def started() -> tuple[list[bytes], list[bytes], Watch]:
        """Seeds, each tried once, so that everything behind the entrance has been imported; those that are taken."""
        seeds = target.seeds() + [path.read_bytes() for path in sorted((CORPUS / chosen.target).glob("*"))]
        watch = Watch(target, chosen.finds / chosen.target, chosen.seed)
        taken = []
        for seed in seeds:
            before = watch.accepted
            watch(seed)
            if watch.accepted > before:
                taken.append(seed)
        watch.slowest = 0.0
        gc.freeze()  # what has been imported stays, so nothing is won by walking through it again and again
        return seeds, taken or seeds, watch

    if guided:
        with atheris.instrument_imports(include=list(target.rooms)):
            seeds, taken, watch = started()
    else:
        seeds, taken, watch = started()
        rng = random.Random(chosen.seed)
        while watch.count < chosen.count:
            watch(mutate(rng.choice(taken), rng, target.words))
        watch.report()
        return
    start = Path(tempfile.mkdtemp(prefix="armarc-fuzz-seeds-"))
    for number, seed in enumerate(seeds):
        (start / f"{number:03d}").write_bytes(seed)
    usual = 2 * max(map(len, seeds)) + 64

    def custom(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        chance = rng.random()
        if chance < 0.1 and len(data) <= usual:
            return atheris.Mutate(data, min(most, usual))
        # Back to a seed now and then: what grows by coverage is mostly refused at the door, and long inputs cost much.
        base = rng.choice(taken) if chance < 0.6 or len(data) > usual else data
        return mutate(base, rng, target.words)[:most]

    arguments = [
        *(
            sys.argv[0],
            str(start),
            f"-runs={chosen.count}",
            f"-max_len={usual + LONGEST}",
            f"-seed={chosen.seed}",
        ),
        *(
            "-rss_limit_mb=4096",
            "-len_control=0",
            f"-timeout={HANGS_S:.0f}",
            "-verbosity=0",
            "-print_final_stats=0",
        ),
    ]

    def one(data: bytes) -> None:
        watch(data)
        if watch.count == chosen.count:
            watch.report()
            for made in (start, folder()):  # the fuzzer ends the process without a chance to clean up
                shutil.rmtree(made, ignore_errors=True)

    atheris.Setup(arguments, one, custom_mutator=custom)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
