"""Kits of calibration standards, solving error terms, correcting sweeps, and when a calibration may be used.

Conventions: every standard and every corrected matrix is referred to 50 ohm; ports are analyzer port numbers
as printed on the analyzer; arrays are ``(n_freq, receiving port, driven port)``. Residuals are in dB, more
negative is better. No sweep is ever interpolated onto the grid of a calibration, nor the data of a standard.
"""

from benchsweep.calibration._apply import apply
from benchsweep.calibration._kit import (
    Acceptance,
    ExchangeStandard,
    Kit,
    LoadStandard,
    OffsetLine,
    OpenStandard,
    ReciprocalStandard,
    ReflectStandard,
    ShortStandard,
    ThruStandard,
    load_kit,
    needed_standards,
)
from benchsweep.calibration._methods import METHODS, Method, NeededStandards
from benchsweep.calibration._quality import Quality, quality
from benchsweep.calibration._solve import check_reflections, solve
from benchsweep.calibration._usable import check_usable

__all__ = [
    "METHODS",
    "Acceptance",
    "ExchangeStandard",
    "Kit",
    "LoadStandard",
    "Method",
    "NeededStandards",
    "OffsetLine",
    "OpenStandard",
    "Quality",
    "ReciprocalStandard",
    "ReflectStandard",
    "ShortStandard",
    "ThruStandard",
    "apply",
    "check_reflections",
    "check_usable",
    "load_kit",
    "needed_standards",
    "quality",
    "solve",
]
