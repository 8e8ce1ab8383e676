"""Whether the elbow is bent or bends on the way up, from what the wrist's acceleration says of shoulder, elbow, wrist.

How a wrist sensor's arm line turns in the plane of the raise can hardly be fitted freely: on exact accelerations of
bodies with a bending elbow a free `r₀ + r₁·s` turns 3° too little, since 2–5 mm of the true path are not linear in s,
and free quadratic terms leave the turn open altogether. An elbow is one hinge between two segments of known shares,
about an axis across the forearm and the thumb: with the bend and the forearm's turn about itself linear in s, six
angles and two lengths say the whole path, and what shows across the plane of the raise decides what does not show in
it.

Kinds of body are held against each other: a rigid arm, a straight elbow, a bent one, one that bends on the way or
straightens, beside trunks that lean with the arm or hardly do, and straps that sit otherwise than was stated.
Each is a prior about the same unknowns; which one a set speaks for says its evidence (Laplace's approximation). All
reps do the same, and so does what no body here explains: a set is worth a rep or two, and `UNMODELLED_M_S2` is noise,
too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion.forearm import FOREARM_SHARE, Forearm
from armarc.motion.lapack import products
from armarc.recording import FloatArray

UNMODELLED_M_S2 = 0.05
"""What is alike in every rep and no shoulder, elbow or forearm here: scale errors of a sensor, soft tissue (working
limit; 0.03–0.12 m/s² tell 24 bodies of each kind apart alike)."""
REPS_HEARD = 2
"""A set is fitted as one rep, and that leaves the kinds too near to each other: of 24 looked-at bodies with a bending
elbow none was less than 0.65 likely to have one, of 40 others none more than 0.42."""
MEASURED_SHARE = 0.035
"""How far a measured reach may be off, as a share: a tape's 1–2 cm."""
IN_PLANE_RAD = math.radians(3.5)
"""How far the arm line lies off the plane across the hinge where the raise begins: a trunk that leans, a hand that
turns (looked-at bodies: rigid arms 2.2°, elbows that bend 3.3°, trunks that tip 3.9°; 2.5° tells them apart alike)."""
PLACES = np.linspace(-0.8, 0.8, 17)
"""Places of the range (−½ at its bottom, ½ at its top) at which an arm line and its doubt are tabulated."""
NODES = np.array([-0.5, -1 / 6, 1 / 6, 0.5])
"""A path over the range is the cubic through what it is here."""
ROUNDS, HALVED, SETTLED = 8, 6, 0.1
"""Steps of a fit at most, how often one is halved, and in which share of their spread unknowns may still move when it
ends."""

TILT, THUMB, TURN, BEND, BENDS, REACH, HEIGHT = slice(0, 2), 2, 3, 4, 5, 6, 7
ANGLES = slice(0, 6)
OWN = 8
"""Unknowns of the chain: the forearm's two tilts in the strap, the thumb's place round it, how far it turns from the
bottom to the top, the elbow's bend in the middle of the range and its change (rad); reach and height (m)."""
SHOULDER_COLUMNS = 5
"""Girdle upwards, along and across the plane of the raise, with 1 − cos θ; lean along and across it, with θ (m)."""
_TO_CUBIC = np.linalg.inv(np.vander(NODES, 4, increasing=True))
_STEP = 1e-4
_REACH_M = 0.57


@dataclass(frozen=True, slots=True, kw_only=True)
class ElbowBend:
    """How likely it is that the elbow is bent, bends on the way up or straightens, and the arm line if so.

    Parameters
    ----------
    likely : float
        That it bends on the way up or straightens, 0 to 1.
    otherwise : float
        How likely the sensor is worn the other way round.
    weights : ndarray, shape (k,)
        How likely each elbow that is not straight is, by trunk and how the sensor may sit.
    lines : ndarray, shape (k, 17, 3)
        Of each, unit vectors from shoulder to wrist in sensor axes at `PLACES`.
    by_unknown : ndarray, shape (k, 17, 3, 6)
        Their changes with the angles of the chain.
    covariances : ndarray, shape (k, 6, 6), rad²
        Of these angles.
    columns : ndarray, shape (15 + `SHOULDER_COLUMNS`,)
        What the equations' columns then are on average.
    """

    likely: float
    otherwise: float
    weights: FloatArray
    lines: FloatArray
    by_unknown: FloatArray
    covariances: FloatArray
    columns: FloatArray

    @property
    def bent(self) -> float:
        """How likely the elbow is bent at all, constantly or somewhere on the way."""
        return min(float(self.weights.sum()), 1.0)

    @property
    def line(self) -> FloatArray:
        """Shape (17, 3): the mean of these, by how likely each is."""
        mean = np.einsum("k,kij->ij", np.maximum(self.weights, 1e-9), self.lines)
        return np.asarray(mean / np.linalg.norm(mean, axis=1)[:, None])

    def at(self, place: FloatArray) -> FloatArray:
        """Shape (n, 3): that arm line at places of the range, not quite of unit length between the tabulated ones."""
        return np.stack([np.interp(place, PLACES, column) for column in self.line.T], axis=-1)


@dataclass(frozen=True, slots=True)
class _Kind:
    """Prior of a kind of body, mean and spread: bend in the middle of the range, its change, the forearm's turn (°);
    the girdle's rise, what the shoulder does besides, how far it leans away from the arm (m); how far the strap sits
    askew (°)."""

    bend: tuple[float, float]
    bends: tuple[float, float]
    turns: float
    girdle: tuple[float, float]
    besides: tuple[float, float]
    leans: float = 0.0
    askew: float = 0.0

    def of(self, forearm: Forearm) -> tuple[FloatArray, FloatArray]:
        """Mean and spread of all unknowns: chain, zero-g offset, shoulder."""
        mean = np.zeros(OWN + 3 + SHOULDER_COLUMNS)
        spread = np.ones_like(mean)
        spread[TILT] = max(math.radians(self.askew), forearm.askew_rad)
        spread[[THUMB, TURN]] = forearm.thumb_within_rad, math.radians(self.turns)
        mean[[BEND, BENDS]] = np.radians([self.bend[0], self.bends[0]])
        spread[[BEND, BENDS]] = np.radians([self.bend[1], self.bends[1]])
        mean[[REACH, HEIGHT]] = _REACH_M, forearm.height_m
        spread[[REACH, HEIGHT]] = 0.08, forearm.height_within_m
        if forearm.reach_m is not None:
            mean[REACH], spread[REACH] = forearm.reach_m, MEASURED_SHARE * forearm.reach_m
        spread[OWN : OWN + 3] = 0.3
        mean[OWN + 3], spread[OWN + 3] = self.girdle
        mean[OWN + 6] = -self.leans
        spread[OWN + 4 : OWN + 6], spread[OWN + 6 :] = self.besides
        return mean, spread


_GIRDLE, _BESIDES, _LEANS = (0.03, 0.012), (0.01, 0.015), 0.01
"""A girdle rises by 3–4 cm and takes the shoulder inward by less; a trunk leans away from the weight by 1° on average
(working limits) …"""
_LEANING, _LEANS_FAR = (0.01, 0.04), 0.04
"""… or goes with the arm by 5–10° each time, 4 ± 4 cm at the shoulder (by the chest's sensor two of three people with
a dumbbell, one of two raises with optical truth)."""
_BENDS, _STRAIGHT, _BENT, _STRAIGHTENS = (
    ((16.5, 8.0), (17.0, 7.0), 19.0, _GIRDLE),
    ((2.0, 4.0), (0.0, 1.5), 19.0, _GIRDLE),
    ((18.0, 8.0), (0.0, 1.5), 19.0, _GIRDLE),
    ((16.5, 8.0), (-17.0, 7.0), 19.0, _GIRDLE),
)
_RIGID = ((0.0, 2.0), (0.0, 0.5), 10.0)
_ELBOWS = (_BENDS, _STRAIGHTENS, _BENT, _STRAIGHT)
KINDS = (
    *(_Kind(*elbow, _BESIDES, _LEANS) for elbow in _ELBOWS),
    *(_Kind(*elbow, _LEANING, _LEANS_FAR) for elbow in _ELBOWS),
    _Kind(*_RIGID, (0.0, 0.004), (0.004, 0.004)),
    _Kind(*_RIGID, _GIRDLE, _BESIDES, _LEANS, askew=15.0),
    _Kind((-16.5, 8.0), (-17.0, 7.0), 19.0, _GIRDLE, _BESIDES, _LEANS),
)
CHANGING, WITH_BENT_ELBOW, OTHERWISE = (0, 1, 4, 5), (0, 1, 2, 4, 5, 6), len(KINDS) - 1
"""An elbow that bends, one that straightens, a bent one, a straight one, each beside a trunk that hardly leans and one
that leans with the arm; a rigid arm; an arm that lies elsewhere in the sensor than the strap says; a thumb on the
other side than was stated. Elbows that go from 8 to 25° or back, forearms that turn by 5–30°, a strap 5° askew and 20°
round the wrist, grown people's reach are working limits, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Normal equations of one part of a set, in 15 + `SHOULDER_COLUMNS` columns: lever arm, zero-g offset, the lever
    arm's part with s, s² and s³, the shoulder's path.

    Parameters
    ----------
    squares : ndarray, shape (k, k)
    wanted : ndarray, shape (k,)
    square : float
        Sum of the squares to be explained.
    count : int
    worth : float
        Independent values of one rep, by value.
    unmodelled : float
        Share of the acceleration that no body here explains.
    """

    squares: FloatArray
    wanted: FloatArray
    square: float
    count: int
    worth: float
    unmodelled: float

    @property
    def beyond(self) -> float:
        """Mean square that no body here explains, m²/s⁴."""
        return self.unmodelled**2 * self.square / self.count

    @staticmethod
    def of(rows: FloatArray, worth: float, unmodelled: float) -> Evidence:
        """Of rows, shape (m, 3, k + 1), the target last."""
        equations = rows.reshape(-1, rows.shape[2])
        sums = products(equations)
        return Evidence(
            squares=sums[:-1, :-1],
            wanted=sums[:-1, -1],
            square=float(sums[-1, -1]),
            count=len(equations),
            worth=worth,
            unmodelled=unmodelled,
        )

    def left(self, found: FloatArray) -> FloatArray:
        """Mean square of what `found`, shape (kinds, k), leaves, m²/s⁴, shape (kinds,)."""
        explained = 2 * found @ self.wanted - np.einsum("ik,ik->i", found @ self.squares, found)
        return np.asarray(np.maximum((self.square - explained) / self.count, 1e-6))

    def left_share(self, found: FloatArray) -> float:
        """Share of the mean square that `found`, shape (k,), leaves."""
        return float(self.left(found[None])[0]) * self.count / max(self.square, 1e-12)


def judge_elbow(
    parts: list[Evidence], forearms: Sequence[Forearm], hinge: FloatArray | None = None
) -> ElbowBend:
    """Weigh whether the elbow bends.

    Parameters
    ----------
    parts : list of Evidence
        Lowerings and raises, each as loud as it shows itself to be.
    forearms : sequence of Forearm
        Ways the sensor may sit on it, as likely as each other.
    hinge : ndarray, shape (3,), or None
        Axis of the raise in sensor axes, without what turns about the hanging arm.
    """
    counts = [len(KINDS) if one.is_stated else OTHERWISE for one in forearms]
    kind = np.concatenate([np.arange(count) for count in counts])
    axes = np.repeat(np.stack([_axes(one) for one in forearms]), counts, axis=0)
    priors = [KINDS[k].of(one) for one, count in zip(forearms, counts, strict=True) for k in range(count)]
    mean, spread = (np.stack(each) for each in zip(*priors, strict=True))
    found, covariance, against = _fitted(parts, axes, mean, spread, hinge)
    weights = _weights(against)
    shares = np.zeros(len(kind))
    shares[kind != OTHERWISE] = _weights(against[kind != OTHERWISE])
    which = np.isin(kind, WITH_BENT_ELBOW)
    bent, shares, frames = found[which], shares[which], axes[which]
    lines = _chain(bent[:, None] + _STEP * np.eye(7, bent.shape[1], -1), frames[:, None], PLACES)
    lines /= np.linalg.norm(lines, axis=-1)[..., None]
    of_bent = np.maximum(shares, 1e-9)
    return ElbowBend(
        likely=float(shares[np.isin(kind[which], CHANGING)].sum()),
        otherwise=float(weights[kind == OTHERWISE].sum()),
        weights=shares,
        lines=lines[:, 0],
        by_unknown=np.moveaxis(lines[:, 1:] - lines[:, :1], 1, -1) / _STEP,
        covariances=covariance[which, ANGLES, ANGLES],
        columns=np.asarray(of_bent @ _linear(bent, frames) / of_bent.sum()),
    )


def _weights(against: FloatArray) -> FloatArray:
    """How likely each case is, from twice the logarithm of the evidence against it."""
    weights = np.exp(-0.5 * REPS_HEARD * (against - against.min()))
    return np.asarray(weights / weights.sum())


def _axes(forearm: Forearm) -> FloatArray:
    """Hand, thumb, across both, outward, shape (4, 3)."""
    thumb = forearm.thumb - (forearm.thumb @ forearm.hand) * forearm.hand
    thumb = thumb / np.linalg.norm(thumb)
    return np.stack([forearm.hand, thumb, np.cross(forearm.hand, thumb), forearm.outward])


def _chain(found: FloatArray, axes: FloatArray, place: FloatArray) -> FloatArray:
    """Shape (…, n, 3): from shoulder to wrist in reaches of a straight arm, sensor axes; unknowns of shape (…, k)."""
    along, side = found[..., 0], found[..., 1]
    length = np.sqrt(1 + along**2 + side**2)
    # In the axes hand, thumb, across both: the forearm, the thumb across it, and what is across these.
    hand = np.stack([np.ones_like(along), along, side], axis=-1) / length[..., None]
    thumb = -hand * hand[..., 1:2]
    thumb[..., 1] += 1.0
    thumb /= np.sqrt(1 - hand[..., 1:2] ** 2)
    third = np.stack(
        [
            hand[..., 1] * thumb[..., 2] - hand[..., 2] * thumb[..., 1],
            hand[..., 2] * thumb[..., 0] - hand[..., 0] * thumb[..., 2],
            hand[..., 0] * thumb[..., 1] - hand[..., 1] * thumb[..., 0],
        ],
        axis=-1,
    )
    turned = found[..., THUMB, None] + found[..., TURN, None] * place
    bend = found[..., BEND, None] + found[..., BENDS, None] * place
    upper = 1 - FOREARM_SHARE
    across = upper * np.sin(bend)
    weights = np.stack(
        [upper * np.cos(bend) + FOREARM_SHARE, -across * np.cos(turned), -across * np.sin(turned)], -1
    )
    return np.asarray(weights @ np.stack([hand, thumb, third], axis=-2) @ axes[..., :3, :])


def _linear(found: FloatArray, axes: FloatArray) -> FloatArray:
    """What the unknowns, shape (…, k), are in the columns of the equations."""
    cubic = _TO_CUBIC @ (found[..., REACH, None, None] * _chain(found, axes, NODES))
    cubic[..., 0, :] += found[..., HEIGHT, None] * axes[..., 3, :]
    return np.concatenate(
        [
            cubic[..., 0, :],
            found[..., OWN : OWN + 3],
            cubic[..., 1:, :].reshape(*found.shape[:-1], 9),
            found[..., OWN + 3 :],
        ],
        axis=-1,
    )


def _by_unknown(found: FloatArray, axes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The columns' values and their change with the unknowns, shapes (kinds, columns) and (kinds, columns, k)."""
    moved = found[:, None] + _STEP * np.eye(OWN + 1, found.shape[1], -1)
    at = _linear(moved, axes[:, None])
    change = np.zeros((len(found), at.shape[2], found.shape[1]))
    change[:, :, :OWN] = np.moveaxis(at[:, 1:] - at[:, :1], 1, 2) / _STEP
    change[:, 3:6, OWN : OWN + 3] = np.eye(3)
    change[:, 15:, OWN + 3 :] = np.eye(at.shape[2] - 15)
    return at[:, 0], change


def _hinged(hinge: FloatArray | None, axes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What says that the arm line lies across the hinge where the raise begins, in standard deviations: a row of the
    equations, and what the height of the sensor, by case, has in it beside that."""
    row = np.zeros(15 + SHOULDER_COLUMNS)
    if hinge is None:
        return row, np.zeros(len(axes))
    for first, power in zip((0, 6, 9, 12), (-0.5) ** np.arange(4), strict=True):
        row[first : first + 3] = power * hinge
    spread_m = IN_PLANE_RAD * _REACH_M
    return row / spread_m, axes[:, 3] @ hinge / spread_m


def _fitted(
    parts: list[Evidence],
    axes: FloatArray,
    mean: FloatArray,
    spread: FloatArray,
    hinge: FloatArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """All kinds of body at once: unknowns, their covariance, twice the logarithm of the evidence against each.

    Gauss and Newton's steps, halved where they lead away.
    """
    row, height = _hinged(hinge, axes)
    floor = UNMODELLED_M_S2**2
    found, noises = mean.copy(), [np.full(len(mean), 1e-2 + floor) for _ in parts]

    def cost(at: FloatArray, columns: FloatArray) -> FloatArray:
        missed = (((at - mean) / spread) ** 2).sum(axis=1) + (columns @ row - height * at[:, HEIGHT]) ** 2
        for part, noise in zip(parts, noises, strict=True):
            missed += part.worth * part.count * part.left(columns) / noise
        return np.asarray(missed)

    diagonal = np.eye(mean.shape[1]) * (spread**-2)[:, None]
    information = along = change = diagonal
    for _ in range(ROUNDS):
        columns, change = _by_unknown(found, axes)
        information = diagonal.copy()
        right = -(found - mean) / spread**2
        along = row @ change
        along[:, HEIGHT] -= height
        information += along[:, :, None] * along[:, None]
        right += along * (height * found[:, HEIGHT] - columns @ row)[:, None]
        for part, noise in zip(parts, noises, strict=True):
            worth = part.worth / noise
            information += worth[:, None, None] * (np.swapaxes(change, 1, 2) @ (part.squares @ change))
            missed = part.wanted - columns @ part.squares
            right += worth[:, None] * (missed[:, None] @ change)[:, 0]
        step = np.linalg.solve(information, right[:, :, None])[:, :, 0]
        before = cost(found, columns)
        columns = _linear(found + step, axes)
        for _ in range(HALVED):
            away = cost(found + step, columns) > before
            if not away.any():
                break
            step[away] /= 2
            columns = _linear(found + step, axes)
        found = found + step
        noises = [part.left(columns) + floor for part in parts]
        if float(np.abs(step / spread).max()) < SETTLED:
            break
    against = (((found - mean) / spread) ** 2).sum(axis=1) + 2 * np.log(spread).sum(axis=1)
    against += np.linalg.slogdet(information)[1] + (columns @ row - height * found[:, HEIGHT]) ** 2
    known = diagonal + along[:, :, None] * along[:, None]
    for part, noise in zip(parts, noises, strict=True):
        # To tell kinds apart takes more than to fit each, and so does to be sure of a fit: a large acceleration leaves
        # more that is none's.
        whole = noise + part.beyond
        against += part.worth * part.count * (np.log(whole) + (noise - floor) / whole)
        known += (part.worth / whole)[:, None, None] * (np.swapaxes(change, 1, 2) @ (part.squares @ change))
    return found, np.asarray(np.linalg.inv(known)), np.asarray(against)
