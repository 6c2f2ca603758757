"""What a measurement of an analyzer can be: an S-parameter, or one receiver over another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Measured", "Receiver", "WaveRatio", "source_of"]


@dataclass(frozen=True, slots=True)
class Receiver:
    """One receiver of a port.

    Parameters
    ----------
    wave
        ``A``: the reference receiver, which reads what goes out to the port; ``B``: the test receiver, which
        reads what comes back.
    port
        Counts from 1.
    """

    wave: Literal["A", "B"]
    port: int


@dataclass(frozen=True, slots=True)
class WaveRatio:
    """What one receiver reads over what another reads while a port is driven; never corrected.

    Parameters
    ----------
    over, under
        The receivers.
    source
        The driven port.
    """

    over: Receiver
    under: Receiver
    source: int


Measured = tuple[int, int] | WaveRatio
"""(receiving port, driven port) of an S-parameter, or a ratio."""


def source_of(measured: Measured) -> int:
    """Return the port that must be driven."""
    return measured.source if isinstance(measured, WaveRatio) else measured[1]
