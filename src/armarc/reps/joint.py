"""About which joint a run of look-alike movements turns, and whether that leaves room for a raise.

What turns about a joint that stands still feels ``α×r + ω×(ω×r)`` beside gravity, which shows how far away the joint
is. A raise turns a wrist about the shoulder, some half a metre away; who drinks, wipes the face, looks at a watch or
curls turns it about the elbow, a forearm away (elbow to wrist 0.25–0.27 m, a sensor sits some centimetres above it; de
Leva 1996, J Biomech 29:1223, from memory). An elbow bent by a right angle and kept so leaves two thirds of the
straight arm's reach: a raise is never as short as a forearm.

Nothing there tells a curl from a sip. What does is how they follow one another: reps of a set wait for less time than
they take and are held alike; sips and looks at a watch stand apart, and each is as long as it likes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from armarc.motion import fit_lever_arm, low_pass
from armarc.recording import BoolArray, FloatArray
from armarc.reps.likeness import Template, median
from armarc.reps.movements import FULL_SET, Movement
from armarc.reps.path import SensorPath, angle_about
from armarc.reps.rhythm import FEW, is_steady
from armarc.reps.run import Run
from armarc.reps.settling import Samples
from armarc.reps.strides import SMOOTHED_HZ, turning_of

FOREARM_M = 0.30
"""A shorter reach is that of a forearm: real curls show up to 0.25 m, 73 real sets of raises 0.32 m and more (working
limit between them) …"""
FOREARM_SHARE = 0.6
"""… as is a shorter share of what the raises beside it show: an elbow would have to be bent by 105° all the way up."""
SHORT_ARM_M = 0.36
"""A reach up to this leaves open which joint it is (working limit)."""
LONGEST_ARM_M = 0.85
"""No arm is as long from shoulder to wrist: what seems to turn about so far a place is pushed along a line."""
EXPLAINED, IN_PLANE = 0.8, 0.7
"""Where one joint explains less of what is felt, several moved (0.84–0.99 in people's sets). A trunk that tips along
with the arm makes the reach of a raise as short as a forearm, and one joint may still explain nine tenths of it; a
turn in one plane then leaves half (it explains 0.75–0.97 of curls, sips and looks at a watch; working limits)."""
RESTLESS_M_S2 = 0.15
"""Who stands and raises an arm slowly leaves up to so much unexplained (0.04–0.14 in people's ten slow sets): where a
movement is felt hardly more than that, what one joint does not explain of it tells of no other one (working limit)."""
BESIDE_ARMS = 0.7
"""Of the reach that the others of a run show in the plane of their turning: there one movement alone tells as much
(0.44–0.57 and 0.20–0.36 m in invented runs that held both; working limit)."""
BETWEEN_FITS_M = 0.02
"""A turning hand puts so much between both fits (working limit)."""
PAST_HANGING = 0.25
"""A raise begins about where the arm hangs: 0–0.07 of the way lies beyond, in 293 sets of people and invented lifters;
arms that are swung to and fro have 0.27 and more behind the body. One that begins across it has a fifth (working
limit)."""
SWUNG = 0.5
"""A run of which more does so, beside sets that do not, is doubted though nobody named a raise (working limit)."""
SCATTERED_RAD, SCATTERED_RANGE = math.radians(10), 0.15
"""Scatter of direction and range beyond which movements that several joints make are hardly one exercise."""
MARGIN_S = 0.3


@dataclass(frozen=True, slots=True)
class Joint:
    """How far from the sensor the joint lies that a run turns about.

    Fitted twice: to all of the turning, and to that in the plane of the movement alone.

    Parameters
    ----------
    reach_m, reach_se_m : float, m
    explained : float
        Share of what is felt, 0 to 1.
    in_plane_m : float, m
    in_plane_explained : float
        0 where there is no such plane.
    left_m_s2 : float, m/s²
        What one joint does not explain, root mean square of one axis.
    """

    reach_m: float
    reach_se_m: float
    explained: float
    in_plane_m: float
    in_plane_explained: float
    left_m_s2: float

    def is_forearm(self, arm_m: float | None = None) -> bool:
        """Whether the joint is surely the elbow, beside raises of a reach where there are any."""
        limit = FOREARM_M if arm_m is None else max(FOREARM_M, FOREARM_SHARE * arm_m)
        is_short = self.reach_m + 2 * self.reach_se_m < limit and self.in_plane_m < limit + BETWEEN_FITS_M
        return is_short and self.explained >= EXPLAINED and self.in_plane_explained >= IN_PLANE

    @property
    def is_line(self) -> bool:
        """Whether the movement goes along a line rather than about a joint."""
        return self.reach_m - 2 * self.reach_se_m > LONGEST_ARM_M

    @property
    def is_arm(self) -> bool:
        """Whether it is surely a shoulder."""
        return self.explained >= EXPLAINED and is_arm(self.reach_m)

    @property
    def is_no_arm(self) -> bool:
        """Whether it is hardly a shoulder, or several joints."""
        if self.is_arm or _is_shoulder_in_plane(self.in_plane_m, self.in_plane_explained):
            return False
        return self.explained >= EXPLAINED or self.left_m_s2 > RESTLESS_M_S2

    @property
    def is_raise(self) -> bool:
        """Whether it surely is one, and the movement stays in its plane, as no arm does that is swung about."""
        return self.is_arm and self.in_plane_explained >= IN_PLANE


def is_arm(reach_m: float) -> bool:
    """Whether a joint lies as far away as a shoulder."""
    return SHORT_ARM_M <= reach_m <= LONGEST_ARM_M


def may_be_raise(look: Template) -> bool:
    """Whether the joint that a set turned about may be the shoulder, as far as anybody has looked."""
    return math.isnan(look.arm_m) and not (look.reach_m <= FOREARM_M or look.reach_m > LONGEST_ARM_M)


def _is_shoulder_in_plane(reach_m: float, explained: float) -> bool:
    return SHORT_ARM_M + BETWEEN_FITS_M <= reach_m <= LONGEST_ARM_M and explained >= EXPLAINED


@dataclass(frozen=True, slots=True, kw_only=True)
class Joints:
    """What fits the joints of runs, each once.

    Parameters
    ----------
    path : SensorPath
        Of the recording, with the acceleration.
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    missing : ndarray of bool, shape (n,), or None
    """

    path: SensorPath
    quaternion: FloatArray
    angular_velocity_rad_s: FloatArray
    specific_force_m_s2: FloatArray
    rate_hz: float
    missing: BoolArray | None
    planes: dict[tuple[Movement, ...], tuple[list[tuple[float, float]], FloatArray]] = field(
        default_factory=dict
    )
    done: dict[tuple[int, int], Joint | None] = field(default_factory=dict)

    def in_plane(self, run: Run) -> tuple[float, float]:
        """The fit to the turning in the plane of a run alone, which takes a tenth of the time: reach and share."""
        return self._planes(run)[0][-1]

    def of_each(self, run: Run) -> list[tuple[float, float]]:
        """The same of every movement of a run."""
        return self._planes(run)[0][:-1]

    def goes_past_hanging(self, run: Run) -> BoolArray:
        """Which movements swing an arm through where it hangs, as in walking and in loosening up."""
        reach_m, explained = self.in_plane(run)
        if not is_arm(reach_m) or explained < IN_PLANE:
            return np.zeros(run.size, dtype=np.bool_)
        one, other, _ = self.from_hanging(run).T
        beyond = np.minimum(np.abs(one), np.abs(other)) > PAST_HANGING * np.abs(other - one)
        return np.asarray((one * other < 0) & beyond)

    def hanging(self, run: Run) -> tuple[FloatArray, FloatArray]:
        """The vertical in the sensor where the arm of a run's plane hangs, and across it in that plane."""
        hanging, across = self._planes(run)[1]
        return hanging, across

    def from_hanging(self, run: Run) -> FloatArray:
        """Angles from where the arm hangs at the bottom, the top and the bottom after each movement, shape (k, 3),
        rad."""
        hanging, across = self.hanging(run)
        up = self.path.up[[(m.bottom, m.top, m.bottom_after) for m in run.movements]]
        return np.asarray(np.arctan2(up @ across, up @ hanging))

    def is_upside_down(self, run: Run) -> bool:
        """Whether the arm of a run plainly hangs at its tops: rests between single reps were taken for holds."""
        if not _is_shoulder_in_plane(*self.in_plane(run)):
            return False
        low, high, _ = np.abs(self.from_hanging(run)).T
        return median(low - high) > run.template.range_rad / 2

    def is_raise_one_way(self, run: Run, movement: Movement, least_m: float) -> bool:
        """Whether one way of a movement turns about a shoulder: on the other the sensor shifted on the wrist.

        An elbow that bends on the way up stretches on the way down.
        """
        ways = [(movement.bottom, movement.top), (movement.top, movement.bottom_after)]
        seen = _in_plane(self.path, run, ways)[0][:-1]
        return any(m >= least_m and explained >= EXPLAINED for m, explained in seen)

    def _planes(self, run: Run) -> tuple[list[tuple[float, float]], FloatArray]:
        if run.movements not in self.planes:
            whole = [(m.bottom, m.bottom_after) for m in run.movements]
            self.planes[run.movements] = _in_plane(self.path, run, whole)
        return self.planes[run.movements]

    def of(self, run: Run) -> Joint | None:
        """Both fits; None where too little turns to tell."""
        key = run.first, run.last
        if key not in self.done:
            self.done[key] = self._fitted(run)
        return self.done[key]

    def may_be_forearm(self, run: Run) -> bool:
        """Whether the plane leaves room for an elbow, beside no raises."""
        reach_m, explained = self.in_plane(run)
        return reach_m < FOREARM_M + BETWEEN_FITS_M and explained >= IN_PLANE

    def is_clear(self, run: Run) -> bool:
        """Whether the plane alone shows a shoulder, and nothing else about the run is doubtful."""
        return _is_shoulder_in_plane(*self.in_plane(run)) and not _is_loose(run)

    def _fitted(self, run: Run) -> Joint | None:
        every, margin = self.path.every, round(MARGIN_S * self.rate_hz)
        cut = slice(max(run.first * every - margin, 0), run.last * every + margin)
        weight = np.zeros(len(self.quaternion[cut]))
        for m in run.movements:
            weight[m.bottom * every - cut.start : m.bottom_after * every - cut.start] = 1.0
        lever = fit_lever_arm(
            self.quaternion[cut],
            self.angular_velocity_rad_s[cut],
            self.specific_force_m_s2[cut],
            self.rate_hz,
            weight,
            missing=None if self.missing is None else self.missing[cut],
        )
        if lever is None:
            return None
        along = lever.vector_m / max(lever.reach_m, 1e-9)
        se = math.sqrt(float(along @ lever.covariance_m2 @ along))
        return Joint(lever.reach_m, se, lever.explained, *self.in_plane(run), lever.residual_m_s2)


def _in_plane(
    path: SensorPath, run: Run, spans: Sequence[tuple[int, int]]
) -> tuple[list[tuple[float, float]], FloatArray]:
    """Distance of the joint of a turn about the run's own axis, m, and the share of what is felt that it explains.

    Of each span of samples, the ends among them, and last of all together; then up where the arm hangs, and across
    it, shape (2, 3).
    """
    if path.acceleration_m_s2 is None or run.curve != "tilt":
        return [(math.inf, 0.0)] * (len(spans) + 1), np.zeros((2, 3))
    begin, stop = run.first, run.last + 1
    axis = run.sign * run.axis
    turning = turning_of(run.sign * angle_about(path.up[begin:stop], run.axis), path.rate_hz)
    felt = low_pass(path.acceleration_m_s2[begin:stop], path.rate_hz, SMOOTHED_HZ)
    # The sensor turns against the angle of the vertical: α × r − ω² r, r at right angles to the axis, and a constant.
    one = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    one /= np.linalg.norm(one)
    of_arm = [
        -turning[:, :1] * np.cross(axis, way) - turning[:, 1:2] * way for way in (one, np.cross(axis, one))
    ]
    constant = np.broadcast_to(np.eye(3), (len(felt), 3, 3))
    terms = np.concatenate([np.stack(of_arm, axis=2), constant], axis=2)
    rows = [np.arange(a - begin, b - begin + 1) for a, b in spans]
    at, firsts = np.concatenate(rows), np.cumsum([0, *map(len, rows[:-1])])
    arms, explained = _fitted(terms[at], felt[at], firsts)
    reach = np.hypot(*arms.T)
    hanging = -(arms[-1] @ [one, np.cross(axis, one)]) / max(float(reach[-1]), 1e-9)
    seen = list(zip(reach.tolist(), explained.tolist(), strict=True))
    return seen, np.array([hanging, np.cross(axis, hanging)])


def _fitted(terms: FloatArray, felt: FloatArray, firsts: Samples) -> tuple[FloatArray, FloatArray]:
    """The arm, shape (k, 2), and the share explained, of every part and last of all.

    From terms of shape (n, 3, 5), what is felt, shape (n, 3), and the first row of every part: their normal equations
    add up to those of all.
    """
    columns = np.concatenate([terms, felt[:, :, None]], axis=2).reshape(-1, 6)
    squares = np.array([part.T @ part for part in np.split(columns, 3 * firsts[1:])])
    sums = np.add.reduceat(felt, firsts)
    count = np.diff(firsts, append=len(felt))
    squares, sums, count = (
        np.append(each, each.sum(axis=0)[None], axis=0) for each in (squares, sums, count)
    )
    wanted, total = squares[:, :5, 5], squares[:, 5, 5]
    found = (np.linalg.pinv(squares[:, :5, :5], hermitian=True) @ wanted[:, :, None])[:, :, 0]
    left = total - np.einsum("ij,ij->i", found, wanted)
    scatter = np.maximum(total - np.einsum("ij,ij->i", sums, sums) / count, 1e-9)
    return found[:, :2], 1 - left / scatter


def told_apart(
    runs: Sequence[Run], joints: Joints, known: Sequence[Template], *, is_raise: bool
) -> tuple[list[Run], list[Run]]:
    """Take what is none of the raises named from the runs of a recording, and doubt what may be none.

    Parameters
    ----------
    runs : sequence of Run
    joints : Joints
    known : sequence of Template
        Of sets seen before.
    is_raise : bool
        Whether a raise was named and the sensor sits on the wrist.

    Returns
    -------
    kept, others : list of Run
        The others turn about an elbow or along a line. Those that follow one another as reps do are kept: it is a set
        of something, whatever it was called; where there are raises as well, it is one of another exercise.
    """
    if not is_raise:
        swung = [bool(joints.goes_past_hanging(run).mean() > SWUNG) for run in runs]
        doubts = [
            (is_swung and not all(swung)) or _is_hardly_a_set(run, joints)
            for run, is_swung in zip(runs, swung, strict=True)
        ]
        return list(map(_doubted, runs, doubts)), []
    if all(joints.is_clear(run) for run in runs):
        return [_looked_at(run, joints.in_plane(run)[0]) for run in runs], []
    seen = [(run, joints.of(run)) for run in runs]
    reaches = [joint.reach_m for run, joint in seen if joint is not None and joint.is_arm and is_steady(run)]
    reaches += [one.reach_m for one in known if is_arm(one.reach_m)]
    arm_m = median(np.array(reaches)) if reaches else None
    raises = [run.template for run, joint in seen if joint is not None and joint.is_raise]
    raises += [one for one in known if is_arm(one.reach_m)]
    kept, others = [], []
    for run, joint in seen:
        if joint is None:
            kept.append(_looked_at(run, math.nan))
            continue
        is_elsewhere = joint.is_line or joint.is_forearm(arm_m)
        is_set = is_steady(run) and (arm_m is None or run.size > FEW)
        # Taken out of a run of raises it makes no set by itself.
        is_odd_one = run.is_elbow and run.size < FULL_SET
        is_swung = run.curve == "tilt" and joint.in_plane_explained < IN_PLANE
        is_beside = bool(raises) and not any(run.template.may_be(one) for one in raises)
        doubt = (joint.is_no_arm and _is_loose(run, _alike(run, runs))) or (is_swung and is_beside)
        look = _looked_at(run, joint.reach_m, arm_m if arm_m is not None and is_elsewhere else math.nan)
        # Neither the way, the joint nor the pace of the raises beside it: handling, however evenly it goes on.
        is_hurried = bool(raises) and all(run.template.is_handling_beside(one) for one in raises)
        is_handling = doubt and is_hurried and not may_be_raise(look.template)
        if is_handling or ((is_elsewhere or is_odd_one) and not is_set):
            others.append(replace(run, is_line=joint.is_line, is_elbow=not joint.is_line))
        else:
            kept.append(_doubted(look, doubt))
    return kept, others


def _looked_at(run: Run, reach_m: float, arm_m: float = math.nan) -> Run:
    return replace(run, template=replace(run.template, reach_m=reach_m, arm_m=arm_m), is_elbow=False)


def _is_hardly_a_set(run: Run, joints: Joints) -> bool:
    """Whether something nobody named may be handling: about the elbow and not in a row, or too few about no joint."""
    if is_steady(run) or (run.size >= FULL_SET and not joints.may_be_forearm(run)):
        return False
    joint = joints.of(run)
    return joint is not None and (joint.is_forearm() or (run.size < FULL_SET and joint.explained < EXPLAINED))


def _alike(run: Run, runs: Sequence[Run]) -> int:
    """How many movements there are in all runs just like this one that follow as reps do: sets of four are many."""
    if not is_steady(run):
        return run.size
    return sum(one.size for one in runs if one.template.is_just_like(run.template) and is_steady(one))


def _is_loose(run: Run, alike: int | None = None) -> bool:
    """Whether a run that no single shoulder explains is hardly one exercise: few, or scattered."""
    if (run.size if alike is None else alike) <= FEW:
        return True
    found, members = run.candidates, np.array(run.members)
    off = np.arccos(np.clip(found.direction[members] @ run.template.direction, -1.0, 1.0))
    is_scattered = float(np.sqrt(np.mean(off**2))) > SCATTERED_RAD
    return is_scattered and float(np.std(np.log(found.range_rad[members]))) > SCATTERED_RANGE


def _doubted(run: Run, is_doubtful: bool) -> Run:
    return replace(run, may_be_handling=True) if is_doubtful else run
