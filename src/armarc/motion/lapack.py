"""The few routines of LAPACK that measuring needs, without the half of SciPy that comes with ``scipy.linalg``.

Loading that package takes as long as measuring a minute. The routines are in one extension module of it, which needs
nothing of the rest; where it is not found, because SciPy is built otherwise, the package itself is loaded.
"""

from __future__ import annotations

from importlib.machinery import EXTENSION_SUFFIXES, ExtensionFileLoader, FileFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import Any

import numpy as np


def _routines() -> Any:
    package = find_spec("scipy")
    for folder in (package.submodule_search_locations or ()) if package else ():
        finder = FileFinder(str(Path(folder) / "linalg"), (ExtensionFileLoader, EXTENSION_SUFFIXES))
        found = finder.find_spec("_flapack")
        if found is None or found.loader is None:
            continue
        try:
            module = module_from_spec(found)
            found.loader.exec_module(module)
        except ImportError:
            break
        if all(hasattr(module, name) for name in _NEEDED):
            return module
    from scipy.linalg import lapack

    return lapack


_NEEDED = ("dtbtrs", "dpbsv", "dpbtrf", "dptsv")
_lapack = _routines()
dtbtrs = _lapack.dtbtrs
"""Solve a banded triangular system."""


def solve_positive_banded(band: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve a symmetric positive definite banded system.

    Parameters
    ----------
    band : ndarray, shape (u + 1, n)
        Diagonal and the bands below it, as ``scipy.linalg.solveh_banded`` takes them with ``lower=True``.
    right : ndarray, shape (n,) or (n, k)

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is not positive definite.
    """
    if len(band) == 2:
        *_, solved, info = _lapack.dptsv(band[0], band[1, :-1], right)
    else:
        _, solved, info = _lapack.dpbsv(band, right, lower=True)
    _check(info)
    return np.asarray(solved)


def factor_positive_banded(band: np.ndarray) -> np.ndarray:
    """Factor L, as bands of shape (u + 1, n), of the matrix ``LLᵀ`` that `solve_positive_banded` solves."""
    factor, info = _lapack.dpbtrf(band, lower=True)
    _check(info)
    return np.asarray(factor)


def half_solved(factor: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """``L⁻¹`` of each of k right sides, shape (k, n), in their place where they lie in one piece."""
    return np.asarray(dtbtrs(factor, rows.T, uplo="L", overwrite_b=True)[0].T)


def solved_from_half(factor: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """``L⁻ᵀ`` of each of k right sides, shape (k, n)."""
    return np.asarray(dtbtrs(factor, rows.T, uplo="L", trans="T")[0].T)


def _check(info: int) -> None:
    if info:
        raise np.linalg.LinAlgError("the matrix is not positive definite")
