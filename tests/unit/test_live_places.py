"""A live set with a sensor on each wrist, and with one on the chest."""

import asyncio
import math
from dataclasses import replace

import pytest
import typer
from typer.testing import CliRunner

from armarc.api import process
from armarc.cli.app import ErrorBoundary
from armarc.cli.live import live
from armarc.cli.live_gym import file_gym, said_task
from armarc.cli.process import process as process_command
from armarc.errors import UsageError
from armarc.live.aftermath import After
from armarc.live.desk import Desk, Say, Switch
from armarc.live.faces import SpeechFace
from armarc.live.session import LiveSession
from armarc.live.source import play
from armarc.log import Labels, list_sets, open_log
from armarc.options import MeasuringOptions
from armarc.recording import read_csv, write_csv
from armarc.recording.captures import one_capture
from armarc.simulate import Body, SimulationOptions, plan_session, simulate_session
from armarc.simulate.session import simulate_chest
from armarc.tasks import Task
from armarc.trunk import Trunk

TIPPING = Body(tip_rad=math.radians(8), tip_s=0.6)
KNOBS = {"sets": 2, "reps": 4, "rest_s": 14.0, "body": TIPPING}


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Both wrists and the chest of one lifter; the right arm starts faster."""
    folder = tmp_path_factory.mktemp("places")
    plan = plan_session(SimulationOptions(side="left", **KNOBS), 3)
    left, _ = simulate_session(plan, 3)
    right, _ = simulate_session(
        plan_session(SimulationOptions(side="right", start_velocity_rad_s=1.6, **KNOBS), 3), 3
    )
    left, chest = one_capture(left, simulate_chest(plan, 3))
    made = {"left": left, "right": right, "chest": chest}
    for name, one in made.items():
        one = replace(one, metadata=replace(one.metadata, started_at="2026-03-02T18:00:00+00:00"))
        write_csv(one, folder / f"{name}.csv")
    return {name: folder / f"{name}.csv" for name in made}


program = typer.Typer(cls=ErrorBoundary)
program.command("live")(live)
program.command("process")(process_command)


def armarc(*words):
    return CliRunner().invoke(program, list(map(str, words)))


class Ear:
    name = "the ear"

    def __init__(self, orders=()):
        self.heard, self.orders, self.session, self.refused = [], list(orders), None, []

    def hear(self, record, event):
        self.heard.append(record)
        for when, order in [one for one in self.orders if one[0](record)]:
            self.orders.remove((when, order))
            asyncio.get_running_loop().call_soon(self.give, order)

    def give(self, order):
        try:
            self.session.order(order)
        except UsageError as error:
            self.refused.append(error.message)

    def refresh(self, scoreboard): ...
    def close(self): ...

    def of(self, event):
        return [one for one in self.heard if one["event"] == event]


def lift(paths, orders=(), *, log=None, lifter=None, without=(), faces=()):
    """Play files through a session; packets of the sensors in `without` never arrive."""
    said = said_task(
        MeasuringOptions(lifter=lifter),
        variant=None,
        worn=[],
        phone=False,
        log=log is not None,
        stop_at=None,
        stop_rom=None,
    )
    choices, gym, streams = file_gym(paths, MeasuringOptions(), said)
    ear, told = Ear(orders), []
    session = LiveSession(
        choices=choices,
        faces=[ear, *faces],
        after=After(log=log is not None, log_file=None if log is None else str(log)),
        tell=told.append,
        places=tuple(one.side or "chest" for one in streams.worn),
        heads=tuple(one.metadata for one, _ in streams.played),
        stamp_for=lambda s: f"2026-03-02T18:{int(s) // 60:02d}:{int(s) % 60:02d}+00:00",
        gym=gym,
        in_step=True,
    )
    ear.session = session

    async def source():
        async for item in play(streams.played[0][0], None, asyncio.Event(), *streams.played[1:]):
            if item.sensor not in without:
                yield item

    asyncio.run(session.run(source(), [one.rate_hz for one, _ in streams.played]))
    return session, ear, told


def test_each_arm_has_its_sets_and_both_are_compared(files):
    session, ear, told = lift([files["left"], files["right"]])
    ended = ear.of("set ended")
    assert [(one["side"], one["reps"]) for one in ended] == [("left", 4), ("right", 4)] * 2
    assert [one["set"] for one in ended] == [1, 2, 3, 4]
    assert ear.of("session")[0]["side"] == "both"
    assert {one.scoreboard.side for one in session.arms.values()} == {"left", "right"}
    for arm in session.arms.values():
        assert [line.reps for line in arm.scoreboard.sets] == [4, 4]
    both = ear.of("both arms")
    assert [(one["left_set"], one["right_set"]) for one in both] == [(1, 2), (3, 4)]
    assert all(one["reps"] == [[n, n] for n in range(1, 5)] for one in both)
    # 92 °/s against 57: 47 % of their mean; the same range.
    for one in both:
        start, rom = (one["symmetry_index"][key] for key in ("start_velocity_deg_s", "rom_deg"))
        assert abs(start["index_pct"] - 47) < 3 * start["index_pct_se"] + 5
        assert abs(rom["index_pct"]) < 3 * rom["index_pct_se"]
    assert any(text.startswith("sets 1 and 2: both arms, 4 reps: start") for text in told)


def test_the_chest_makes_live_what_process_makes_of_the_pair(files):
    session, _, told = lift([files["left"], files["chest"]])
    wrist, chest = (read_csv(files[name]) for name in ("left", "chest"))
    pair = process(wrist, trunk=Trunk(recording=chest)).to_dict()
    assert process(wrist, trunk=chest).to_dict() == pair
    assert len(session.sets) == 2
    for lifted, whole in zip(session.sets, pair["sets"], strict=True):
        reps = lifted.result.sets[0].rep_records()
        assert len(reps) == len(whole["reps"]) == 4
        for mine, theirs in zip(reps, whole["reps"], strict=True):
            assert mine["trunk_travel_deg"] == pytest.approx(theirs["trunk_travel_deg"], abs=0.5)
            assert mine["body_swing_cm"] == pytest.approx(theirs["body_swing_cm"], abs=0.5)
            assert mine["start_velocity_deg_s"] == pytest.approx(theirs["start_velocity_deg_s"], abs=1.5)
    assert any("trunk moved" in text for text in told)
    alone, _, _ = lift([files["left"]])
    assert alone.sets[0].result.sets[0].reps[0].trunk_travel_rad is None


def test_a_chest_sensor_that_sends_nothing_costs_nothing(files):
    session, _, _ = lift([files["left"], files["chest"]], without=(1,))
    assert [len(one.result.sets[0].reps) for one in session.sets] == [4, 4]
    for one in session.sets:
        assert "chest sensor: it sent nothing during this set" in one.result.warnings


def test_what_is_said_of_a_set_is_said_of_both_arms(files, tmp_path):
    def after(number):
        return lambda record: record["event"] == "both arms" and record["right_set"] == number

    orders = [(after(2), Say(labels=Labels(rir=2.0, note="grip"))), (after(2), Switch(lifter="Ben"))]
    orders.append((after(2), Switch(side="left")))
    _, ear, _ = lift([files["left"], files["right"]], orders, log=tmp_path / "log.sqlite", lifter="Anna-Lena")
    assert ear.refused == ["both arms wear a sensor"]
    with open_log(str(tmp_path / "log.sqlite")) as store:
        sets = sorted(list_sets(store), key=lambda one: one.id)
    assert [(one.lifter, one.side, one.rir, one.note) for one in sets] == [
        ("Anna-Lena", "left", 2.0, "grip"),
        ("Anna-Lena", "right", 2.0, "grip"),
        ("Ben", "left", None, ""),
        ("Ben", "right", None, ""),
    ]


def test_a_switch_waits_for_the_slower_arm():
    anna, ben = Task(lifter="Anna", side="left"), Task(lifter="Ben", side="left")
    desk = Desk(task=anna).counted(5).switched(Switch(lifter="Ben"), (ben,))
    desk = desk.ended(1, "left", lifting=True)
    assert (desk.task.lifter, desk.waiting.lifter, desk.lifting) == ("Anna", "Ben", True)
    desk = desk.counted(3).ended(2, "right")
    assert [(one.lifter, one.side) for one in desk.done.values()] == [("Anna", "left"), ("Anna", "right")]
    assert desk.task.lifter == "Ben"


@pytest.mark.parametrize(
    ("names", "why"),
    [
        (["chest"], "0 recordings of a wrist and 1 of a chest"),
        (["left", "left"], "its head does not say that it is of the other arm"),
        (["left", "right", "left"], "3 recordings of a wrist"),
    ],
)
def test_recordings_that_do_not_belong_together(files, names, why):
    words = [word for name in names for word in ("--from", files[name])]
    done = armarc("live", *words, "--speed", "max")
    assert done.exit_code == 2
    assert why in done.stderr


def test_raw_streams_of_a_capture_find_each_other_again(files, tmp_path):
    words = [word for name in ("left", "chest") for word in ("--from", files[name])]
    done = armarc("live", *words, "--speed", "max", "--json", "--out", tmp_path / "today.csv")
    assert done.exit_code == 0, done.stderr
    raw = [tmp_path / f"today-{name}.csv" for name in ("wrist", "chest")]
    assert all(str(path) in done.stderr for path in raw)
    assert len(read_csv(raw[0]).time_s) == len(read_csv(files["left"]).time_s)
    again = armarc("process", *raw)
    assert again.exit_code == 0
    assert "with the chest sensor of today-chest.csv" in again.stderr


def test_both_arms_are_counted_aloud_once(files):
    spoken = []

    class Mouth:
        def say(self, words):
            spoken.append(words)

    lift([files["left"], files["right"]], faces=[SpeechFace(Mouth(), spoken.append)])
    assert spoken == ["1", "2", "3", "4"] * 2
