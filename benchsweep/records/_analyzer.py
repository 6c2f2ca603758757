from __future__ import annotations

from dataclasses import dataclass

__all__ = ["AnalyzerIdentity", "Probe", "SweepSettings"]


@dataclass(frozen=True, slots=True)
class Probe:
    """One question asked to recognise the command family, and what came back."""

    probe: str
    answer: str


@dataclass(frozen=True, slots=True)
class AnalyzerIdentity:
    """Who answers at an address.

    Parameters
    ----------
    idn
        The whole answer to ``*IDN?``, stripped. A calibration is bound to it.
    family
        Name of the command family file that fits.
    ports
        Number of analyzer ports.
    evidence
        The probes that led there.
    """

    idn: str
    family: str
    ports: int
    evidence: tuple[Probe, ...] = ()


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """What the analyzer is asked to do, or did (values as read back).

    Parameters
    ----------
    start_hz, stop_hz, points
        Linear grid; all three None means: the grid that the analyzer has after a preset.
    if_bandwidth_hz
        Resolution (IF) bandwidth.
    averages
        Sweeps averaged by the analyzer, at least 1.
    power_dbm
        Source power at every port.
    """

    start_hz: float | None
    stop_hz: float | None
    points: int | None
    if_bandwidth_hz: float
    averages: int = 1
    power_dbm: float = -5.0
