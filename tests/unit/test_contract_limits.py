"""Numbers of the contract that a result would hardly show if they moved: edges of the range, gaps, order of phases."""

import math

import numpy as np
import pytest

from armarc import Recording
from armarc.recording import uniform_pieces
from armarc.recording.timing import find_gaps
from armarc.reps.phases import Instants, find_instants

RATE_HZ = 200.0
CREEP_DEG_S, FAST_DEG_S = 4.5, 60.0
"""Below and above the 5 °/s from which a phase is on."""
ROM_DEG = 30.0


def creeping_rep(edge_share):
    """Angle and rate, degrees, of a rep that creeps over `edge_share` of the range at each of its four edges."""
    edge, middle = edge_share * ROM_DEG, (1 - 2 * edge_share) * ROM_DEG
    legs = [  # rate, seconds
        (0.0, 2.0),
        (CREEP_DEG_S, edge / CREEP_DEG_S),
        (FAST_DEG_S, middle / FAST_DEG_S),
        (CREEP_DEG_S, edge / CREEP_DEG_S),
        (-CREEP_DEG_S, edge / CREEP_DEG_S),
        (-FAST_DEG_S, middle / FAST_DEG_S),
        (-CREEP_DEG_S, edge / CREEP_DEG_S),
        (0.0, 2.0),
    ]
    ends = np.cumsum([seconds for _, seconds in legs])
    t = np.arange(0.0, ends[-1], 1 / RATE_HZ)
    leg = np.searchsorted(ends, t, side="right")
    rates = np.array([rate for rate, _ in legs])
    marks = np.concatenate([[0.0], ends])
    angles = np.concatenate([[0.0], np.cumsum([rate * seconds for rate, seconds in legs])])
    return t, np.interp(t, marks, angles), rates[leg], ends


@pytest.mark.parametrize(("edge_share", "creep_counts"), [(0.115, False), (0.085, True)])
def test_a_phase_begins_and_ends_at_a_tenth_of_the_range(edge_share, creep_counts):
    """The contract: the last instant with the rate at most 5 °/s before the angle rises through 10 % of the range, …

    Where the arm creeps beyond that tenth, the instant is where it passes it; where it creeps less far, it is where
    the creeping ends.
    """
    t, angle, rate, ends = creeping_rep(edge_share)
    top = int(np.argmax(angle))
    at = find_instants(np.radians(angle), np.radians(rate), 0, top, len(t), RATE_HZ)
    assert at is not None
    tenth_s = 0.1 * ROM_DEG / CREEP_DEG_S
    wanted = (
        [ends[1], ends[2], ends[4], ends[5]]
        if creep_counts
        else [ends[0] + tenth_s, ends[3] - tenth_s, ends[3] + tenth_s, ends[6] - tenth_s]
    )
    found = [x / RATE_HZ for x in (at.start, at.top_start, at.top_end, at.end)]
    np.testing.assert_allclose(found, wanted, atol=1.5 / RATE_HZ)


@pytest.mark.parametrize("order", [(1, 0, 2, 3), (0, 2, 1, 3), (0, 1, 3, 2), (3, 2, 1, 0)])
def test_instants_out_of_order_are_no_rep(order):
    values = dict(zip(("start", "top_start", "top_end", "end"), map(float, order), strict=True))
    rest = {"bottom_rad": 0.0, "bottom_after_rad": 0.0, "top_rad": 1.0, "is_complete": True}
    with pytest.raises(ValueError, match="follow each other"):
        Instants(**values, **rest)
    assert Instants(start=1, top_start=1, top_end=1, end=1, **rest).end == 1


@pytest.mark.parametrize(
    ("rate_hz", "hole_s", "is_gap"),
    [
        (1000.0, 0.049, False),
        (1000.0, 0.051, True),
        (100.0, 0.05, False),
        (100.0, 0.06, True),
        (25.0, 0.058, False),  # a late sample, less than half a period
        (25.0, 0.062, True),
    ],
)
def test_a_gap_is_longer_than_50_ms_and_than_one_and_a_half_periods(rate_hz, hole_s, is_gap):
    t = np.arange(400) / rate_hz
    t[200:] += hole_s - 1 / rate_hz
    gaps = find_gaps(t, 1 / rate_hz)
    assert len(gaps) == is_gap
    if is_gap:
        assert gaps[0].end_s - gaps[0].start_s == pytest.approx(hole_s)
        assert gaps[0].missing_samples == max(1, round(hole_s * rate_hz) - 1)


@pytest.mark.parametrize(("missing", "is_gap"), [(4, False), (5, True)])
def test_five_samples_missing_at_100_hz_are_a_gap_four_are_none(missing, is_gap):
    t = np.arange(600) / 100
    keep = np.r_[0:300, 300 + missing : 600]
    force = np.column_stack([0 * t, np.sin(t), np.cos(t)]) * 9.80665
    rate = np.column_stack([np.full(len(t), 1.0), 0.01 * np.sin(t), 0.01 * np.cos(t)])
    made = Recording.from_arrays(t[keep], force[keep], rate[keep])
    assert len(made.gaps) == is_gap
    (piece,) = uniform_pieces(made)
    assert len(piece.missing) == 600
    assert math.isclose(made.rate_hz, 100.0)
