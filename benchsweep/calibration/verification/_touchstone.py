from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import DataFileError

__all__ = ["measured_scattering"]

_SAME_HZ = 1e-9


def measured_scattering(
    path: Path, frequency_hz: NDArray[np.float64], *, ports: int
) -> NDArray[np.complex128]:
    """Return ``(n_freq, ports, ports)`` at 50 ohm from a Touchstone file that holds every wanted frequency.

    Nothing is interpolated: an artefact is to be measured on the grid on which it is used, or a finer one
    that contains it.

    Raises
    ------
    DataFileError
        No such file, another number of ports, or frequencies that it lacks.
    """
    import skrf

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            network = skrf.Network(str(path))
            network.renormalize(50.0)
    except Exception as error:  # scikit-rf raises whatever comes up in a text that is no Touchstone
        raise DataFileError(
            f"{path}: cannot be read as a Touchstone file: {error}", hint="Check the file of the artefact."
        ) from error
    if network.nports != ports:
        raise DataFileError(
            f"{path}: has {network.nports} ports, the artefact has {ports} legs",
            hint="Give one port for each leg, in the order of the legs.",
        )
    have = np.asarray(network.f, dtype=np.float64)
    at = np.clip(np.searchsorted(have, frequency_hz * (1.0 - _SAME_HZ)), 0, have.size - 1)
    missing = np.abs(have[at] - frequency_hz) > _SAME_HZ * frequency_hz
    if missing.any():
        raise DataFileError(
            f"{path}: lacks {int(missing.sum())} of {frequency_hz.size} frequencies, the first is "
            f"{frequency_hz[missing][0] / 1e6:.9g} MHz",
            hint="Measure the artefact on a grid that holds the station's; nothing is interpolated.",
        )
    return np.asarray(network.s[at], dtype=np.complex128)
