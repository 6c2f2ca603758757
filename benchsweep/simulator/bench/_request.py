"""What a bench needs of a specimen, and what one sweep needs of the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._connections import Attached, cable_of
from benchsweep.simulator.bench._drift import Moment
from benchsweep.simulator.bench._mishaps import LooseContact

__all__ = ["Device", "SweepRequest"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


class Device(Protocol):
    """What the bench needs of a specimen."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def conductors(self) -> tuple[str, ...]:
        """``A1`` … ``B8`` in the order of the matrix."""

    @property
    def grid(self) -> tuple[float, float, int] | None:
        """Start and stop in Hz and points that the analyzer presets to, or None."""

    @property
    def disturbing(self) -> int:
        """How many cables lie beside it, numbered from 1; 0: it is no bundle."""

    def scatter(self, frequency_hz: Real) -> Complex:
        """Return ``(n_freq, n, n)`` at 50 ohm."""

    def together(self, frequency_hz: Real, cables: Sequence[int]) -> Complex:
        """Return ``(n_freq, n c, n c)`` of c cables of a bundle, each in turn; 0 is the disturbed one."""


@dataclass(frozen=True, slots=True, eq=False)
class SweepRequest:
    """The state of the bench and the settings of one sweep.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    driven
        Port numbers that are sources, rising.
    if_bandwidth_hz
        Resolution bandwidth, one for all points or ``(n_freq,)``.
    readings
        How many readings of each point are averaged.
    power_dbm
        Source power of each driven port.
    device, connections, terminators, matings, moment, number
        Specimen, what is attached where, which balanced port sits on which terminator, re-connections per
        port, state of the drift and number of the sweep.
    slope
        By how many dB and s the receivers' readings have changed linearly.
    loose
        A connector that is not tight.
    references
        Whether the reference receivers are read too.
    """

    frequency_hz: Real
    driven: tuple[int, ...]
    if_bandwidth_hz: float | Real
    readings: int
    power_dbm: tuple[float, ...]
    device: Device
    connections: Mapping[int, Attached]
    terminators: Mapping[str, str]
    matings: tuple[int, ...]
    moment: Moment
    number: int
    slope: tuple[float, float]
    loose: LooseContact | None = None
    references: bool = False

    @property
    def uses_specimen(self) -> bool:
        """True when a leg of the specimen is attached."""
        return bool(self.cables)

    @property
    def cables(self) -> tuple[int, ...]:
        """The cables of a bundle of which a leg is attached, rising; 0 is the specimen itself.

        Others end in their terminations at both ends and change nothing, as they couple weakly. A cable that
        the specimen has not is not there: what should lead to it is an end in the air.
        """
        found = {cable_of(name) for attached in self.connections.values() for name in attached.conductors}
        return tuple(sorted(number for number in found if number <= self.device.disturbing))

    @property
    def conductors(self) -> tuple[str, ...]:
        """The conductors of those cables in the order of their matrix."""
        return tuple(
            f"{number}.{name}" if number else name
            for number in self.cables
            for name in self.device.conductors
        )
