"""The recording of a chest sensor is kept with the sets it was measured with, and measured again with them."""

import os
from dataclasses import replace

import pytest

from armarc.api import process
from armarc.load.lifter import Lifter
from armarc.log.adding import log_session
from armarc.log.changing import purge_removed, remove_sets, undo
from armarc.log.checking import check_log
from armarc.log.curves import remeasured_set
from armarc.log.measuring import measure_content
from armarc.log.reading import get_set, recording_ids, result_of
from armarc.log.remeasuring import remeasure
from armarc.log.store import open_log
from armarc.recording import read_csv, write_csv
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from armarc.simulate.session import simulate_chest
from armarc.trunk import Trunk


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Wrist and chest of one capture; the chest's clock runs 1.5 s ahead."""
    folder = tmp_path_factory.mktemp("pair")
    plan = plan_session(SimulationOptions(sets=1, reps=4), 5)
    chest = simulate_chest(plan, 5)
    cut = chest.time_s >= 1.5
    chest = replace(
        chest,
        time_s=chest.time_s[cut] - chest.time_s[cut][0],
        specific_force_m_s2=chest.specific_force_m_s2[cut],
        angular_velocity_rad_s=chest.angular_velocity_rad_s[cut],
        clipped=chest.clipped[cut],
    )
    for name, one in (("wrist", simulate_session(plan, 5)[0]), ("chest", chest)):
        write_csv(one, folder / f"{name}.csv")
    return folder / "wrist.csv", folder / "chest.csv"


@pytest.fixture
def store(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as opened:
        yield opened


def logged(store, pair, *, chest=True):
    wrist = read_csv(pair[0])
    trunk = Trunk(recording=read_csv(pair[1]), clock=1.5) if chest else None
    return log_session(store, process(wrist, trunk=trunk), pair[0], trunk_path=pair[1] if chest else None)


def travel(store, set_id):
    return [rep["trunk_travel_deg"] for rep in result_of(store, [set_id])["sets"][0]["reps"]]


def test_it_is_kept_and_used_again(store, pair):
    (number,) = logged(store, pair).set_ids
    before = travel(store, number)
    assert None not in before
    (again,) = remeasure(store, recording_ids(store), measure_content)
    assert (again.problem, again.changes) == ("", {})
    # The clock of the two is the one found when they were first measured: nothing moves.
    assert travel(store, number) == before
    session, place = remeasured_set(store, get_set(store, number))
    assert session.sets[place].reps[0].trunk_travel_rad is not None
    checked = check_log(store)
    assert (checked.problems, checked.remarks, checked.recordings) == ((), (), 2)


def test_with_and_without_are_two_measurements_of_one_set(store, pair):
    (plain,) = logged(store, pair, chest=False).set_ids
    assert travel(store, plain) == [None] * 4
    added = logged(store, pair)
    assert (added.status, added.set_ids) == ("measured again", (plain,))
    assert None not in travel(store, plain)
    assert logged(store, pair).status == "already there"
    undo(store)
    assert travel(store, plain) == [None] * 4


def test_it_goes_with_the_last_set_that_needs_it(store, pair):
    (number,) = logged(store, pair).set_ids
    assert purge_removed(store) == (0, 0, 0)
    assert len(store.vault.names()) == 2
    remove_sets(store, [number])
    assert purge_removed(store) == (1, 2, 0)
    assert store.vault.names() == set()


def test_a_lost_one_is_said_and_costs_no_number(store, pair):
    (number,) = logged(store, pair).set_ids
    before = travel(store, number)
    trunk = result_of(store, [number])["settings"]["trunk"]
    store.vault.drop(trunk["sha256"], trunk["suffix"])
    (again,) = remeasure(store, recording_ids(store), measure_content, choose_body=lambda *_: Lifter())
    assert "chest sensor is not in the log" in again.problem
    assert travel(store, number) == before
    (problem,) = check_log(store).problems
    assert os.path.basename(pair[1]) in problem
