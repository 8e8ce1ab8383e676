"""Properties of reading and writing recordings: what is written is read, and nothing but InputError escapes."""

from __future__ import annotations

import gzip

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from armarc.errors import InputError
from armarc.recording import Metadata, Recording, RecordingWriter, read_csv, uniform_pieces, write_csv

GRAVITY = 9.80665
NAMES = ("time", "ax", "ay", "az", "gx", "gy", "gz")


def swing(n: int, rate_hz: float, seed: int = 0):
    rng = np.random.default_rng(seed)
    t = np.arange(n) / rate_hz
    angle, rate = 0.7 * (1 - np.cos(4 * t)), 2.8 * np.sin(4 * t)
    force = np.column_stack([0 * t, GRAVITY * np.sin(angle), GRAVITY * np.cos(angle)])
    turning = np.column_stack([rate, 0 * t, 0 * t])
    return t, force + rng.normal(0, 0.03, (n, 3)), turning + rng.normal(0, 0.003, (n, 3))


keys = st.text(min_size=1, max_size=12).filter(
    lambda key: key not in (*Metadata.__slots__, "rate_hz", "events")
)
plain_values = st.one_of(
    st.text(max_size=30), st.booleans(), st.integers(-(2**53), 2**53), st.lists(st.integers())
)


@settings(max_examples=25, deadline=None)
@given(
    n=st.integers(150, 400),
    rate_hz=st.floats(20.0, 130.0),
    seed=st.integers(0, 99),
    note=st.none() | st.text(max_size=40),
    load_kg=st.none() | st.floats(0, 500),
    other=st.dictionaries(keys, plain_values, max_size=4),
)
def test_written_is_read(tmp_path_factory, n, rate_hz, seed, note, load_kg, other):
    t, force, turning = swing(n, rate_hz, seed)
    metadata = Metadata(note=note, load_kg=load_kg, side="right", other=other)
    path = tmp_path_factory.mktemp("round") / "recording.csv"
    recording = Recording(
        time_s=t,
        specific_force_m_s2=force,
        angular_velocity_rad_s=turning,
        rate_hz=rate_hz,
        metadata=metadata,
    )
    write_csv(recording, path)
    again = read_csv(path)
    np.testing.assert_allclose(again.time_s, np.round(t, 6), atol=1.1e-6)
    np.testing.assert_allclose(again.specific_force_m_s2, np.round(force, 5), rtol=1e-15, atol=1e-12)
    np.testing.assert_allclose(again.angular_velocity_rad_s, np.round(turning, 5), rtol=1e-15, atol=1e-12)
    assert again.metadata == metadata
    assert again.warnings == ()


TABLE = swing(300, 100.0)


@settings(max_examples=40, deadline=None)
@given(
    delimiter=st.sampled_from([",", ";", "\t", "|", " ", "   "]),
    comma=st.booleans(),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    acceleration=st.sampled_from([1.0, GRAVITY, GRAVITY / 1000]),
    angular=st.sampled_from([1.0, np.pi / 180]),
    time=st.sampled_from([1.0, 1e-3, 1e-6, 1e-9]),
    start=st.sampled_from([0.0, 12345.0, 1.6e9]),
    quoted=st.booleans(),
    order=st.permutations(range(7)),
    packed=st.booleans(),
)
def test_every_dialect_gives_the_same_recording(
    tmp_path_factory,
    delimiter,
    comma,
    end,
    encoding,
    acceleration,
    angular,
    time,
    start,
    quoted,
    order,
    packed,
):
    t, force, turning = TABLE
    columns = [(t + start) / time, *(force.T / acceleration), *(turning.T / angular)]
    digits = [6 if time == 1.0 else 0, *[6] * 6]
    comma = comma and (delimiter != "," or quoted)

    def cell(value: float, places: int) -> str:
        text = f"{value:.{places}f}".replace(".", "," if comma else ".")
        return f'"{text}"' if quoted else text

    lines = [delimiter.join(NAMES[i] for i in order)]
    lines += [delimiter.join(cell(columns[i][row], digits[i]) for i in order) for row in range(len(t))]
    data = (end.join(lines) + end).encode(encoding)
    path = tmp_path_factory.mktemp("dialect") / "recording.csv"
    path.write_bytes(gzip.compress(data) if packed else data)
    recording = read_csv(path)
    np.testing.assert_allclose(recording.time_s, t, atol=1e-5)
    np.testing.assert_allclose(recording.specific_force_m_s2, force, atol=1e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, turning, atol=1e-6)


def read_or_refuse(path):
    try:
        recording = read_csv(path)
    except InputError:
        return None
    assert (np.diff(recording.time_s) > 0).all()
    assert recording.time_s[0] == 0
    assert np.isfinite(recording.specific_force_m_s2).all()
    assert np.isfinite(recording.angular_velocity_rad_s).all()
    for piece in uniform_pieces(recording):
        assert np.isfinite(piece.specific_force_m_s2).all()
    return recording


@settings(max_examples=150, deadline=None)
@given(data=st.binary(max_size=400))
def test_arbitrary_bytes_are_read_or_refused(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("bytes") / "file.csv"
    path.write_bytes(data)
    read_or_refuse(path)


@settings(max_examples=150, deadline=None)
@given(
    text=st.text(alphabet="0123456789.,;-+eE#\"'\t\n nantxyzg", max_size=300),
    header=st.sampled_from(
        ["time,ax,ay,az,gx,gy,gz\n", "", "# armarc recording 1\n# {}\n", "t;x;y;z;sensor\n"]
    ),
)
def test_arbitrary_tables_are_read_or_refused(tmp_path_factory, text, header):
    path = tmp_path_factory.mktemp("text") / "file.csv"
    path.write_text(header + text, encoding="utf-8")
    read_or_refuse(path)


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_damaged_recordings_are_read_or_refused(tmp_path_factory, data):
    """Bytes changed, lines dropped, doubled and swapped in an otherwise good file."""
    t, force, turning = TABLE
    lines = [",".join(NAMES)] + [
        ",".join(f"{value:.5f}" for value in row) for row in np.column_stack([t, force, turning])
    ]
    for _ in range(data.draw(st.integers(0, 4))):
        i = data.draw(st.integers(0, len(lines) - 1))
        match data.draw(st.sampled_from(["drop", "double", "swap", "type", "blank"])):
            case "drop":
                lines.pop(i)
            case "double":
                lines.insert(i, lines[i])
            case "swap":
                j = data.draw(st.integers(0, len(lines) - 1))
                lines[i], lines[j] = lines[j], lines[i]
            case "type":
                place = data.draw(st.integers(0, len(lines[i])))
                lines[i] = lines[i][:place] + data.draw(st.text(max_size=3)) + lines[i][place + 1 :]
            case "blank":
                lines[i] = ""
    text = "\n".join(lines)
    path = tmp_path_factory.mktemp("damaged") / "file.csv"
    path.write_text(text[: data.draw(st.integers(0, len(text)))], encoding="utf-8", newline="")
    read_or_refuse(path)


@settings(max_examples=30, deadline=None)
@given(lost=st.lists(st.tuples(st.integers(1, 580), st.integers(1, 300)), max_size=6))
def test_pieces_account_for_every_sample(lost):
    t, force, turning = swing(600, 100.0)
    kept = np.ones(600, bool)
    for start, length in lost:
        kept[start : start + length] = False
    if kept.sum() < 3:
        return
    rows = np.flatnonzero(kept)
    recording = Recording(
        time_s=t[rows], specific_force_m_s2=force[rows], angular_velocity_rad_s=turning[rows], rate_hz=100.0
    )
    seen = np.zeros(600, bool)
    for piece in uniform_pieces(recording):
        places = np.round(piece.time_s * 100).astype(int)
        real = kept[places]
        np.testing.assert_array_equal(piece.specific_force_m_s2[real], force[places[real]])
        assert not (piece.missing & real).any()
        # What is neither real nor marked lies in a stretch of at most 50 ms.
        for place in places[~real & ~piece.missing]:
            before = np.flatnonzero(kept[:place])[-1]
            after = place + np.flatnonzero(kept[place:])[0]
            assert after - before <= 5
        seen[places[real]] = True
    breaks = np.flatnonzero(np.diff(t[rows]) > 2.0) + 1
    for stretch in np.split(rows, breaks):
        long_enough = len(stretch) >= 3 and t[stretch[-1]] - t[stretch[0]] + 0.01 >= 1.0
        assert seen[stretch].all() == long_enough


@settings(max_examples=20, deadline=None)
@given(sizes=st.lists(st.integers(0, 40), min_size=1, max_size=12), cut=st.integers(0, 2000))
def test_a_growing_file_can_be_cut_anywhere(tmp_path_factory, sizes, cut):
    t, force, turning = TABLE
    path = tmp_path_factory.mktemp("grow") / "recording.csv"
    with RecordingWriter(path, {"side": "left"}, 100.0) as writer:
        writer.append(t[:150], force[:150], turning[:150])
        start = 150
        for size in sizes:
            part = slice(start, min(start + size, len(t)))
            writer.append(t[part], force[part], turning[part])
            writer.event({"event": "mark"})
            start = part.stop
    data = path.read_bytes()
    kept = data[: max(len(data) - cut, 0)]
    path.write_bytes(kept)
    rows = sum(
        not line.startswith((b"#", b"time"))
        for line in kept.splitlines(keepends=True)
        if line.endswith(b"\n")
    )
    recording = read_or_refuse(path)
    if rows >= 100:
        assert recording is not None
        assert len(recording.time_s) == rows
