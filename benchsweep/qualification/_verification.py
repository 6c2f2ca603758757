from __future__ import annotations

from dataclasses import dataclass

from benchsweep.calibration.verification import Comparison, Drift, Finding, LoadChange, ThruChange
from benchsweep.qualification._verify_history import Followed
from benchsweep.qualification._verify_reduce import Residual
from benchsweep.records import Calibration

__all__ = ["Verification"]


@dataclass(frozen=True, slots=True, eq=False)
class Verification:
    """What a verification found.

    Parameters
    ----------
    created_at
        ISO 8601 time in UTC.
    station
        Its name.
    calibration
        The calibration that was verified.
    decision
        ``use``, ``use-with-warning`` or ``refuse``.
    findings
        What is wrong, most likely cause first.
    warnings
        What else should be known.
    comparisons, largest_ratio
        Measured against computed, and up to which E they are taken.
    loads, thrus, drift, residuals
        The standards that were measured again, and the residual terms that lines tell.
    followed
        The values that went into the history, with their limits.
    against
        Where the uncertainty of the bench came from, in words.
    """

    created_at: str
    station: str
    calibration: Calibration
    decision: str
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    comparisons: tuple[Comparison, ...]
    largest_ratio: float
    loads: tuple[LoadChange, ...]
    thrus: tuple[ThruChange, ...]
    drift: Drift | None
    residuals: tuple[Residual, ...]
    followed: tuple[Followed, ...]
    against: str

    @property
    def words(self) -> str:
        """The decision with its reasons, in one line."""
        told = "; ".join([*(finding.words for finding in self.findings), *self.warnings])
        return f"{self.decision}: {told}" if told else self.decision
