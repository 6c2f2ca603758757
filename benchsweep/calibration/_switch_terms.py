"""Where the switch terms of a pair of ports come from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._readings import Pair, Readings
from benchsweep.errors import CalibrationError

__all__ = ["switch_terms_of"]

_FEWEST = 3
_LEAST_DIFFERENCE = 0.02
"""Smallest singular value that the switch terms rest on, over the largest; below, noise would be made fifty
times larger."""


def switch_terms_of(readings: Readings, pair: Pair, method: str) -> NDArray[np.complex128]:
    """Return ``(n_freq, 2)``: the switch terms at the lower and at the higher port of a pair.

    As measured (Marks, 50th ARFTG 1997), else from three or more reciprocal two-ports (Hatab, Gadringer and
    Bösch, "Indirect measurement of switch terms of a vector network analyzer with reciprocal devices", 2023,
    as cited in scikit-rf).

    Raises
    ------
    CalibrationError
        They were not measured and there are too few reciprocal two-ports, or these are too much alike.
    """
    if pair in readings.switch_terms:
        return readings.switch_terms[pair]
    standards = readings.two_ports[pair]
    where = f"ports {pair[0]}-{pair[1]}"
    if len(standards) < _FEWEST:
        raise CalibrationError(
            f"{method} needs the switch terms of {where}: they were not measured, and {len(standards)} "
            f"reciprocal two-port(s) do not tell them (at least {_FEWEST} do)",
            hint="Let the analyzer measure the receiver ratios of undriven ports, measure more reciprocal "
            "two-ports there, or choose short-open-load-thru, which needs none.",
        )
    _refuse_alike(readings.frequency_hz, standards, where)
    import skrf
    from skrf.calibration.calibration import compute_switch_terms

    frequency = skrf.Frequency.from_f(readings.frequency_hz, unit="hz")
    networks: list[Any] = [skrf.Network(frequency=frequency, s=s, z0=50.0) for s in standards.values()]
    forward, reverse = compute_switch_terms(networks)  # at the higher port, at the lower port
    return np.stack([reverse.s[:, 0, 0], forward.s[:, 0, 0]], axis=1)


def _refuse_alike(
    frequency_hz: NDArray[np.float64], standards: Mapping[str, NDArray[np.complex128]], where: str
) -> None:
    """Raise where the equations of the two-ports do not leave exactly one solution.

    Each two-port gives one row in four unknowns that share a factor: three rows must differ.
    """
    s = np.stack(list(standards.values()), axis=1)
    with np.errstate(all="ignore"):
        ratio = s[:, :, 0, 1] / s[:, :, 1, 0]
    rows = np.stack([-s[:, :, 0, 0] * ratio, -s[:, :, 1, 1], np.ones_like(ratio), ratio], axis=2)
    singular = np.linalg.svd(np.nan_to_num(rows), compute_uv=False)
    alike = singular[:, 2] < _LEAST_DIFFERENCE * singular[:, 0]
    if np.any(alike):
        first, last = frequency_hz[alike][0] / 1e6, frequency_hz[alike][-1] / 1e6
        raise CalibrationError(
            f"the two-ports of {where} ({', '.join(standards)}) are too much alike to tell the switch terms "
            f"at {np.count_nonzero(alike)} frequencies between {first:.6g} and {last:.6g} MHz",
            hint="Take reciprocal two-ports that reflect, each differently; or let the analyzer measure the "
            "receiver ratios of undriven ports; or choose short-open-load-thru.",
        )
