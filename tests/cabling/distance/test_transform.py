"""The transform against plain sums, published windows, scikit-rf, and lines whose value at zero is known."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from scipy.signal import get_window

from benchsweep.cabling.distance import WINDOWS, resolution_s, time_response
from benchsweep.errors import UsageError
from tests.cabling.distance.lines import loaded, two_port

F = 5e6 * np.arange(1, 101)


@pytest.mark.parametrize("window", WINDOWS)
def test_against_the_plain_sum_over_all_frequencies(window):
    rng = np.random.default_rng(1)
    s = rng.normal(size=(3, F.size)) + 1j * rng.normal(size=(3, F.size))
    found = time_response(F, s, window=window)
    weight = WINDOWS[window](np.arange(F.size + 1) / (F.size + 1))
    total = weight[0] + 2 * weight[1:].sum()
    turned = np.exp(2j * np.pi * F * found.time_s[:, None])
    for row in range(3):
        alone = 2 * (turned @ (weight[1:] * s[row]))
        at_zero = found.zero_frequency[row] * weight[0]
        assert found.impulse[row] == pytest.approx((alone.real + at_zero) / total, abs=1e-12)
        assert found.envelope[row] == pytest.approx(np.abs(alone + at_zero) / total, abs=1e-12)


@pytest.mark.parametrize(
    ("window", "theirs"), [("hann", "hann"), ("rectangular", "boxcar"), ("blackman", "blackman")]
)
def test_the_resolution_is_the_width_of_the_transform_of_scipy_s_window(window, theirs):
    """Bandwidth at half the height in bins of a window from -f_max to f_max; a bin is 1/(2 f_max).

    Hann 2.00 and rectangular 1.21 also stand in F. J. Harris, Proc. IEEE 66, 1978, table 1 (from memory).
    """
    n, finer = 512, 256
    spectrum = np.abs(np.fft.fft(get_window(theirs, n), n * finer))
    bins = 2.0 * int(np.argmax(spectrum < 0.5 * spectrum[0])) / finer
    assert 2.0 * resolution_s(500e6, window) * 500e6 == pytest.approx(bins, abs=0.01)


@pytest.mark.parametrize("window", WINDOWS)
def test_a_flat_reflection_shows_with_its_value_at_its_time_as_wide_as_the_resolution(window):
    delay_s, value = 50e-9, -0.3
    found = time_response(F, value * np.exp(-2j * np.pi * F * delay_s), window=window)
    at = int(np.argmax(np.abs(found.impulse)))
    assert found.time_s[at] == pytest.approx(delay_s, abs=0.51 * np.diff(found.time_s)[0])
    assert found.impulse[at] == pytest.approx(value, rel=0.03)  # half a point beside the peak
    half = found.time_s[np.abs(found.impulse) > 0.5 * abs(value)]
    step = half[1] - half[0]
    assert half[-1] - half[0] + step == pytest.approx(found.resolution_s, abs=step)
    # The step response goes from nothing to the value.
    before, after = delay_s - 3 * found.resolution_s, delay_s + 3 * found.resolution_s
    assert np.interp([before, after], found.time_s, found.step) == pytest.approx([0.0, value], abs=0.02)


@pytest.mark.parametrize(
    ("load", "wanted"),
    [(0.0, 1.05 / 201.05), (1.0, 1.0), (-1.0, (1.05 - 100) / (1.05 + 100))],
    ids=["terminated", "open", "short"],
)
def test_the_value_at_zero_frequency_is_that_of_the_resistance_of_the_wires(load, wanted):
    """7.5 m of 2 x 0.07 ohm/m into 100 ohm, open, short: (R - 100)/(R + 100)."""
    f = 1e6 * np.arange(1, 301)
    s = loaded(two_port(f, [(7.5, 100.0)]), load)
    found = time_response(f, s)
    assert found.zero_frequency == pytest.approx(wanted, abs=0.02)
    assert abs(found.zero_frequency - wanted) <= 6.0 * found.zero_frequency_error + 0.005
    # Closer than carrying the real part down to zero, flat there.
    carried = (4.0 * s[0].real - s[1].real) / 3.0
    assert abs(found.zero_frequency - wanted) < abs(carried - wanted)


def test_step_response_as_scikit_rf_makes_it_when_told_the_value_at_zero():
    f = 1e6 * np.arange(1, 401)
    s = two_port(f, [(5.0, 100.0), (5.0, 110.0), (5.0, 100.0)], loss=0.0)[:, 0, 0]
    whole = skrf.Network(
        f=np.concatenate([[0.0], f]), f_unit="hz", s=np.concatenate([[0.0], s])[:, None, None], z0=100.0
    )
    time_s, step = whole.step_response(window="hann", pad=2000)
    found = time_response(f, s)
    assert found.zero_frequency == pytest.approx(0.0, abs=1e-4)
    at = 2 * 5e-9 * np.array([2.5, 7.5, 12.5])
    theirs = np.interp(at, time_s, step)
    ours = np.interp(at, found.time_s, found.step)
    assert ours == pytest.approx(theirs, abs=1e-3)
    assert ours[1] == pytest.approx(10 / 210, abs=1e-4)


def test_interpolated_and_harmonic_sweeps_agree():
    sections = [(4.0, 100.0), (4.0, 108.0)]
    even = 1e6 * np.arange(1, 201)
    shifted = even - 0.4e6
    one = time_response(even, two_port(even, sections)[:, 0, 0])
    two = time_response(shifted, two_port(shifted, sections)[:, 0, 0])
    at = np.linspace(0.0, 100e-9, 60)
    assert np.interp(at, two.time_s, two.impulse) == pytest.approx(
        np.interp(at, one.time_s, one.impulse), abs=5e-4
    )


def test_what_cannot_be_transformed_is_refused():
    with pytest.raises(UsageError, match="no window 'hanning'"):
        time_response(F, np.ones(F.size, complex), window="hanning")
    with pytest.raises(UsageError, match="not evenly spaced"):
        time_response(np.geomspace(1e6, 1e8, 50), np.ones(50, complex))
