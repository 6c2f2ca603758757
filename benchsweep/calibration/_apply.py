from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import CalibrationMismatch
from benchsweep.records import ErrorTerms, RawSweep

__all__ = ["apply", "correct", "refuse_other_grid", "refuse_other_ports"]

_SAME_HZ = 1e-9
"""Two grid points are one when they differ by less than this part of the frequency, which text may lose."""


def apply(terms: ErrorTerms, sweep: RawSweep) -> NDArray[np.complex128]:
    """Correct a raw sweep by error terms.

    With the source at port s the specimen answers ``b`` to incident waves ``a``::

        b_s = (raw_ss - directivity_s) / reflection_tracking_s     a_s = 1 + source_match_s b_s
        b_j = raw_js / transmission_tracking_js                    a_j = load_match_j b_j

    All drives together are ``B = S A``, so ``S = B A^-1`` (twelve-term model for any number of ports; Marks,
    "Formulations of the basic vector network analyzer error model including switch terms", 50th ARFTG 1997).

    Parameters
    ----------
    terms
        Solved error terms.
    sweep
        Raw sweep; its ports may be some of the calibrated ones, in the order of the sweep. Specimen legs on
        calibrated ports that were not swept count as part of the specimen's terminations.

    Returns
    -------
    ndarray
        ``(n_freq, n, n)`` complex128 at 50 ohm, rows and columns as ``sweep.analyzer_ports``.

    Raises
    ------
    CalibrationMismatch
        Other grid, ports that were not calibrated, or raw values that no specimen can give.
    """
    refuse_other_grid(terms.frequency_hz, sweep.frequency_hz)
    refuse_other_ports(terms.analyzer_ports, sweep.analyzer_ports)
    return correct(terms, sweep.s, sweep.analyzer_ports)


def correct(terms: ErrorTerms, raw: NDArray[np.complex128], ports: Sequence[int]) -> NDArray[np.complex128]:
    """Correct `raw` of `ports` without looking at grids; see `apply`."""
    index = [terms.analyzer_ports.index(port) for port in ports]
    n = len(index)
    diagonal = np.arange(n)
    tracking = terms.transmission_tracking[:, index][:, :, index]
    tracking[:, diagonal, diagonal] = terms.reflection_tracking[:, index]
    out = raw.copy()
    out[:, diagonal, diagonal] -= terms.directivity[:, index]
    with np.errstate(all="ignore"):  # what comes of a tracking of zero is refused below
        out /= tracking
    incident = terms.load_match[:, index, np.newaxis] * out
    incident[:, diagonal, diagonal] = 1.0 + terms.source_match[:, index] * out[:, diagonal, diagonal]
    if not np.all(np.isfinite(out)):
        raise _uncorrectable(ports, "it holds values that are no numbers")
    try:
        # S A = B, solved as A^T S^T = B^T.
        corrected = np.linalg.solve(incident.swapaxes(1, 2), out.swapaxes(1, 2)).swapaxes(1, 2)
    except np.linalg.LinAlgError as error:
        raise _uncorrectable(ports, str(error)) from error
    return np.ascontiguousarray(corrected)


def _uncorrectable(ports: Sequence[int], why: str) -> CalibrationMismatch:
    return CalibrationMismatch(
        f"the raw sweep of ports {_list(ports)} cannot be corrected: {why}",
        hint="Check that the analyzer gives uncorrected S-parameters, then measure or calibrate again.",
    )


def refuse_other_grid(
    calibrated_hz: NDArray[np.float64], measured_hz: NDArray[np.float64], *, hint: str = ""
) -> None:
    """Raise unless both grids are the same, point for point.

    Raises
    ------
    CalibrationMismatch
        Naming both grids.
    """
    same = calibrated_hz.shape == measured_hz.shape and np.allclose(
        calibrated_hz, measured_hz, rtol=_SAME_HZ, atol=0.0
    )
    if not same:
        raise CalibrationMismatch(
            f"frequency grid: calibrated {_grid(calibrated_hz)}, measured {_grid(measured_hz)}",
            hint=hint
            or "Sweep the calibrated grid, or calibrate again on the new one; nothing is interpolated.",
        )


def refuse_other_ports(calibrated: Sequence[int], wanted: Sequence[int], *, hint: str = "") -> None:
    """Raise unless all `wanted` ports are calibrated.

    Raises
    ------
    CalibrationMismatch
        Naming the ports that are not calibrated and those that are.
    """
    missing = [port for port in wanted if port not in calibrated]
    if missing:
        raise CalibrationMismatch(
            f"analyzer port {_list(missing)} is not calibrated; calibrated are {_list(calibrated)}",
            hint=hint or "Calibrate with all the ports that the measurement uses.",
        )


def _list(ports: Sequence[int]) -> str:
    return ", ".join(str(port) for port in ports)


def _grid(frequency_hz: NDArray[np.float64]) -> str:
    if frequency_hz.size == 0:
        return "no points"
    low, high = frequency_hz[0] / 1e6, frequency_hz[-1] / 1e6
    return f"{frequency_hz.size} points from {low:.9g} to {high:.9g} MHz"
