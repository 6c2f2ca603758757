from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.limits._requirement import LimitLine, Requirement, Standing, worst_standing
from benchsweep.limits._values import checked_length, length_for
from benchsweep.records import (
    FOUR_PAIRS,
    End,
    Outcome,
    Parameter,
    Trace,
    Verdict,
    VerdictRow,
    WiringReport,
)

__all__ = ["DECISION_RULES", "grade"]

DECISION_RULES: tuple[str, ...] = ("simple",)
"""What `grade` knows. ``simple``: a margin of zero or more passes (ILAC-G8:09/2019, 4.2.1)."""

Key = tuple[Parameter, End | None, tuple[str, ...]]

_ENDS: tuple[End, ...] = ("A", "B")
_ORDERED = frozenset({Parameter.FEXT, Parameter.ACR_N, Parameter.ACR_F})
_WITHOUT_END = frozenset({Parameter.DELAY, Parameter.SKEW})
_COMBINED = frozenset({Parameter.NEXT, Parameter.SKEW})
# How far the ends of the sweep may miss the ends of a line, relative.
_EDGE = 1e-6


def expected_keys(parameter: Parameter) -> tuple[Key, ...]:
    """Return the end and pairs of every trace that a four-pair specimen has of `parameter`."""
    groups: tuple[tuple[str, ...], ...] = tuple((pair,) for pair in FOUR_PAIRS)
    if parameter in _ORDERED:
        groups = tuple(permutations(FOUR_PAIRS, 2))
    elif parameter in _COMBINED:
        groups = tuple(combinations(FOUR_PAIRS, 2))
    ends: tuple[End | None, ...] = (None,) if parameter in _WITHOUT_END else _ENDS
    return tuple((parameter, end, pairs) for end in ends for pairs in groups)


def grade(
    traces: Sequence[Trace],
    requirement: Requirement,
    *,
    specimen: str,
    record: str = "",
    length_m: float | None = None,
    decision_rule: str = "simple",
    wiring: WiringReport | None = None,
) -> Verdict:
    """Grade every trace that `requirement` limits.

    The margin of a row is the smallest distance to the limit in the band of the line, on unrounded values:
    value - limit for a ``min`` line, limit - value for a ``max`` line. A trace that is missing for one of
    the four pairs or ends makes an undecided row, and so does a sweep that does not reach over the whole
    line, unless what was measured fails already.

    The whole fails when a row fails or the wiring check found a fault: a cord with a reversed pair can have
    perfect losses. It is undecided when a row is. Wiring that could not be told is noted and changes nothing.

    Raises
    ------
    UsageError
        A limit needs a length and none was given, the length makes no sense, or the decision rule is unknown.
    """
    length_m = checked_length(length_m)
    if decision_rule not in DECISION_RULES:
        raise UsageError(
            f"no decision rule named {decision_rule!r}", hint=f"There are: {', '.join(DECISION_RULES)}."
        )
    measured: dict[Key, Trace] = {(t.parameter, t.end, t.pairs): t for t in traces}
    rows: list[VerdictRow] = []
    for line in requirement.lines:
        rows += _grade_line(line, length_for(requirement, line, length_m), measured)
    return Verdict(
        record=record,
        specimen=specimen,
        requirement=requirement.name,
        decision_rule=decision_rule,
        length_m=length_m if requirement.needs_length else None,
        outcome=_whole(rows, wiring),
        rows=tuple(rows),
        wiring=wiring,
        notes=(*_wiring_notes(wiring), *_standing_notes(rows)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _OnGrid:
    """A line evaluated on the grid of a trace.

    `inside` marks the points of the grid in the line's bands; `limit` and `band` hold for those points.
    """

    frequency_hz: NDArray[np.float64]
    inside: NDArray[np.bool_]
    limit: NDArray[np.float64]
    band: NDArray[np.intp]
    uncovered: str

    @classmethod
    def of(cls, line: LimitLine, frequency_hz: NDArray[np.float64], length_m: float | None) -> _OnGrid:
        f_mhz = frequency_hz / 1e6
        band = line.band_of(f_mhz)
        inside = band >= 0
        return cls(
            frequency_hz,
            inside,
            line.evaluate(f_mhz[inside], length_m),
            band[inside],
            _uncovered(line, float(f_mhz[0]), float(f_mhz[-1])),
        )


def _uncovered(line: LimitLine, lowest_mhz: float, highest_mhz: float) -> str:
    if highest_mhz < line.from_mhz or lowest_mhz > line.to_mhz:
        return f"{line.from_mhz:g} to {line.to_mhz:g} MHz"
    parts = []
    if lowest_mhz > line.from_mhz * (1.0 + _EDGE):
        parts.append(f"{line.from_mhz:g} to {lowest_mhz:g} MHz")
    if highest_mhz < line.to_mhz * (1.0 - _EDGE):
        parts.append(f"{highest_mhz:g} to {line.to_mhz:g} MHz")
    return " and ".join(parts)


def _grade_line(line: LimitLine, length_m: float | None, measured: Mapping[Key, Trace]) -> list[VerdictRow]:
    expected = expected_keys(line.parameter)
    others = [key for key in measured if key[0] == line.parameter and key not in expected]
    rows = []
    on_grid: _OnGrid | None = None
    for key in (*expected, *others):
        trace = measured.get(key)
        if trace is None:
            rows.append(_undecided(key, line.weakest_standing, _why_missing(line.parameter)))
            continue
        if on_grid is None or not np.array_equal(on_grid.frequency_hz, trace.frequency_hz):
            on_grid = _OnGrid.of(line, trace.frequency_hz, length_m)
        rows.append(_grade_trace(key, trace, line, on_grid, measured))
    return rows


def _why_missing(parameter: Parameter) -> str:
    if parameter in _WITHOUT_END:
        return "not measured, or the frequency step is too coarse to tell the delay: give the length"
    return "not measured"


def _undecided(key: Key, standing: Standing, note: str) -> VerdictRow:
    return VerdictRow(*key, None, None, None, None, None, Outcome.UNDECIDED, standing, note)


def _grade_trace(
    key: Key, trace: Trace, line: LimitLine, on_grid: _OnGrid, measured: Mapping[Key, Trace]
) -> VerdictRow:
    if on_grid.limit.size == 0:
        return _undecided(key, line.weakest_standing, f"not measured from {on_grid.uncovered}")
    value = trace.value[on_grid.inside]
    margin = value - on_grid.limit if line.sense == "min" else on_grid.limit - value
    standing = _standing_of(line, on_grid)
    note = ""
    exempt = _exempt(key, trace, line, on_grid, measured)
    if exempt is not None and exempt.any() and line.exempt_where is not None:
        rule = line.exempt_where
        standing = worst_standing(standing, rule.standing)
        deciding = str(rule.parameter).replace("_", " ")
        note = f"does not count where {deciding} is below {rule.below:g} {rule.parameter.unit}"
        if exempt.all():
            if on_grid.uncovered:
                return _undecided(key, standing, f"{note}; not measured from {on_grid.uncovered}")
            note += ": nowhere in this measurement"
            return VerdictRow(*key, None, None, None, None, None, Outcome.PASS, standing, note)
        margin = np.where(exempt, np.inf, margin)
    worst = _worst_point(margin, exempt)
    at_hz = float(trace.frequency_hz[on_grid.inside][worst])
    outcome = Outcome.PASS if margin[worst] >= 0.0 else Outcome.FAIL
    if on_grid.uncovered:
        lacking = f"not measured from {on_grid.uncovered}"
        note = f"{note}; {lacking}" if note else lacking
        if outcome is Outcome.PASS:
            outcome = Outcome.UNDECIDED  # the numbers are those of the part that was measured
    return VerdictRow(
        *key,
        worst_margin_db=float(margin[worst]),
        frequency_hz=at_hz,
        value=float(value[worst]),
        limit=float(on_grid.limit[worst]),
        expanded_uncertainty=None,
        outcome=outcome,
        standing=standing,
        note=note,
    )


def _worst_point(margin: NDArray[np.float64], exempt: NDArray[np.bool_] | None) -> int:
    worst = int(np.argmin(margin))
    if exempt is not None and exempt[worst]:  # every point that counts has an infinite margin
        worst = int(np.argmin(exempt))
    return worst


def _standing_of(line: LimitLine, on_grid: _OnGrid) -> Standing:
    if all(band.standing is None for band in line.bands):
        return line.standing
    used = [line.bands[number].standing or line.standing for number in np.unique(on_grid.band)]
    return worst_standing(*used)


def _exempt(
    key: Key, trace: Trace, line: LimitLine, on_grid: _OnGrid, measured: Mapping[Key, Trace]
) -> NDArray[np.bool_] | None:
    """Return which points inside do not count; None without such a rule or without the values it needs."""
    if line.exempt_where is None:
        return None
    _, end, pairs = key
    other: End = "A" if end == "B" else "B"
    for at in (end, other):
        deciding = measured.get((line.exempt_where.parameter, at, pairs[:1]))
        if deciding is not None and np.array_equal(deciding.frequency_hz, trace.frequency_hz):
            return np.asarray(deciding.value[on_grid.inside] < line.exempt_where.below)
    return None


def _whole(rows: Sequence[VerdictRow], wiring: WiringReport | None) -> Outcome:
    faulty = wiring is not None and any(finding.kind != "unclear" for finding in wiring.findings)
    if faulty or any(row.outcome is Outcome.FAIL for row in rows):
        return Outcome.FAIL
    if any(row.outcome is Outcome.UNDECIDED for row in rows):
        return Outcome.UNDECIDED
    return Outcome.PASS


def _wiring_notes(wiring: WiringReport | None) -> list[str]:
    if wiring is None:
        return []
    kinds = list(dict.fromkeys(finding.kind for finding in wiring.findings))
    notes = [
        "the wiring could not be told for certain" if kind == "unclear" else f"fails for its wiring: {kind}"
        for kind in kinds
    ]
    return notes if wiring.checked or notes else ["the wiring was not checked"]


def _standing_notes(rows: Sequence[VerdictRow]) -> list[str]:
    notes = []
    for standing in ("common-practice", "from-memory"):
        parameters = list(dict.fromkeys(row.parameter for row in rows if row.standing == standing))
        if parameters:
            notes.append(
                f"limits of standing {standing}: "
                + ", ".join(str(parameter).replace("_", " ") for parameter in parameters)
                + "; verify them against your own copy of the standard"
            )
    return notes
