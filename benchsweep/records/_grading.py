from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["LimitCurve", "Outcome", "Verdict", "VerdictRow", "WiringFinding", "WiringReport"]


class Outcome(StrEnum):
    """Outcome of a row or of the whole (words of ILAC-G8:09/2019, and undecided)."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional-pass"
    CONDITIONAL_FAIL = "conditional-fail"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """The worst point of one trace against one limit line.

    Parameters
    ----------
    parameter, end, pairs
        Which trace; see `Trace`.
    worst_margin_db
        Distance to the limit at the worst point, positive is good; in ns for delay and skew.
        None when nothing was measured or no point counts (see `note`).
    frequency_hz, value, limit
        Where that is, the measured value there, the limit there.
    expanded_uncertainty
        k = 2 uncertainty of `value` in its unit, the larger of both sides; None when no budget was evaluated.
    outcome
        Outcome of this row.
    standing
        Standing of the limit line: ``published``, ``common-practice`` or ``from-memory``.
    note
        In words, why a row is undecided or why no point counted; empty otherwise.
    uncertainty_low, uncertainty_high
        The value lies between `value` - `uncertainty_low` and `value` + `uncertainty_high` with a probability
        of 95 %; None without a budget. Infinite where the residual errors may be as large as the signal.
    guard_band
        w of ILAC-G8:09/2019 at the point that decides, in the unit of the value; None where the decision rule
        has none or no budget was evaluated.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    worst_margin_db: float | None
    frequency_hz: float | None
    value: float | None
    limit: float | None
    expanded_uncertainty: float | None
    outcome: Outcome
    standing: str
    note: str = ""
    uncertainty_low: float | None = None
    uncertainty_high: float | None = None
    guard_band: float | None = None


@dataclass(frozen=True, slots=True)
class WiringFinding:
    """Something wrong with the wiring, in words.

    Parameters
    ----------
    kind
        What it is.
    contacts
        Contacts of the specimen concerned, as seen from end A, rising.
    pairs
        Pairs concerned.
    end
        At which end it sits, where that can be told.
    words
        One sentence for a technician.
    """

    kind: Literal["open", "short", "reversed", "crossed", "split", "miswired", "unclear"]
    contacts: tuple[int, ...]
    pairs: tuple[str, ...]
    end: End | None
    words: str


@dataclass(frozen=True, slots=True)
class WiringReport:
    """Result of the wiring check.

    Parameters
    ----------
    contact_at_b
        For contacts 1 to 8 of end A: the contact of end B each leads to, None where it leads nowhere or
        was not measured.
    findings
        What is wrong; empty when the wiring is right.
    checked
        False when the data cannot tell (for example only one end was measured).
    """

    contact_at_b: tuple[int | None, ...]
    findings: tuple[WiringFinding, ...]
    checked: bool = True

    @property
    def right(self) -> bool:
        """True when the wiring was checked and nothing is wrong."""
        return self.checked and not self.findings


@dataclass(frozen=True, slots=True)
class Verdict:
    """A graded result.

    Parameters
    ----------
    record
        Path of the record as the caller named it; may be empty before it is stored.
    specimen, requirement, decision_rule
        Names.
    length_m
        Length used for length-dependent limits, None when none was needed or given.
    outcome
        Outcome of the whole.
    rows
        One for every trace the requirement limits.
    wiring
        The wiring check that came before.
    notes
        In words, what a reader must know (missing parameters, standing of limits, …).
    budget
        Name of the uncertainty budget; empty when no uncertainty was evaluated.
    doubts
        Those of the notes that a reader must know before the outcome: what makes the whole doubtful.
    """

    record: str
    specimen: str
    requirement: str
    decision_rule: str
    length_m: float | None
    outcome: Outcome
    rows: tuple[VerdictRow, ...]
    wiring: WiringReport | None = None
    notes: tuple[str, ...] = ()
    budget: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class LimitCurve:
    """A limit line evaluated on a grid, for plots and for people.

    Parameters
    ----------
    parameter
        What it limits.
    sense
        ``min``: values below it fail; ``max``: values above it fail.
    frequency_hz, value
        ``(n,)`` float64; the value is NaN where the requirement sets no limit.
    standing, source
        Standing of the line and where it comes from.
    held
        ``(n,)`` bool, True where a cap or a floor holds instead of the form; None: nowhere.
    """

    parameter: Parameter
    sense: Literal["min", "max"]
    frequency_hz: NDArray[np.float64]
    value: NDArray[np.float64]
    standing: str
    source: str
    held: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        grid = frozen_grid(self.frequency_hz)
        object.__setattr__(self, "frequency_hz", grid)
        object.__setattr__(self, "value", frozen_array(self.value, np.float64, (grid.size,), "value"))
        if self.held is not None:
            object.__setattr__(self, "held", frozen_array(self.held, np.bool_, (grid.size,), "held"))
