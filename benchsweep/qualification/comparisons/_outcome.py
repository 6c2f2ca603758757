"""What is said of a tester as a whole, from its rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.qualification.comparisons._rows import Compared
from benchsweep.records import Agreement, BlandAltman, ComparedTrace, Comparison, Parameter, Suspicion
from benchsweep.statistics import agreement
from benchsweep.testers import DeclaredAccuracy

__all__ = ["bland_altman_of", "whole_outcome"]

_MOST_NAMED = 3
# Losses are off alike when their means over so many parameters or more lie within a third of their middle,
# and that is no less than this: own choice, it decides nothing.
_MEASURED = frozenset({Parameter.INSERTION_LOSS, Parameter.RETURN_LOSS, Parameter.NEXT, Parameter.ACR_F})
_FEWEST_ALIKE, _LEAST_DB = 3, 0.3


def whole_outcome(
    compared: Compared, suspicions: Sequence[Suspicion], accuracy: DeclaredAccuracy | None
) -> tuple[Agreement, str]:
    """Return the outcome of a comparison and its reason.

    What does not fit comes first: nothing is said of the tester before it is settled. Then it disagrees as
    soon as one row does, and agrees when all rows do that could be compared. Parameters of which the declared
    accuracy says nothing are not decided; they are named and hinder nothing.
    """
    hinders = [suspicion.words for suspicion in suspicions if suspicion.hinders]
    if hinders:
        more = f" (and {len(hinders) - 1} more)" if len(hinders) > 1 else ""
        return Agreement.UNDECIDED, f"{hinders[0]}{more}"
    rows = [row for row in compared.rows if row.decisive is not None]
    bad = sorted((row for row in rows if row.outcome is Agreement.DISAGREES), key=_far, reverse=True)
    if bad:
        named = "; ".join(row.words for row in bad[:_MOST_NAMED])
        more = f"; and {len(bad) - _MOST_NAMED} more" if len(bad) > _MOST_NAMED else ""
        alike = _alike_words(rows)
        said = f"{_count(bad, rows)} beyond both uncertainties: {alike}{named}{more}"
        return Agreement.DISAGREES, said
    silent = [row for row in rows if accuracy is not None and not accuracy.lines_of(row.parameter)]
    if len(silent) < len(rows):
        rows = [row for row in rows if row not in silent]
    else:
        silent = []
    unknown = sorted((row for row in rows if row.outcome is Agreement.UNDECIDED), key=_far, reverse=True)
    if unknown:
        return Agreement.UNDECIDED, f"{_count(unknown, rows)} undecided: {unknown[0].words}"
    if not rows:
        first = compared.rows[0].words if compared.rows else "bench and tester have no trace in common"
        return Agreement.UNDECIDED, f"nothing could be compared: {first}"
    worst = max(rows, key=_far)
    what = "the one trace compared agrees" if len(rows) == 1 else f"all {len(rows)} traces compared agree"
    words = f"{what}; the nearest to disagreeing: {worst.words}"
    if silent:
        terms = ", ".join(dict.fromkeys(row.parameter.term for row in silent))
        words += f"; not decided, since no accuracy is declared of it: {terms}"
    return Agreement.AGREES, words


def _alike_words(rows: Sequence[ComparedTrace]) -> str:
    """Return that all losses are off by about the same, in words; empty: they are not.

    Of the parameters that no other one is computed from, by the means over their traces.
    """
    means: dict[Parameter, list[float]] = defaultdict(list)
    for row in rows:
        if row.parameter in _MEASURED and row.mean_difference is not None:
            means[row.parameter].append(row.mean_difference)
    values = [float(np.mean(each)) for each in means.values()]
    if len(values) < _FEWEST_ALIKE:
        return ""
    middle = float(np.median(values))
    if abs(middle) < _LEAST_DB or max(values) - min(values) > 0.35 * abs(middle):
        return ""
    return f"all losses are off by about the same, {middle:+.1f} dB, as by a wrong adjustment; "


def _far(row: ComparedTrace) -> float:
    point = row.decisive
    return abs(point.e_n) if point is not None and point.e_n is not None else 0.0


def _count(some: Sequence[ComparedTrace], rows: Sequence[ComparedTrace]) -> str:
    return f"{len(some)} of {len(rows)} traces"


def bland_altman_of(
    channel: str, rows: Sequence[ComparedTrace], earlier: Sequence[Comparison]
) -> tuple[tuple[Parameter, BlandAltman], ...]:
    """Return bias and limits of agreement for each parameter over this comparison and those before it.

    One difference for each trace, at the point that decides. Results of one channel are alike: how many
    channels there are is told with them.

    Parameters
    ----------
    channel, rows
        Of this comparison.
    earlier
        Comparisons since the tester was last changed; those with something that did not fit do not count.
    """
    found: dict[Parameter, list[tuple[str, float]]] = defaultdict(list)
    for other in earlier:
        if not any(suspicion.hinders for suspicion in other.suspicions):
            _add(found, other.channel, other.rows)
    _add(found, channel, rows)
    told: list[tuple[Parameter, BlandAltman]] = []
    order = {row.parameter for row in rows}
    for parameter in Parameter:
        values = found.get(parameter, [])
        if parameter not in order or len(values) < 2:
            continue
        try:
            limits = agreement.bland_altman([value for _, value in values], [name for name, _ in values])
        except UsageError:
            continue
        told.append((parameter, limits))
    return tuple(told)


def _add(
    found: Mapping[Parameter, list[tuple[str, float]]], channel: str, rows: Sequence[ComparedTrace]
) -> None:
    for row in rows:
        if row.decisive is not None:
            found[row.parameter].append((channel, row.decisive.difference))
