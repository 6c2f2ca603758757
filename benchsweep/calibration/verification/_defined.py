from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._kit import Kit
from benchsweep.calibration._standards import ideal_reflections, ideal_thru

__all__ = ["defined_load", "defined_thru"]


def defined_load(kit: Kit, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128] | None:
    """Return what the load of `kit` reflects at 50 ohm, ``(n_freq,)``; None when the kit has none.

    Raises
    ------
    CalibrationMismatch
        Its data do not have these frequencies.
    """
    return ideal_reflections(kit, frequency_hz, ("load",))["load"] if "load" in kit.standards else None


def defined_thru(kit: Kit, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128] | None:
    """Return the through connection of `kit` at 50 ohm, ``(n_freq, 2, 2)``; None when the kit has none.

    Raises
    ------
    CalibrationMismatch
        Its data do not have these frequencies.
    """
    return ideal_thru(kit, frequency_hz) if "thru" in kit.standards else None
