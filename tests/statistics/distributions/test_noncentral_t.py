"""Against scipy.stats, an implementation of its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import nct

from benchsweep.statistics.distributions import noncentral_t_above


@pytest.mark.parametrize("freedom", [1, 2, 3, 9, 50, 400, 3000])
@pytest.mark.parametrize("shift", [-6.0, 0.0, 0.5, 4.0, 30.0])
def test_equal_to_another_program(freedom: int, shift: float) -> None:
    t = shift + np.linspace(-4.0, 6.0, 23)
    assert noncentral_t_above(t, shift, freedom) == pytest.approx(nct.sf(t, freedom, shift), abs=2e-9)


def test_far_from_the_limit_it_is_a_number() -> None:
    found = noncentral_t_above(np.array([0.0, 500.0, 1e4]), 400.0, 4999)
    assert np.isfinite(found).all()
    assert found == pytest.approx([1.0, 0.0, 0.0], abs=1e-12)
