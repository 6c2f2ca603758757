"""Why a difference beyond the known uncertainties is undecided while mating or temperature is not stated."""

from __future__ import annotations

from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.records import ComparedPoint, ComparedTrace

__all__ = ["unstated_words"]


def unstated_words(row: ComparedTrace, point: ComparedPoint, sources: Sources) -> str:
    """Return whether what is not stated may explain a difference, and of which parameter it is not stated.

    Parameters
    ----------
    row
        Whose difference lies beyond.
    point
        At which it does.
    """
    missing = [
        name
        for name, part in (
            ("mating", point.mating_uncertainty),
            ("temperature", point.temperature_uncertainty),
        )
        if part is None
    ]
    which = " or ".join(missing)
    many = len(missing) > 1
    if sources.stated is None:
        where = "they are not stated" if many else "it is not stated"
    else:
        where = f"the statement says nothing of {'them' if many else 'it'} for {row.parameter.term}"
    if _small_enough(row, point):
        return f"{which} may explain it: {where}"
    return (
        f"{which} seldom explain{'' if many else 's'} so much (common practice, from memory), but {where}: "
        "look at the tester, its plugs and its set-up first"
    )


def _small_enough(row: ComparedTrace, point: ComparedPoint) -> bool:
    """Tell whether a fresh mating or some degrees make differences of such a size at all."""
    rules = comparison_rules().compare
    if row.parameter.unit == "ns" and abs(point.difference) > rules.explained_ns:
        return False
    return point.e_n is None or abs(point.e_n) <= rules.explained_e_n
