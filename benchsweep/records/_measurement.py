from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from benchsweep.records._analyzer import AnalyzerIdentity, SweepSettings
from benchsweep.records._calibration import Calibration
from benchsweep.records._hookup import RawHookup
from benchsweep.records._matrix import SMatrix
from benchsweep.records._ports import balanced_ports_among

__all__ = ["Measurement", "SafetyConfirmation", "Specimen"]


@dataclass(frozen=True, slots=True)
class Specimen:
    """The part under test.

    Parameters
    ----------
    identifier
        What the laboratory calls it; any text.
    length_m
        Length in metres, when known.
    description
        Free text.
    lot
        The production lot it was drawn from, or the drum; empty when not known.
    product
        What it is, as its maker names it; empty when not told.
    """

    identifier: str
    length_m: float | None = None
    description: str = ""
    lot: str = ""
    product: str = ""


@dataclass(frozen=True, slots=True)
class SafetyConfirmation:
    """That a person read the cautions before the first hookup on real hardware.

    Parameters
    ----------
    by
        Who confirmed; what the person gave as a name.
    at
        ISO 8601 time in UTC.
    cautions
        The sentences that were shown.
    """

    by: str
    at: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """All that one record holds: enough to redo the reduction from the raw sweeps.

    Parameters
    ----------
    specimen
        The part under test.
    created_at
        ISO 8601 time in UTC.
    origin
        ``bench`` (measured here) or ``touchstone`` (imported).
    station, operator
        Names; operator may be empty.
    corrected
        All partial hookups assembled: the single-ended matrix at the legs of the specimen, 50 ohm; or, behind
        baluns, the matrix of its modes (``A:12/d``, 100 ohm; ``A:12/c``, 25 ohm).
    hookups
        Raw sweeps as received; empty for an import.
    calibration
        The calibration that was applied; None for an import.
    analyzer, settings
        Who measured and how, as read back; None for an import.
    fixture_toml
        Text of the fixture definition (port map, terminations) as used.
    consistency_db
        Per label: largest disagreement between hookups that measured it more than once, in dB.
    assembly_notes
        What a person should know of how the hookups fit together; first the likely cause where they disagree
        by more than the fixture allows.
    ambient
        For example ``{"temperature_degc": 21.5}``; empty when not noted.
    software
        Package name -> version that took part.
    source_file
        For an import: name of the file. Empty otherwise.
    safety
        The confirmation of the cautions; None for an import and for the simulated bench.
    incidents
        What went wrong while measuring and was overcome, one sentence each, in order.
    budget_toml
        Text of the uncertainty budget as used; empty when there was none.
    verification
        What the last verification of the calibration found, in words; empty when there was none.
    couplings
        Of a bundle: for each measured disturbing cable one or more matrices, corrected and assembled like
        `corrected` and on its grid, whose ports are of cable 0 (``A:12.1``) and of that one cable
        (``3.A:12.1``). What is not among the ports sat on its terminations. Empty otherwise.
    reduced_from
        Content hash of the record whose raw sweeps were reduced again to make this one; empty for others.
    reason
        Why they were; empty for others.
    reduced_at
        ISO 8601 time in UTC at which they were; empty for others. `created_at` stays that of the measurement.
    """

    specimen: Specimen
    created_at: str
    origin: str
    station: str
    operator: str
    corrected: SMatrix
    hookups: tuple[RawHookup, ...] = ()
    calibration: Calibration | None = None
    analyzer: AnalyzerIdentity | None = None
    settings: SweepSettings | None = None
    fixture_toml: str = ""
    consistency_db: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    ambient: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    software: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    source_file: str = ""
    safety: SafetyConfirmation | None = None
    incidents: tuple[str, ...] = ()
    budget_toml: str = ""
    verification: str = ""
    assembly_notes: tuple[str, ...] = ()
    couplings: tuple[SMatrix, ...] = ()
    reduced_from: str = ""
    reason: str = ""
    reduced_at: str = ""

    def __post_init__(self) -> None:
        grid = self.corrected.frequency_hz
        if not all(np.array_equal(coupling.frequency_hz, grid) for coupling in self.couplings):
            raise ValueError("the couplings of a bundle must be on the frequency grid of the specimen")

    @property
    def disturbing_cables(self) -> tuple[int, ...]:
        """The numbers of the disturbing cables in `couplings`, rising."""
        labels = (label for coupling in self.couplings for label in coupling.ports)
        return tuple(sorted({port.cable for port in balanced_ports_among(labels) if port.cable}))
