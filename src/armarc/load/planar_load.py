"""An arm and its resistances in one plane with a fixed shoulder: moment as a function of angle, rate and
acceleration, tabulated over the angle so that a forward simulation is quick.

With ``l`` the length of a cable, ``l' = dl/dθ``: ``dl/dt = l' ω`` and ``d²l/dt² = l' α + l'' ω²``, and by
virtual work a tension ``T`` opposes the raise with the moment ``T l'``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

import numpy as np

from armarc.load.arm import ArmBody
from armarc.load.ideal import PLANAR_AXIS, planar_body, planar_motion
from armarc.load.mechanics import hand_state, loaded_arm
from armarc.load.resistance import Cable, Dumbbell, ElasticBand, Machine, Resistance, line_to
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

GRID_RAD = np.radians(np.arange(-40.0, 200.01, 0.1))


@dataclass(frozen=True, slots=True, kw_only=True)
class CableTable:
    """One cable by angle: ``l'`` and ``l''`` in m, the still tension in N, the mass along it in kg."""

    first_m: FloatArray
    second_m: FloatArray
    weight_n: float
    inertia_kg: float
    friction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanarLoad:
    """What the shoulder works against, on `GRID_RAD`.

    ``still_n_m`` (gravity on the free weights, bands, machines) and ``inertia_kg_m2`` belong to the load at
    a scale of one; ``arm_still_n_m`` and ``arm_inertia_kg_m2`` to the bare arm.
    """

    arm_still_n_m: FloatArray
    arm_inertia_kg_m2: float
    still_n_m: FloatArray
    inertia_kg_m2: float
    cables: tuple[CableTable, ...]

    def acceleration(
        self, moment_n_m: FloatArray, angle_rad: FloatArray, rate_rad_s: FloatArray, scale: FloatArray
    ) -> FloatArray:
        """Angular acceleration under a shoulder moment; a cable that would have to push goes slack.

        Parameters
        ----------
        moment_n_m, angle_rad, rate_rad_s : ndarray, shape (k,)
        scale : ndarray, shape (k,)
            How many times the described load.

        Returns
        -------
        ndarray, shape (k,), rad/s²
        """
        index = np.clip((angle_rad - GRID_RAD[0]) / (GRID_RAD[1] - GRID_RAD[0]), 0, len(GRID_RAD) - 1.001)
        whole = index.astype(np.intp)
        part = index - whole

        def at(table: FloatArray) -> FloatArray:
            low: FloatArray = table[whole]
            return np.asarray(low + part * (table[whole + 1] - low))

        drive = moment_n_m - at(self.arm_still_n_m) - scale * at(self.still_n_m)
        inertia = self.arm_inertia_kg_m2 + scale * self.inertia_kg_m2
        if not self.cables:
            return np.asarray(drive / inertia)
        square = rate_rad_s * rate_rad_s
        rows = []
        for cable in self.cables:
            first, second = at(cable.first_m), at(cable.second_m)
            # Friction is full in the direction of travel: a raise does not dwell at zero speed.
            rub = scale * (1 + cable.friction * np.sign(first * np.where(rate_rad_s < 0, -1.0, 1.0)))
            rows.append((first, second, rub))
        taut = [np.ones(len(angle_rad), bool) for _ in rows]
        alpha = drive / inertia
        for _ in range(2):
            top, bottom = drive.copy(), np.broadcast_to(inertia, drive.shape).copy()
            for cable, (first, second, rub), on in zip(self.cables, rows, taut, strict=True):
                top -= on * rub * (cable.weight_n + cable.inertia_kg * second * square) * first
                bottom += on * rub * cable.inertia_kg * first * first
            alpha = top / bottom
            taut = [
                cable.weight_n + cable.inertia_kg * (first * alpha + second * square) >= 0
                for cable, (first, second, _) in zip(self.cables, rows, strict=True)
            ]
            if all(np.all(on) for on in taut):
                break
        return np.asarray(alpha)

    def still_moment(self, angle_rad: FloatArray, scale: FloatArray | float = 1.0) -> FloatArray:
        """Shoulder moment that holds the arm still at an angle, N m (friction left out)."""
        moment = np.interp(angle_rad, GRID_RAD, self.arm_still_n_m)
        load = np.interp(angle_rad, GRID_RAD, self.still_n_m)
        for cable in self.cables:
            load = load + cable.weight_n * np.interp(angle_rad, GRID_RAD, cable.first_m)
        return np.asarray(moment + scale * load)

    def moving_moment(
        self,
        angle_rad: FloatArray,
        rate_rad_s: FloatArray,
        acceleration_rad_s2: FloatArray,
        scale: FloatArray | float = 1.0,
    ) -> FloatArray:
        """Shoulder moment for a given movement, N m: the inverse of `acceleration` with taut cables."""
        load = np.interp(angle_rad, GRID_RAD, self.still_n_m) + self.inertia_kg_m2 * acceleration_rad_s2
        for cable in self.cables:
            first = np.interp(angle_rad, GRID_RAD, cable.first_m)
            second = np.interp(angle_rad, GRID_RAD, cable.second_m)
            tension = cable.weight_n + cable.inertia_kg * (
                first * acceleration_rad_s2 + second * rate_rad_s**2
            )
            rub = 1 + cable.friction * np.sign(first * rate_rad_s)
            load = load + np.maximum(tension, 0.0) * rub * first
        arm = (
            np.interp(angle_rad, GRID_RAD, self.arm_still_n_m) + self.arm_inertia_kg_m2 * acceleration_rad_s2
        )
        return np.asarray(arm + scale * load)


def planar_load(arm: ArmBody, resistances: tuple[Resistance, ...], plane_rad: float = 0.0) -> PlanarLoad:
    """Tabulate an arm and its resistances for a raise in one plane.

    Parameters
    ----------
    arm : ArmBody
        Without the load.
    resistances : tuple of Resistance
    plane_rad : float, rad
        Plane of elevation; places pulleys and anchors about a right arm.
    """
    n = len(GRID_RAD)
    one, zero = np.ones(n), np.zeros(n)
    body = planar_body(plane_rad)
    motion = planar_motion(GRID_RAD, GRID_RAD, one, zero)
    hand = hand_state(motion, arm, PLANAR_AXIS, body)
    free = loaded_arm(arm, tuple(r for r in resistances if isinstance(r, Dumbbell)))
    still = _gravity_moment(motion.rotation, free) - _gravity_moment(motion.rotation, arm)
    inertia = float(free.inertia_kg_m2[1, 1] - arm.inertia_kg_m2[1, 1])
    cables = []
    for r in resistances:
        if isinstance(r, Cable):
            _, _, first, second = line_to(hand, r.pulley_m)
            cables.append(
                CableTable(
                    first_m=first,
                    second_m=second,
                    weight_n=r.weight_n,
                    inertia_kg=r.inertia_kg,
                    friction=r.friction,
                )
            )
        elif isinstance(r, ElasticBand):
            still = still - np.cross(motion.rotation @ arm.grip_m, r.pull(hand)) @ PLANAR_AXIS
        elif isinstance(r, Machine):
            still = still - r.moment(hand) @ PLANAR_AXIS
            inertia += r.inertia_kg_m2
        elif not isinstance(r, Dumbbell):
            assert_never(r)  # what is not told here would be planned as if it were not there
    return PlanarLoad(
        arm_still_n_m=_gravity_moment(motion.rotation, arm),
        arm_inertia_kg_m2=float(arm.inertia_kg_m2[1, 1]),
        still_n_m=still,
        inertia_kg_m2=inertia,
        cables=tuple(cables),
    )


def _gravity_moment(rotation: FloatArray, body: ArmBody) -> FloatArray:
    lever = rotation @ body.first_moment_kg_m
    down = np.array([0.0, 0.0, -STANDARD_GRAVITY_M_S2])
    return np.asarray(-np.cross(lever, down) @ PLANAR_AXIS)
