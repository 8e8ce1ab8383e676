"""How sure a change over sessions is when neighbouring sessions resemble each other."""

from __future__ import annotations

import numpy as np
from scipy import special

from armarc.recording import FloatArray

CORRELATIONS = np.linspace(0.0, 0.8, 9)
"""What a session and the next one may have in common. How much it is cannot be told from a few sessions, so all of
these are thought possible, the smaller the likelier: weight 1 − ρ. Weight and shape were chosen after looking at
simulated sessions (ρ 0 and 0.5), so that a false "real" stays below 10 % in both; no person's data was looked at."""

_HALVINGS = 60


def half_interval(values: FloatArray, ends: int) -> float:
    """Half of the 95 % interval of the mean of the last `ends` sessions minus that of the first ones.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per session, in order; n ≥ 3, not all equal.
    ends : int
        At most n/2.

    Returns
    -------
    float
        Zero where a line or a step explains the sessions to the last digit.

    Notes
    -----
    Two courses are thought possible, a straight line and a step half way, each with noise of first-order
    autocorrelation ρ. Given both, the change is Student's t with n − 2 degrees of freedom about what was seen, with
    the variance of the two means under ρ; courses and ρ are weighted by 1 − ρ and by their restricted likelihood
    |V|^−½ |XᵀV⁻¹X|^−½ RSS^−(n−2)/2 (Harville 1974, Biometrika 61:383, from memory), which knows that a fitted course
    takes variance and correlation out of its residuals. The interval is that of the mixture.
    """
    n, df = len(values), len(values) - 2
    place = np.arange(n, dtype=float)
    contrast = np.zeros(n)
    contrast[:ends] -= 1 / ends
    contrast[-ends:] += 1 / ends
    courses = (place - place.mean(), np.where(place < n / 2, -1.0, 1.0))
    log_weight, scale = [], []
    for course in courses:
        centred = course - course.mean()
        design = np.column_stack([np.ones(n), centred / centred.std()])
        for rho in CORRELATIONS:
            alike = rho ** np.abs(place[:, None] - place[None, :])
            inverse = np.linalg.inv(alike)
            normal = design.T @ inverse @ design
            rest = values - design @ np.linalg.solve(normal, design.T @ inverse @ values)
            unexplained = float(rest @ inverse @ rest)
            if unexplained <= 1e-18 * float(values @ values):
                return 0.0
            size = np.linalg.slogdet(alike)[1] + np.linalg.slogdet(normal)[1]
            log_weight.append(np.log1p(-rho) - 0.5 * size - 0.5 * df * np.log(unexplained))
            scale.append(np.sqrt(unexplained / df * (contrast @ alike @ contrast)))
    weight = np.exp(np.array(log_weight) - max(log_weight))
    return _mixture_quantile(weight / weight.sum(), np.array(scale), df)


def _mixture_quantile(weight: FloatArray, scale: FloatArray, df: float) -> float:
    """97.5 % point of a mixture of t distributions about zero, by halving."""
    low, high = 0.0, float(scale.max() * special.stdtrit(df, 0.975))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if float(weight @ special.stdtr(df, middle / scale)) < 0.975:
            low = middle
        else:
            high = middle
    return high
