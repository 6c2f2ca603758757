"""Kits of calibration standards, solving error terms, correcting sweeps, and when a calibration may be used.

Conventions: every standard and every corrected matrix is referred to 50 ohm; ports are analyzer port numbers
as printed on the analyzer; arrays are ``(n_freq, receiving port, driven port)``. Residuals are in dB, more
negative is better. No sweep is ever interpolated onto the grid of a calibration.
"""

from benchsweep.calibration._apply import apply
from benchsweep.calibration._kit import (
    Acceptance,
    Kit,
    LoadStandard,
    OffsetLine,
    OpenStandard,
    ShortStandard,
    ThruStandard,
    load_kit,
)
from benchsweep.calibration._solve import check_reflections, solve
from benchsweep.calibration._usable import check_usable

__all__ = [
    "Acceptance",
    "Kit",
    "LoadStandard",
    "OffsetLine",
    "OpenStandard",
    "ShortStandard",
    "ThruStandard",
    "apply",
    "check_reflections",
    "check_usable",
    "load_kit",
    "solve",
]
