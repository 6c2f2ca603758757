"""Residual terms from lines: figures of an independent prototype, and |dZ|/(2 Z) in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.calibration.verification import fit_residuals, ripple_hz
from benchsweep.errors import CalibrationError

F = np.linspace(1e6, 500e6, 500)
DELAY_S = 1.0 / (0.95 * 299_792_458.0)  # one metre


def line(z: float, end: float) -> np.ndarray:
    """Reflection at 1 ohm of a lossless line of impedance `z` with a resistor `end`."""
    t = np.tan(2.0 * np.pi * F * DELAY_S)
    zin = z * (end + 1j * z * t) / (z + 1j * end * t)
    return (zin - 1.0) / (zin + 1.0)


def seen(gamma: np.ndarray, d: np.ndarray, m: np.ndarray, r: np.ndarray) -> np.ndarray:
    return d + (1.0 + r) * gamma / (1.0 - m * gamma)


def terms() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Residual terms of -40, -35 and -50 dB that turn slowly, as those of a test cable do."""
    turn = np.exp(-2j * np.pi * F * 0.05e-9)
    return 0.01 * turn, 10 ** (-35 / 20) * np.conj(turn), 10 ** (-50 / 20) * turn


def db(values: np.ndarray) -> float:
    return float(20.0 * np.log10(np.max(np.abs(values))))


def fitted(z: float):
    d, m, r = terms()
    expected = [line(1.0, 1.0), line(1.0, 0.0)]
    measured = [seen(line(z, end), d, m, r) for end in (1.0, 0.0)]
    found = fit_residuals(F, expected, measured, window_hz=ripple_hz(DELAY_S))
    return found, (d, m, r)


def test_constant_terms_come_back_exactly() -> None:
    d, m, r = (np.full(F.size, value) for value in (0.01 + 0.002j, 0.017j, -0.003 + 0.001j))
    ends = [line(1.0, 1.0), line(1.0, 0.0)]
    found = fit_residuals(F, ends, [seen(g, d, m, r) for g in ends], window_hz=ripple_hz(DELAY_S))
    np.testing.assert_allclose(found.directivity, d, atol=1e-12)
    np.testing.assert_allclose(found.source_match, m, atol=1e-12)
    np.testing.assert_allclose(found.tracking, r, atol=1e-12)


def test_terms_that_turn_slowly_are_followed_on_an_exact_line() -> None:
    found, (d, m, _) = fitted(1.0)
    middle = slice(100, 400)  # at the ends of the sweep the window cannot be centred
    assert db((found.directivity - d)[middle]) < -65.0
    assert db((found.source_match - m)[middle]) < -60.0


@pytest.mark.parametrize(("z", "floor_db"), [(1.005, -52.0), (1.01, -46.0)])
def test_the_impedance_of_the_line_sets_the_floor(z: float, floor_db: float) -> None:
    """100.5 ohm for 100 ohm: -52 dB, 101 ohm: -46 dB, which is |dZ|/(2 Z)."""
    found, (d, _, _) = fitted(z)
    error = found.directivity - d
    assert 20.0 * np.log10(np.median(np.abs(error))) == pytest.approx(floor_db, abs=0.5)
    assert 20.0 * np.log10((z - 1.0) / 2.0) == pytest.approx(floor_db, abs=0.1)


def test_a_sweep_that_cannot_tell_says_so() -> None:
    ends = [line(1.0, 1.0), line(1.0, 0.0)]
    with pytest.raises(CalibrationError, match="sweep over"):
        fit_residuals(F, ends, ends, window_hz=600e6)
    with pytest.raises(CalibrationError, match="points in a window"):
        fit_residuals(F[::100], [g[::100] for g in ends], [g[::100] for g in ends], window_hz=100e6)
    with pytest.raises(CalibrationError, match="too much alike"):
        fit_residuals(F, ends[:1] * 2, ends[:1] * 2, window_hz=ripple_hz(DELAY_S))
