"""How far a standard may be from its definition."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._kit import (
    LoadStandard,
    OpenStandard,
    ShortStandard,
    Spread,
    Standard,
    ThruStandard,
)
from benchsweep.calibration._standards import reflection_of, two_port_of
from benchsweep.records import Quantity

__all__ = ["deviations"]

Changed = Callable[[float], Standard]


def deviations(
    standard: Standard, quantity: Quantity, frequency_hz: NDArray[np.float64], *, but: str = ""
) -> list[NDArray[np.complex128]]:
    """Return the change of one figure of a standard by one standard deviation of each uncertain parameter.

    Parameters
    ----------
    standard
        With its uncertainty.
    quantity
        Its reflection (of a two-port: both, alike) or its transmission (both ways, alike).
    frequency_hz
        ``(n_freq,)``.
    but
        A parameter that is left out.

    Returns
    -------
    list of ndarray
        ``(n_freq,)`` each, independent of each other; those that change nothing are left out. The parameters
        of a model change all frequencies together; ``real`` and ``imaginary`` of the definition stand for
        themselves.
    """
    found: list[NDArray[np.complex128]] = []
    for name, sigma, changed in _parameters(standard):
        if sigma > 0.0 and name != but:
            above, below = (_figure(changed(sign), quantity, frequency_hz) for sign in (1.0, -1.0))
            found.append(np.asarray((above - below) / 2.0))
    for spread, unit in ((standard.uncertainty.real, 1.0), (standard.uncertainty.imaginary, 1j)):
        found.append(np.asarray(unit * _spread(spread, frequency_hz), dtype=np.complex128))
    return [change for change in found if np.any(np.abs(change) > 0.0)]


def _figure(
    standard: Standard, quantity: Quantity, frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    if not isinstance(standard, ThruStandard):
        return reflection_of(standard, frequency_hz)
    return two_port_of(standard, frequency_hz)[:, 0 if quantity == "reflection" else 1, 0]


def _spread(spread: Spread, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    return spread.constant + spread.per_ghz * frequency_hz / 1e9


def _parameters(standard: Standard) -> Iterator[tuple[str, float, Changed]]:
    """Yield (parameter, its standard deviation, the standard changed by so many of these)."""
    if standard.touchstone is not None:
        return
    given = standard.uncertainty
    if isinstance(standard, ThruStandard):
        line = standard.uncertainty
        for name, sigma in (("delay_ps", line.delay_ps), ("z0_ohm", line.z0_ohm)):
            yield name, sigma, _line_changer(standard, name, sigma)
        return
    names = ["capacitance_farad"] if isinstance(standard, OpenStandard) else []
    names += ["inductance_henry"] if isinstance(standard, ShortStandard | LoadStandard) else []
    names += ["resistance_ohm"] if isinstance(standard, LoadStandard) else []
    for name in names:
        yield name, float(getattr(given, name)), _changer(standard, name, float(getattr(given, name)))


def _changer(standard: Standard, name: str, sigma: float) -> Changed:
    value = getattr(standard, name)

    def changed(by: float) -> Standard:
        new = (value[0] + by * sigma, *value[1:]) if isinstance(value, tuple) else value + by * sigma
        return standard.model_copy(update={name: new})

    return changed


def _line_changer(standard: ThruStandard, name: str, sigma: float) -> Changed:
    def changed(by: float) -> Standard:
        offset = standard.offset.model_copy(update={name: getattr(standard.offset, name) + by * sigma})
        return standard.model_copy(update={"offset": offset})

    return changed
