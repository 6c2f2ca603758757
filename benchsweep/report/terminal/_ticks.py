"""Where numbers stand at the axes of a plot."""

from __future__ import annotations

import math

__all__ = ["frequency_ticks", "value_ticks"]

_STEPS = (1.0, 2.0, 5.0)


def value_ticks(low: float, high: float, rows: int) -> list[tuple[float, str]]:
    """Return values and how they are written, round ones, not more than every second of `rows` lines.

    The step is 1, 2 or 5 times a power of ten.
    """
    least = (high - low) * 1.7 / rows
    power = 10.0 ** math.floor(math.log10(least))
    step = next(factor * power for factor in (*_STEPS, 10.0) if factor * power >= least * (1.0 - 1e-9))
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step), math.floor(high / step)
    # a zero has no sign
    return [(at * step, f"{at * step + 0.0:.{decimals}f}") for at in range(first, last + 1)]


def frequency_ticks(low_hz: float, high_hz: float) -> list[tuple[float, str]]:
    """Return frequencies and how they are written in MHz: both ends, then powers of ten, then 2 and 5 times.

    The first matter most: who has no room leaves out later ones.
    """
    found = {low_hz: _mhz(low_hz), high_hz: _mhz(high_hz)}
    powers = range(math.floor(math.log10(low_hz / 1e6)), math.ceil(math.log10(high_hz / 1e6)) + 1)
    for factor in _STEPS:
        for power in powers:
            hertz = factor * 10.0**power * 1e6
            if low_hz < hertz < high_hz:
                found.setdefault(hertz, _mhz(hertz))
    return list(found.items())


def _mhz(hertz: float) -> str:
    return f"{hertz / 1e6:.4g}"
