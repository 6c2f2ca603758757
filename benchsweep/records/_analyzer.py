from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

__all__ = ["AnalyzerIdentity", "Probe", "Spacing", "SweepSegment", "SweepSettings"]

Spacing = Literal["linear", "logarithmic", "segments"]
"""How the points of a sweep lie between start and stop."""

_SIMULATED = "Simulated works"
"""The maker that the simulated bench answers to ``*IDN?`` (IEEE 488.2, 10.14: the first of four fields)."""


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
    limits
        What the analyzer says of its own range, as far as it says anything; keys carry units:
        ``min_frequency_hz``, ``max_frequency_hz``, ``max_points`` …
    lacks
        What the command family cannot do, in words.
    """

    idn: str
    family: str
    ports: int
    evidence: tuple[Probe, ...] = ()
    limits: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    lacks: tuple[str, ...] = ()

    @property
    def simulated(self) -> bool:
        """Whether it is the simulated bench, which names itself so: what it measures is practice."""
        return self.idn.partition(",")[0].strip() == _SIMULATED

    @property
    def was_switched_on(self) -> bool:
        """True when it had been switched on since anybody last asked (bit 7 of the event status)."""
        answers = [item.answer.lstrip("+") for item in self.evidence if item.probe == "*ESR?"]
        return any(text.isascii() and text.isdigit() and bool(int(text) & 128) for text in answers)


@dataclass(frozen=True, slots=True)
class SweepSegment:
    """One stretch of a segment sweep, linear within itself.

    Parameters
    ----------
    start_hz, stop_hz, points
        Its grid, both ends included.
    if_bandwidth_hz
        Resolution bandwidth within it; None: that of the whole sweep.
    """

    start_hz: float
    stop_hz: float
    points: int
    if_bandwidth_hz: float | None = None


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """What the analyzer is asked to do, or did (values as read back).

    Parameters
    ----------
    start_hz, stop_hz, points
        The grid; all three None means: the grid that the analyzer has after a preset, or that of `segments`.
    if_bandwidth_hz
        Resolution (IF) bandwidth.
    averages
        Sweeps averaged by the analyzer, at least 1.
    power_dbm
        Source power at every port.
    spacing
        ``linear``, ``logarithmic`` or ``segments``.
    segments
        The stretches of a segment sweep, rising; empty otherwise.
    """

    start_hz: float | None
    stop_hz: float | None
    points: int | None
    if_bandwidth_hz: float
    averages: int = 1
    power_dbm: float = -5.0
    spacing: Spacing = "linear"
    segments: tuple[SweepSegment, ...] = ()
