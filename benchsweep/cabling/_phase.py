"""Follow the phase of a path through a specimen over frequency without losing a turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Path", "follow_phase"]

# Propagation along a cable is never faster than light in vacuum (3.34 ns/m) and no balanced cable reaches
# 7 ns/m (TIA-568-C.2 allows 5.7 ns/m at 1 MHz); the nanoseconds leave room for connectors and fixture.
_FASTEST_S_PER_M, _SLOWEST_S_PER_M = 3.3e-9, 7.0e-9
_ROOM_S = 2e-9
_TYPICAL_S_PER_M = 5.1e-9
# Without a length the delay must lie below this part of 1/step; beyond it, it may belong to another turn.
_SAFE_TURN = 0.45
_BELOW_ZERO = 0.01
# More loss than a cable of that delay has (twice the 1.8 sqrt f per 100 m of a common one, and connectors):
# the signal did not come through this pair, or the true delay is some turns of 1/step more.
_MOST_LOSS_DB, _MOST_LOSS_DB_PER_M_ROOT_MHZ = 4.0, 0.035
# Less loss than a cable of that delay has (two thirds of the common one): the delay is that of a shorter one.
_LEAST_LOSS_DB_PER_M_ROOT_MHZ = 0.012
_LARGEST_JUMP_RAD = 0.8 * math.pi
_INTERCEPT_TOLERANCE_RAD = 1.2
_INTERCEPT_POINTS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Phase delay of a path, and whether it turns the polarity round.

    Parameters
    ----------
    delay_s
        ``(n_freq,)`` phase delay in seconds, freed from the half turn of a reversed pair.
    reversed
        True when the phase runs to an odd multiple of pi at zero frequency.
    """

    delay_s: NDArray[np.float64]
    reversed: bool


def follow_phase(
    frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], length_m: float | None
) -> Path | str:
    """Return the path, or in words why its delay cannot be told.

    The delay is known from the finest frequency step only up to multiples of 1/step. With a length the one
    multiple that a cable of that length can have is taken, unless the loss is too small for it: then the
    length is wrong and counts for nothing. Without a length the delay must lie clearly below half of 1/step.
    That delay is removed, the rest unwrapped, and the phase carried to zero frequency, where it
    must be a multiple of pi (odd: the pair is reversed).
    """
    if frequency_hz.size < _INTERCEPT_POINTS:
        return f"fewer than {_INTERCEPT_POINTS} frequencies"
    if not np.all(s):
        return "no signal at some frequency"
    rough_s = _rough_delay(frequency_hz, s, length_m)
    if isinstance(rough_s, str):
        return rough_s
    if _too_lossy(frequency_hz, s, rough_s):
        return "the signal through the pair is weaker than any cable of that delay would leave it"
    omega = 2.0 * math.pi * frequency_hz
    angle = np.angle(s * np.exp(1j * omega * rough_s))
    jumps = np.diff(angle)
    jumps -= 2.0 * math.pi * np.rint(jumps / (2.0 * math.pi))
    if np.max(np.abs(jumps)) > _LARGEST_JUMP_RAD:
        return "the phase jumps by more than can be followed from one frequency to the next"
    phase = np.cumsum(np.concatenate((angle[:1], jumps)))
    half_turns = _half_turns_at_zero(frequency_hz, phase)
    if half_turns is None:
        return "the phase does not run to a multiple of pi at zero frequency; begin the sweep lower"
    return Path(rough_s - (phase - half_turns * math.pi) / omega, bool(half_turns % 2))


def _rough_delay(
    frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], length_m: float | None
) -> float | str:
    steps = np.diff(frequency_hz)
    finest = float(steps.min())
    fine = steps <= 1.001 * finest
    turn_s = 1.0 / finest
    rough_s = -float(np.angle(np.sum((s[1:] * np.conj(s[:-1]))[fine]))) / (2.0 * math.pi) * turn_s
    if length_m is not None:
        low_s = _FASTEST_S_PER_M * length_m - _ROOM_S
        high_s = _SLOWEST_S_PER_M * length_m + _ROOM_S
        fewest = math.ceil((low_s - rough_s) / turn_s)
        most = math.floor((high_s - rough_s) / turn_s)
        # A mistyped length must not make a long cable of a cord: that would have lost more on the way.
        contradicted = fewest > 0 and _too_little_loss(frequency_hz, s, rough_s + fewest * turn_s)
        if most == fewest and not contradicted:
            return rough_s + fewest * turn_s
        if most > fewest and not contradicted:
            return (
                f"frequency steps of {finest / 1e6:g} MHz are too coarse for {length_m:g} m; "
                f"at most {0.9 / (high_s - low_s) / 1e6:.2g} MHz"
            )
    if not -_BELOW_ZERO * turn_s <= rough_s <= _SAFE_TURN * turn_s:
        return (
            f"frequency steps of {finest / 1e6:g} MHz are too coarse to find the delay without the length"
            if length_m is None
            else f"frequency steps of {finest / 1e6:g} MHz give no delay that fits {length_m:g} m"
        )
    return rough_s


def _too_lossy(frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], delay_s: float) -> bool:
    length_m = max(delay_s, 0.0) / _TYPICAL_S_PER_M
    allowed_db = _MOST_LOSS_DB + _MOST_LOSS_DB_PER_M_ROOT_MHZ * length_m * np.sqrt(frequency_hz / 1e6)
    return _median(-20.0 * np.log10(np.abs(s)) - allowed_db) > 0.0


def _too_little_loss(frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], delay_s: float) -> bool:
    least_db = _LEAST_LOSS_DB_PER_M_ROOT_MHZ * delay_s / _TYPICAL_S_PER_M * np.sqrt(frequency_hz / 1e6)
    return _median(-20.0 * np.log10(np.abs(s)) - least_db) < 0.0


def _median(values: NDArray[np.float64]) -> float:
    """Return the median without what `np.median` adds to the work for shapes that do not occur here."""
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    lower, upper = np.partition(values, (middle - 1, middle))[middle - 1 : middle + 1]
    return float(lower + upper) / 2.0


def _half_turns_at_zero(frequency_hz: NDArray[np.float64], phase: NDArray[np.float64]) -> int | None:
    low = frequency_hz <= max(float(frequency_hz[_INTERCEPT_POINTS - 1]), 2.0 * float(frequency_hz[0]))
    f, p = frequency_hz[low], phase[low]
    centred = f - f.mean()
    slope = float(np.dot(centred, p) / np.dot(centred, centred))
    intercept = float(p.mean()) - slope * float(f.mean())
    half_turns = round(intercept / math.pi)
    off = abs(intercept - half_turns * math.pi)
    return None if off > _INTERCEPT_TOLERANCE_RAD else half_turns
