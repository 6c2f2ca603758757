"""What a record holds as columns of a table: traces, verdict rows, corrected matrix, raw sweeps."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Measurement, SMatrix, Trace, Verdict

__all__ = [
    "common_grid",
    "matrix_columns",
    "raw_columns",
    "trace_columns",
    "trace_heading",
    "verdict_columns",
]

Columns = dict[str, Any]


def trace_heading(trace: Trace) -> str:
    """Return how a column with that trace is headed: ``next A 12-36 (dB)``, ``delay 12 (ns)``."""
    words = (str(trace.parameter), *([trace.end] if trace.end else []), "-".join(trace.pairs))
    return f"{' '.join(words)} ({trace.parameter.unit})"


def common_grid(traces: Sequence[Trace]) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Return all frequencies of `traces`, rising, and their values there; NaN where a trace has no point."""
    grids = {trace.frequency_hz.tobytes(): trace.frequency_hz for trace in traces}
    grid = np.unique(np.concatenate([*grids.values(), np.zeros(0)]))
    values = []
    for trace in traces:
        value = np.full(grid.size, np.nan)
        value[np.searchsorted(grid, trace.frequency_hz)] = trace.value
        values.append(value)
    return grid, values


def trace_columns(traces: Sequence[Trace]) -> Columns:
    """Return ``frequency_hz`` and a column for each trace, a row for each frequency.

    Losses are positive dB; infinite where there is no signal at all, NaN where a trace has no such point.
    """
    grid, values = common_grid(traces)
    return {"frequency_hz": grid} | dict(zip(map(trace_heading, traces), values, strict=True))


def verdict_columns(verdicts: Iterable[Verdict]) -> Columns:
    """Return a row for each row of each verdict; margins, values, limits and uncertainties are in ``unit``.

    ``uncertainty_low`` and ``uncertainty_high`` enclose the value with 95 %, ``expanded_uncertainty`` is the
    larger of both; all three are infinite where residual errors may be as large as the signal. ``doubts`` is
    what makes the whole verdict doubtful. A verdict without rows gives one row that has its outcome alone.
    """
    names = (
        *("record", "specimen", "requirement", "decision_rule", "budget", "length_m", "verdict"),
        *("parameter", "end", "pairs", "outcome", "unit", "worst_margin", "frequency_hz", "value", "limit"),
        *("expanded_uncertainty", "uncertainty_low", "uncertainty_high", "guard_band", "standing", "note"),
        "doubts",
    )
    rows: list[tuple[Any, ...]] = []
    for verdict in verdicts:
        whole = (
            *(verdict.record, verdict.specimen, verdict.requirement, verdict.decision_rule, verdict.budget),
            *(verdict.length_m, str(verdict.outcome)),
        )
        doubts = "; ".join(verdict.doubts)
        if not verdict.rows:
            rows.append((*whole, *[None] * (len(names) - len(whole) - 1), doubts))
        for row in verdict.rows:
            rows.append(
                (
                    *(*whole, str(row.parameter), row.end, "-".join(row.pairs), str(row.outcome)),
                    *(row.parameter.unit, row.worst_margin_db, row.frequency_hz, row.value, row.limit),
                    *(row.expanded_uncertainty, row.uncertainty_low, row.uncertainty_high, row.guard_band),
                    *(row.standing, row.note, doubts),
                )
            )
    texts = {
        *("record", "specimen", "requirement", "decision_rule", "budget", "verdict", "parameter", "end"),
        *("pairs", "outcome", "unit", "standing", "note", "doubts"),
    }
    columns = zip(names, zip(*rows, strict=True) if rows else [()] * len(names), strict=True)
    # An array keeps a column of numbers one also where all of them are missing.
    return {
        name: list(cells) if name in texts else np.array(cells, dtype=np.float64) for name, cells in columns
    }


def matrix_columns(matrix: SMatrix) -> Columns:
    """Return a row for each S-parameter at each frequency: the wave out of ``out`` over that into ``into``.

    ``re`` and ``im`` are its parts; ``out_ohm`` and ``into_ohm`` the reference impedances.
    """
    n = len(matrix.ports)
    points = matrix.frequency_hz.size
    z0 = np.array(matrix.z0_ohm, dtype=np.float64)
    return {
        "frequency_hz": np.repeat(matrix.frequency_hz, n * n),
        "out": [label for label in matrix.ports for _ in range(n)] * points,
        "into": [label for _ in range(n) for label in matrix.ports] * points,
        "re": matrix.s.real.ravel(),
        "im": matrix.s.imag.ravel(),
        "out_ohm": np.tile(np.repeat(z0, n), points),
        "into_ohm": np.tile(z0, n * points),
    }


def raw_columns(measurement: Measurement) -> Columns:
    """Return a row for each uncorrected ratio of each hookup at each frequency.

    ``port_out`` and ``port_into`` are analyzer ports, ``out`` and ``into`` what was attached to them. Where
    switch terms were measured, ``switch_re`` and ``switch_im`` are those of ``port_out`` while ``port_into``
    is driven, else NaN.
    """
    parts: list[Mapping[str, Any]] = []
    for raw in measurement.hookups:
        sweep, ports = raw.sweep, raw.sweep.analyzer_ports
        n, points = len(ports), sweep.frequency_hz.size
        attached = [raw.hookup.connections.get(port, "") for port in ports]
        switch = np.full(sweep.s.shape, np.nan + 0j) if sweep.switch_terms is None else sweep.switch_terms
        parts.append(
            {
                "hookup": np.full(points * n * n, raw.hookup.number),
                "taken_at": [sweep.taken_at] * (points * n * n),
                "frequency_hz": np.repeat(sweep.frequency_hz, n * n),
                "port_out": np.tile(np.repeat(ports, n), points),
                "out": [label for label in attached for _ in range(n)] * points,
                "port_into": np.tile(ports, n * points),
                "into": attached * (n * points),
                "re": sweep.s.real.ravel(),
                "im": sweep.s.imag.ravel(),
                "switch_re": switch.real.ravel(),
                "switch_im": np.where(np.isnan(switch.real), np.nan, switch.imag).ravel(),
            }
        )
    return {
        name: list(chain.from_iterable(part[name] for part in parts))
        if isinstance(parts[0][name], list)
        else np.concatenate([part[name] for part in parts])
        for name in parts[0]
    }
