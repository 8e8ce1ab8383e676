"""Products of a long table with itself, made piece by piece."""

import numpy as np
import pytest

from armarc.motion.lapack import products


@pytest.mark.parametrize("rows", [1, 99, 100, 101, 1234])
def test_piece_by_piece_is_the_same(rows):
    table = np.random.default_rng(rows).normal(size=(rows, 7))
    assert products(table) == pytest.approx(np.einsum("ni,nj->ij", table, table), rel=1e-12, abs=1e-12)
