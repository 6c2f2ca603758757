"""Least squares without negative parts, against scipy's own solver of that problem (Lawson and Hanson)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import nnls

from benchsweep.cabling.distance._loss import least_squares


@pytest.mark.parametrize("bound", ["none", "some", "all"])
def test_it_is_that_of_scipy(bound: str) -> None:
    rng = np.random.default_rng(11)
    met = set()
    for _ in range(60):
        root = np.sqrt(np.linspace(1.0, rng.uniform(20.0, 500.0), 60))
        columns = np.stack([np.ones_like(root), root, 1.0 / root, root**2], axis=1)
        true = {
            "none": rng.uniform(0.1, 1.0, 4),
            "some": rng.normal(size=4),
            "all": -rng.uniform(0.1, 1.0, 4),
        }
        wanted = columns @ true[bound] + 1e-3 * rng.normal(size=60)
        found, (theirs, _) = least_squares(columns, wanted), nnls(columns, wanted)
        assert np.all(found >= 0.0)
        assert found == pytest.approx(theirs, rel=1e-8, abs=1e-9)
        met.add(int(np.count_nonzero(found)))
    assert met >= {"none": {4}, "some": {1, 2, 3}, "all": {0}}[bound]
