"""The sentence that stands before a set's table."""

from armarc.measures import row_of
from armarc.report.answers import session_answer, set_answer
from armarc.reps.summary import SetSummary, is_clean, summarise
from armarc.reps.types import Rep
from armarc.results import SetResult
from invented_sets import invent


def rep(number, verdict="inside", quality=(), **more):
    told = {"rep": number, "start_verdict": verdict, "quality": list(quality), "clean": is_clean(quality)}
    return row_of(Rep, {**told, **more})


def summary(**published):
    reps = invent(2)[1].reps
    return SetSummary.from_record({**summarise(reps, 0.0, 9.0, True).record(), **published})


def answer(*reps, loss=0.0, band=True):
    told = {"count": 0, "share": 0} if band else None
    return set_answer(reps, summary(velocity_loss_pct=loss, in_band=told))


def test_a_clean_set():
    assert (
        answer(rep(1), rep(2), loss=15.2) == "2 of 2 in the band, last rep 15 % slower than the best, clean."
    )


def test_a_loss_is_said_of_the_rep_it_was_taken_at():
    half = rep(3, quality=["partial"])
    assert "last full rep 15 % slower than the best, rep 3 was partial" in answer(
        rep(1), rep(2), half, loss=15.2
    )
    assert "last rep 15 % slower" in answer(half, rep(4, quality=["partial"]), loss=15.2)


def test_small_losses_are_not_worth_saying():
    assert answer(rep(1), rep(2), loss=4.9) == "2 of 2 in the band, clean."


def test_starts_outside_are_counted():
    assert answer(rep(1), rep(2, "above"), rep(3, "below")) == "1 of 3 in the band (1 below, 1 above), clean."


def test_starts_near_an_edge_of_the_band_are_counted_beside():
    reps = (rep(1, quality=["near_edge"]), rep(2, "above", ["near_edge"]), rep(3))
    assert answer(*reps) == "2 of 3 in the band (1 above, 2 too near an edge to be sure), clean."
    one = SetResult(set=1, start_s=0.0, end_s=9.0, summary=summary(mean_concentric_deg_s=50.0), reps=reps)
    assert "4 of 6 starts in the band (4 too near an edge to be sure)" in session_answer([one, one])


def test_without_a_band_the_reps_are_counted():
    assert answer(rep(1, None), band=False) == "1 rep, clean."


def test_a_swung_rep_is_named_with_its_numbers():
    swung = rep(2, "above", ["swung"], start_velocity_deg_s=111.2, body_swing_cm=6.61)
    assert "rep 2 was swung (start 111 °/s, shoulder moved 6.6 cm)" in answer(rep(1), swung)


def test_several_reps_with_one_fault_make_one_phrase():
    said = answer(*(rep(i, quality=["partial"] if i > 1 else []) for i in (1, 2, 3, 4)))
    assert "reps 2, 3 and 4 were partial" in said
    assert "clean" not in said


def test_a_rep_with_two_faults_is_named_once():
    said = answer(rep(1, quality=["partial", "swung"]), rep(2))
    assert said.count("rep 1") == 1
    assert "rep 1 was swung" in said


def test_what_makes_a_whole_set_uncertain_is_said():
    said = answer(*(rep(i, quality=["bent_elbow"]) for i in (1, 2)))
    assert said.endswith("clean; less certain than usual: the elbow bent.")
    assert "less certain" not in answer(rep(1, quality=["bent_elbow"]), rep(2), rep(3))


def test_one_fault_of_every_rep_is_said_once():
    said = answer(*(rep(i, quality=["unsteady_sensor"]) for i in (1, 2, 3)))
    assert "every rep was measured with a slipping strap" in said


def test_a_slipping_strap_makes_no_rep_unclean_in_the_session_line_either():
    reps = tuple(rep(i, quality=["unsteady_sensor"]) for i in (1, 2))
    one = SetResult(set=1, start_s=0.0, end_s=9.0, summary=summary(mean_concentric_deg_s=50.0), reps=reps)
    assert session_answer([one, one]).endswith("all clean.")


def test_a_session_in_one_line():
    def one(*reps, mean):
        told = summary(mean_concentric_deg_s=mean)
        return SetResult(set=1, start_s=0.0, end_s=9.0, summary=told, reps=reps)

    said = session_answer([one(rep(1), rep(2, "above"), mean=60.0), one(rep(1, quality=["gap"]), mean=45.0)])
    assert said == (
        "2 sets of 2, 1 reps, 2 of 3 starts in the band, last set 25 % slower than the first, 1 rep not clean."
    )
