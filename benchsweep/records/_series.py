from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._analyzer import AnalyzerIdentity, SweepSettings
from benchsweep.records._arrays import frozen_grid
from benchsweep.records._calibration import Calibration
from benchsweep.records._hookup import Hookup, RawSweep
from benchsweep.records._measurement import SafetyConfirmation, Specimen

__all__ = ["EventKind", "SeriesEnding", "SeriesEvent", "SeriesHead", "SeriesSweep", "UnfinishedSeries"]

EventKind = Literal["gap", "power", "late", "ambient", "clock", "resumed", "lost", "ended"]
"""What happened: the analyzer could not be swept for a while; it was switched off and on; a sweep
began after its time; readings were missing, stale or came back; the clock of the computer was moved; the
recording was interrupted and went on; a sweep was damaged on the disc and is left out; the recording ended
otherwise than wanted."""


@dataclass(frozen=True, slots=True)
class SeriesEvent:
    """Something that happened during a series.

    Parameters
    ----------
    at
        ISO 8601 time in UTC at which it began, or was seen.
    kind
        What kind of thing it was.
    words
        One sentence.
    seconds
        How long it lasted, or by how much a sweep was late or a clock was moved; None without a meaning.
    """

    at: str
    kind: EventKind
    words: str
    seconds: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class SeriesHead:
    """What is the same for all sweeps of a series.

    Parameters
    ----------
    specimen
        The part under test.
    started_at
        ISO 8601 time in UTC.
    station, operator
        Names; operator may be empty.
    description
        Why it was recorded: soak, flexing, temperature cycling, mating, drift of the analyzer …
    hookup
        What was attached all the while; its analyzer ports are those that were swept.
    frequency_hz
        ``(n_freq,)``, the grid of every sweep.
    analyzer, settings
        Who measured and how, as read back.
    calibration
        The calibration that belongs to the sweeps; None when they cannot be corrected.
    fixture_toml
        Text of the fixture definition (port map, terminations) as used.
    safety
        The confirmation of the cautions; None for the simulated bench.
    software
        Package name -> version that took part.
    """

    specimen: Specimen
    started_at: str
    station: str
    operator: str
    description: str
    hookup: Hookup
    frequency_hz: NDArray[np.float64]
    analyzer: AnalyzerIdentity
    settings: SweepSettings
    calibration: Calibration | None
    fixture_toml: str
    safety: SafetyConfirmation | None = None
    software: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        object.__setattr__(self, "frequency_hz", frozen_grid(self.frequency_hz))


@dataclass(frozen=True, slots=True, eq=False)
class SeriesSweep:
    """One sweep of a series.

    Parameters
    ----------
    number
        Counts from 1 through the whole series, interruptions included.
    sweep
        The raw sweep, on the grid and with the ports of the head.
    ambient
        Readings at that time, for example ``{"temperature_degc": 21.5}``; what had no reading is left out.
    events
        What happened since the sweep before.
    """

    number: int
    sweep: RawSweep
    ambient: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    events: tuple[SeriesEvent, ...] = ()

    def __post_init__(self) -> None:
        if self.number < 1:
            raise ValueError(f"sweep {self.number}: sweeps of a series count from 1")


@dataclass(frozen=True, slots=True)
class SeriesEnding:
    """How a series ended.

    Parameters
    ----------
    ended_at
        ISO 8601 time in UTC.
    reason
        In words: the wanted number was reached, a person stopped it, the link was lost …
    events
        What happened after the last sweep.
    """

    ended_at: str
    reason: str
    events: tuple[SeriesEvent, ...] = ()


@dataclass(frozen=True, slots=True)
class UnfinishedSeries:
    """A series that is being recorded, or was interrupted: what a list of them tells.

    Parameters
    ----------
    folder
        Where it is.
    specimen, station, description
        Names; empty when the head cannot be read.
    began_at, last_at
        ISO 8601 times in UTC of the beginning and the last sweep; empty when not known.
    sweeps
        How many are there.
    ended
        How it was interrupted, in words; empty while it is recorded, or when it was killed.
    trouble
        Why it cannot be read; empty when it can.
    """

    folder: str
    specimen: str = ""
    station: str = ""
    description: str = ""
    began_at: str = ""
    last_at: str = ""
    sweeps: int = 0
    ended: str = ""
    trouble: str = ""
