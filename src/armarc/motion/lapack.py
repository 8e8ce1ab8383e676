"""The few routines of LAPACK that measuring needs, and one recursion, without the half of SciPy that comes with them.

Loading ``scipy.linalg`` or ``scipy.signal`` takes as long as measuring a minute. The routines are in one extension
module of each, which needs nothing of the rest; where it is not found, because SciPy is built otherwise, the package
itself is loaded.
"""

from __future__ import annotations

from importlib.machinery import EXTENSION_SUFFIXES, ExtensionFileLoader, FileFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import Any

import numpy as np


def _alone(part: str, extension: str, *needed: str) -> Any:
    """An extension module of a part of SciPy; None where it is not found or lacks what is needed."""
    package = find_spec("scipy")
    for folder in (package.submodule_search_locations or ()) if package else ():
        finder = FileFinder(str(Path(folder) / part), (ExtensionFileLoader, EXTENSION_SUFFIXES))
        found = finder.find_spec(extension)
        if found is None or found.loader is None:
            continue
        try:
            module = module_from_spec(found)
            found.loader.exec_module(module)
        except ImportError:
            return None
        if all(hasattr(module, name) for name in needed):
            return module
    return None


_lapack = _alone("linalg", "_flapack", "dtbtrs", "dpbsv", "dpbtrf", "dptsv", "dgesv")
if _lapack is None:
    from scipy.linalg import lapack as _lapack
_filter: Any = getattr(_alone("signal", "_sigtools", "_linear_filter"), "_linear_filter", None)
if _filter is None:
    from scipy.signal import lfilter as _filter
_PIECE = 100


def filtered(zeros: np.ndarray, poles: np.ndarray, rows: np.ndarray, begun: np.ndarray) -> np.ndarray:
    """Rows of samples through a rational filter.

    Parameters
    ----------
    zeros, poles : ndarray, shape (3,)
        Coefficients of the numerator and of the denominator, the first of which is 1.
    rows : ndarray, shape (k, n)
    begun : ndarray, shape (k, 2)
        State before the first sample (direct form II transposed).

    Returns
    -------
    ndarray, shape (k, n)
    """
    return np.asarray(_filter(zeros, poles, rows, -1, begun)[0])


def solve_few(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve for a handful of unknowns, shapes (n, n) and (n, k); NumPy's own takes four times as long.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is singular.
    """
    *_, solved, info = _lapack.dgesv(matrix, right)
    if info:
        raise np.linalg.LinAlgError("the matrix is singular")
    return np.asarray(solved)


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
    return np.asarray(_lapack.dtbtrs(factor, rows.T, uplo="L", overwrite_b=True)[0].T)


def solved_from_half(factor: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """``L⁻ᵀ`` of each of k right sides, shape (k, n)."""
    return np.asarray(_lapack.dtbtrs(factor, rows.T, uplo="L", trans="T")[0].T)


def _check(info: int) -> None:
    if info:
        raise np.linalg.LinAlgError("the matrix is not positive definite")


def products(rows: np.ndarray) -> np.ndarray:
    """``rowsᵀ rows`` of a long table, shape (n, k), in pieces too small for the library to wake its threads.

    Those wait for each other, which takes ten times as long where the cores are busy.
    """
    whole = len(rows) // _PIECE * _PIECE
    pieces, rest = rows[:whole].reshape(-1, _PIECE, rows.shape[1]), rows[whole:]
    return np.asarray((pieces.transpose(0, 2, 1) @ pieces).sum(axis=0) + rest.T @ rest)
