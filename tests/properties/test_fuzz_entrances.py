"""Every entrance for bytes, with damaged and invented input: refused with armarc's own error, or taken, in time.

The long runs are in ``tests/fuzz/fuzz.py``; what they found lies in ``tests/fuzz/corpus`` and is tried here.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armarc.errors import ArmarcError

FUZZ = Path(__file__).parents[1] / "fuzz"
sys.path.insert(0, str(FUZZ))
import targets  # noqa: E402

FINDS = sorted(path for path in (FUZZ / "corpus").rglob("*") if path.is_file())
SLOWEST_S = 2.0


@pytest.fixture(scope="module", autouse=True)
def clean_up():
    yield
    targets.close_log()
    shutil.rmtree(targets.folder(), ignore_errors=True)
    targets.folder.cache_clear()


def enter(name: str, data: bytes) -> None:
    began = time.process_time()
    with contextlib.suppress(ArmarcError):
        targets.TARGETS[name].run(data)
    assert time.process_time() - began < SLOWEST_S


@pytest.mark.parametrize("path", FINDS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_what_fuzzing_found_stays_repaired(path):
    enter(path.parent.name, path.read_bytes())


@pytest.mark.parametrize("name", targets.TARGETS)
def test_seeds_are_taken(name):
    """A seed that is refused at the door would leave everything behind it untried."""
    taken = 0
    seeds = targets.TARGETS[name].seeds()
    for seed in seeds:
        with contextlib.suppress(ArmarcError):
            targets.TARGETS[name].run(seed)
            taken += 1
    assert taken >= (len(seeds) if name not in ("packets", "csv") else 2)


@pytest.mark.parametrize("name", targets.TARGETS)
@settings(max_examples=60, deadline=None)
@given(rng=st.randoms(use_true_random=False), which=st.integers(0, 99), times=st.integers(1, 3))
def test_damaged_input_is_refused_or_taken(name, rng, which, times):
    target = targets.TARGETS[name]
    seeds = target.seeds()
    data = seeds[which % len(seeds)]
    for _ in range(times):
        data = targets.mutate(data, rng, target.words)
    enter(name, data)
