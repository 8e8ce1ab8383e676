"""Whatever comes over the air, the decoders raise nothing but the room's own error."""

from __future__ import annotations

import contextlib
from importlib.resources import as_file, files

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from armarc.sensor.describe import decoder_of, load_description
from armarc.sensor.dialect import Batch, Timing
from armarc.sensor.timing import Timeline, Unwrapper
from armarc.sensor.wire import PacketError, decode_clock, decode_packet, decode_state
from sensor_side import decode_command

BYTES = st.binary(max_size=600)
EXAMPLES = files("armarc.sensor.describe") / "examples"


@given(data=st.one_of(BYTES, BYTES.map(lambda rest: b"\x10" + rest)))
@example(data=b"\x10\x01")
def test_wrist_decoders(data: bytes) -> None:
    for decode in (decode_packet, decode_state, decode_clock, decode_command):
        with contextlib.suppress(PacketError):
            decode(data)


@settings(deadline=None)
@given(
    packets=st.lists(
        st.tuples(
            st.integers(0, 1),
            st.one_of(
                BYTES,
                st.binary(min_size=39, max_size=39).map(lambda rest: b"\xa5" + rest[1:]),
                st.sampled_from([16, 28, 4 + 12]).flatmap(
                    lambda size: st.binary(min_size=size, max_size=size)
                ),
                st.text("IMU,0123456789.\n", max_size=60).map(str.encode),
            ),
        ),
        max_size=8,
    )
)
def test_described_decoders(packets: list[tuple[int, bytes]]) -> None:
    with as_file(EXAMPLES) as folder:
        for path in sorted(folder.glob("*.toml")):
            description = load_description(path)
            decode = decoder_of(description)
            for source, data in packets:
                with contextlib.suppress(PacketError):
                    for batch in decode(data, source if description.joined_with is not None else 0):
                        assert np.isfinite(batch.specific_force_m_s2).all()
                        assert batch.specific_force_m_s2.shape == batch.angular_velocity_rad_s.shape


def _batch(n: int, index: int | None = None, time_s: float | None = None, **flags: bool) -> Batch:
    return Batch(
        specific_force_m_s2=np.zeros((n, 3)),
        angular_velocity_rad_s=np.zeros((n, 3)),
        index=index,
        device_time_s=time_s,
        **flags,
    )


WRIST = Timing(rate_hz=200.0, index_modulus=65536, time_modulus_s=2**32 * 1e-6)


@given(
    start=st.integers(0, 2**40),
    late_s=st.floats(0, 1),
    steps=st.lists(
        st.tuples(
            st.integers(1, 19),  # frames in the packet
            st.one_of(st.just(0), st.integers(0, 400), st.integers(0, 2_000_000)),  # lost before it
            st.floats(0, 0.3),  # delay
            st.booleans(),  # delivered twice
        ),
        max_size=30,
    ),
)
def test_unwrapping_finds_every_gap_and_every_double(
    start: int, late_s: float, steps: list[tuple[int, int, float, bool]]
) -> None:
    """True frame numbers are recovered over any number of wraps of index (328 s) and time (71.6 min)."""
    unwrapper = Unwrapper(WRIST)
    at = start
    base: int | None = None
    expected_next = start
    arrival_s = 0.0
    for n, lost, delay_s, twice in steps:
        at += lost
        if base is None:
            expected_next = at  # what came before the first packet is nobody's loss
        time_s = at / 200
        arrival_s = max(arrival_s, time_s - start / 200 + late_s + delay_s)
        for copy in range(1 + twice):
            placed = unwrapper.place(_batch(n, at % 65536, time_s % (2**32 * 1e-6)), arrival_s)
            base = placed.index - at if base is None else base
            assert placed.index - base == at
            assert placed.skip == (n if copy else 0)
            assert placed.missing == (0 if copy else at - expected_next)
            assert not placed.restarted
        at += n
        expected_next = at


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 5), st.integers(0, 65535), st.floats(0, 4294), st.floats(0, 100), st.booleans()
        ),
        max_size=30,
    )
)
def test_nonsense_never_breaks_the_timeline(packets: list[tuple[int, int, float, float, bool]]) -> None:
    """Random numbers, times and arrivals: times handed out still rise."""
    timeline = Timeline(0, WRIST)
    events = []
    arrival_s = 0.0
    for n, index, time_s, wait_s, first in packets:
        arrival_s += wait_s
        events += timeline.add(_batch(n, index, time_s, first=first), arrival_s)
    events += timeline.finish()
    times = np.concatenate(
        [event.time_s for event in events if hasattr(event, "specific_force_m_s2")] or [[]]
    )
    assert (np.diff(times) > 0).all()
    assert timeline.frames == len(times)
