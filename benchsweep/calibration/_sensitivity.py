from __future__ import annotations

from benchsweep.calibration._pair import Problem
from benchsweep.records import StandardTerm

__all__ = ["standard_terms"]


def standard_terms(problem: Problem) -> tuple[StandardTerm, ...]:
    return ()
