"""Fuzz one entrance of armarc and say honestly how often.

    nice -n 10 python tests/fuzz/fuzz.py csv 1000000 [--seed 1] [--finds FOLDER]

Coverage-guided with the package atheris where it is installed, otherwise by plain mutation of the seeds. Anything
but an error of `armarc.errors`, anything slower than two seconds and anything that makes the memory jump is kept as a
find, one input per place, and the run goes on. A find belongs into ``corpus/`` with its fault repaired.
"""

from __future__ import annotations

import argparse
import faulthandler
import hashlib
import random
import resource
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
LARGEST_JUMP_KB = 300_000


class Watch:
    """Runs inputs, counts, keeps finds."""

    def __init__(self, target, finds: Path) -> None:
        from armarc.errors import ArmarcError

        self.target, self.finds, self.refusal = target, finds, ArmarcError
        self.count = self.accepted = self.refused = 0
        self.slowest = 0.0
        self.found: dict[str, int] = {}
        self.began = self.said = time.monotonic()

    def __call__(self, data: bytes) -> None:
        self.count += 1
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        started = time.process_time()
        faulthandler.dump_traceback_later(30, exit=True)
        try:
            self.target.run(data)
            self.accepted += 1
        except self.refusal:
            self.refused += 1
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)
            ours = [one for one in last if "armarc" in one.filename and "fuzz" not in one.filename] or last
            self.keep(f"{type(error).__name__} {Path(ours[-1].filename).name}:{ours[-1].lineno}", data, error)
        finally:
            faulthandler.cancel_dump_traceback_later()
        took = time.process_time() - started
        self.slowest = max(self.slowest, took)
        if took > SLOWEST_S:
            self.keep(f"slow {took:.0f} s", data)
        if self.count > 100 and resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before > LARGEST_JUMP_KB:
            self.keep("memory", data)
        if time.monotonic() - self.said > 20:
            self.report()

    def keep(self, what: str, data: bytes, error: BaseException | None = None) -> None:
        self.found[what] = self.found.get(what, 0) + 1
        if self.found[what] > 1:
            return
        self.finds.mkdir(parents=True, exist_ok=True)
        name = hashlib.sha256(data).hexdigest()[:10]
        (self.finds / name).write_bytes(data)
        print(f"FIND {what}: {self.finds / name}: {error!s:.200}", flush=True)

    def report(self) -> None:
        self.said = time.monotonic()
        seconds = self.said - self.began
        print(
            f"{self.count} inputs in {seconds:.0f} s ({self.count / seconds:.0f}/s): {self.accepted} accepted, "
            f"{self.refused} refused, slowest {self.slowest:.2f} s of computing, finds {self.found or 'none'}",
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
    if atheris is not None and not chosen.plain:
        with atheris.instrument_imports(include=["armarc"]):
            import armarc.load.grammar
            import armarc.load.lifter_file
            import armarc.log.adding
            import armarc.pipeline
            import armarc.sensor.describe
            import armarc.sensor.wire
            import armarc.settings  # noqa: F401
    from targets import CORPUS, TARGETS, mutate

    target = TARGETS[chosen.target]
    seeds = target.seeds() + [p.read_bytes() for p in sorted((CORPUS / chosen.target).glob("*"))]
    watch = Watch(target, chosen.finds / chosen.target)
    if atheris is None or chosen.plain:
        rng = random.Random(chosen.seed)
        for seed in seeds:
            watch(seed)
        while watch.count < chosen.count:
            watch(mutate(rng.choice(seeds), rng, target.words))
        watch.report()
        return
    start = Path(tempfile.mkdtemp(prefix="armarc-fuzz-seeds-"))
    for number, seed in enumerate(seeds):
        (start / f"{number:03d}").write_bytes(seed)
    longest = 2 * max(map(len, seeds)) + 64

    def custom(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.random() < 0.15:
            return atheris.Mutate(data, most)
        # Back to a seed now and then: what grows by coverage is mostly refused at the door.
        base = rng.choice(seeds) if rng.random() < 0.4 else data
        return mutate(base, rng, target.words)[:most]

    arguments = [
        *(sys.argv[0], str(start), f"-runs={chosen.count}", f"-max_len={longest}", f"-seed={chosen.seed}"),
        *("-rss_limit_mb=4096", "-timeout=30", "-verbosity=0", "-print_final_stats=0", "-close_fd_mask=0"),
    ]

    def one(data: bytes) -> None:
        watch(data)
        if watch.count == chosen.count:
            watch.report()

    atheris.Setup(arguments, one, custom_mutator=custom)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
