"""What a set comes to, with numbers worked out by hand."""

import pytest

from armarc.reps.summary import AVERAGED, summarise, tempo
from published import rep_of


def record(**changes):
    plain = dict.fromkeys((c.key for c in AVERAGED), 1.0) | {
        "quality": [],
        "start_verdict": "inside",
        "plane_deg": None,
    }
    return rep_of(plain | changes)


def summary_of(*records, has_band=True):
    return summarise(records, 2.0, 32.5, has_band).record()


def test_sums_and_means():
    s = summary_of(
        record(rom_deg=80.0, time_under_tension_s=3.0, loaded_range_s=1.25),
        record(rom_deg=90.0, time_under_tension_s=4.0, loaded_range_s=1.5),
    )
    assert (s["reps"], s["duration_s"], s["time_under_tension_s"], s["loaded_range_s"]) == (
        2,
        30.5,
        7.0,
        2.75,
    )
    assert s["mean_rom_deg"] == 85.0


def test_a_mean_rate_is_not_named_a_mean_of_means():
    s = summary_of(record(mean_concentric_deg_s=50.0))
    assert s["mean_concentric_deg_s"] == 50.0
    assert "mean_mean_concentric_deg_s" not in s


def test_velocity_loss_is_from_the_best_to_the_last():
    # 100·(best − last)/best: Sánchez-Medina & González-Badillo 2011, Med Sci Sports Exerc 43:1725.
    s = summary_of(*(record(mean_concentric_deg_s=v) for v in (48.0, 50.0, 44.0, 40.0)))
    assert s["velocity_loss_pct"] == 20.0
    assert (
        summary_of(record(mean_concentric_deg_s=40.0), record(mean_concentric_deg_s=50.0))[
            "velocity_loss_pct"
        ]
        == 0.0
    )


def test_partial_and_swung_reps_do_not_steer_the_set():
    # The best was swung and the last was half a rep: over the others the set lost nothing.
    swung = record(mean_concentric_deg_s=90.0, quality=["swung"])
    half = record(mean_concentric_deg_s=38.0, rom_deg=40.0, quality=["partial"])
    fair = record(mean_concentric_deg_s=50.0, rom_deg=80.0)
    dropped = record(mean_concentric_deg_s=50.0, rom_deg=80.0, quality=["dropped"])
    s = summary_of(fair, swung, fair, dropped, half)
    assert (s["velocity_loss_pct"], s["rom_loss_pct"], s["mean_rom_deg"]) == (0.0, 0.0, 80.0)
    assert s["means_over"] == "3 of 5 reps; 1 swung, 1 partial"
    assert (s["reps"], s["clean_reps"]) == (5, 2)
    # Where every rep is swung there is nothing else to say.
    s = summary_of(swung, swung)
    assert (s["means_over"], s["clean_reps"]) == ("2 of 2 reps; 2 swung", 0)
    assert s["mean_concentric_deg_s"] == 90.0


def test_rom_loss_leaves_out_a_rep_the_recording_cut():
    s = summary_of(record(rom_deg=80.0), record(rom_deg=76.0), record(rom_deg=30.0, quality=["open_end"]))
    assert s["rom_loss_pct"] == 5.0
    assert s["mean_rom_deg"] == 78.0
    assert s["reps"] == 3


def test_a_set_of_cut_reps_only_is_still_summed_up():
    s = summary_of(record(rom_deg=40.0, quality=["open_start"]))
    assert s["mean_rom_deg"] == 40.0


def test_coefficient_of_variation():
    # SD with n − 1 of (48, 50, 52) is 2, mean 50: 4 %.
    s = summary_of(*(record(start_velocity_deg_s=v) for v in (48.0, 50.0, 52.0)))
    assert s["cv_start_velocity_deg_s_pct"] == 4.0
    assert s["cv_rom_deg_pct"] == 0.0
    assert summary_of(record())["cv_rom_deg_pct"] is None


def test_a_measure_with_an_arbitrary_zero_has_no_coefficient_of_variation():
    s = summary_of(record(), record())
    assert not {"cv_bottom_deg_pct", "cv_hand_rotation_deg_pct", "cv_pause_s_pct"} & set(s)


def test_tops_above_an_arbitrary_zero_vary_by_no_share_of_it():
    tops = (-2.5, -3.5)
    s = summary_of(*(record(top_deg=top) for top in tops))
    assert (s["mean_top_deg"], s["cv_top_deg_pct"]) == (-3.0, None)
    s = summary_of(*(record(top_deg=top + 90.0, top_deg_se=2.0) for top in tops))
    assert s["cv_top_deg_pct"] == pytest.approx(100 * 0.707107 / 87.0, abs=0.01)


def test_a_negative_measure_varies_by_its_size():
    s = summary_of(record(smoothness_sparc=-1.4), record(smoothness_sparc=-1.6))
    assert s["cv_smoothness_sparc_pct"] == pytest.approx(100 * 0.141421 / 1.5, abs=0.01)


def test_missing_values_are_left_out_and_all_missing_give_none():
    s = summary_of(record(body_swing_cm=None), record(body_swing_cm=2.0))
    assert s["mean_body_swing_cm"] == 2.0
    assert summary_of(record(body_swing_cm=None))["mean_body_swing_cm"] is None
    assert summary_of(record(mean_concentric_deg_s=None))["velocity_loss_pct"] is None


def test_the_band_counts_judged_reps():
    verdicts = ["below", "inside", "inside", "above", None]
    s = summary_of(*(record(start_verdict=v) for v in verdicts))
    assert s["in_band"] == {"count": 2, "share": 0.5}
    assert summary_of(record(start_verdict=None))["in_band"] == {"count": 0, "share": None}
    assert summary_of(record(), has_band=False)["in_band"] is None


def test_planes_are_averaged_as_directions():
    s = summary_of(record(plane_deg=170.0), record(plane_deg=-170.0))
    assert abs(s["mean_plane_deg"]) == pytest.approx(180.0)
    assert summary_of(record())["mean_plane_deg"] is None


def test_a_measure_that_the_exercise_does_not_have_sums_to_nothing():
    assert summary_of(record(loaded_range_s=None))["loaded_range_s"] is None


def test_tempo_puts_the_eccentric_first():
    # Wilk et al. 2018, J Hum Kinet (PMC6006544): eccentric / pause / concentric / pause, even when the lift
    # starts with the concentric.
    rep = record(eccentric_s=3.1, pause_s=0.4, concentric_s=1.6, hold_s=0.9)
    assert tempo([rep]) == "3/0/2/1"


def test_tempo_takes_the_median_and_rounds_halves_up():
    reps = [
        record(eccentric_s=e, pause_s=p, concentric_s=2.0, hold_s=0.0)
        for e, p in ((2.0, 0.2), (3.0, 9.0), (2.0, 0.3), (3.0, None))
    ]
    assert tempo(reps) == "3/0/2/0"
    assert tempo([record(eccentric_s=2.0, pause_s=None, concentric_s=1.0, hold_s=0.0)]) == "2/0/1/0"
