"""Check a calibration by artefacts whose S-matrices can be computed, by drift, and against its own history.

Pure: artefact definitions (``calibrations/checks/*.toml``) and their answers with uncertainty, comparison,
residual error terms from lines, drift of the standards, limits from earlier verifications, and findings in
words. Conventions: S-matrices of legs are at 50 ohm, ``s[f, out, in]``; uncertainties of S are vector
lengths, expanded with k = 2 unless said; ports are analyzer port numbers where instruments are meant, labels
elsewhere.
"""

from benchsweep.calibration.verification._answer import Answer, answer
from benchsweep.calibration.verification._artefact import Artefact, load_artefact
from benchsweep.calibration.verification._compare import (
    Comparison,
    ErrorLimits,
    balance_uncertainty,
    compare,
    follow_values,
    mode_uncertainty,
)
from benchsweep.calibration.verification._defined import defined_load, defined_thru
from benchsweep.calibration.verification._drift import (
    Drift,
    LoadChange,
    ThruChange,
    joint_drift,
    load_change,
    thru_change,
)
from benchsweep.calibration.verification._findings import (
    FINDING_KINDS,
    Finding,
    FindingKind,
    PortReading,
    Rules,
    find,
    level_db,
)
from benchsweep.calibration.verification._limits import (
    FEWEST,
    HistoryLimits,
    ewma_signals,
    expected_outside,
    history_limits,
    simultaneous_quantile,
)
from benchsweep.calibration.verification._residual_fit import ResidualTerms, fit_residuals, ripple_hz

__all__ = [
    "FEWEST",
    "FINDING_KINDS",
    "Answer",
    "Artefact",
    "Comparison",
    "Drift",
    "ErrorLimits",
    "Finding",
    "FindingKind",
    "HistoryLimits",
    "LoadChange",
    "PortReading",
    "ResidualTerms",
    "Rules",
    "ThruChange",
    "answer",
    "balance_uncertainty",
    "compare",
    "defined_load",
    "defined_thru",
    "ewma_signals",
    "expected_outside",
    "find",
    "fit_residuals",
    "follow_values",
    "history_limits",
    "joint_drift",
    "level_db",
    "load_artefact",
    "load_change",
    "mode_uncertainty",
    "ripple_hz",
    "simultaneous_quantile",
    "thru_change",
]
