"""What a record holds as columns of a table: traces, corrected matrix, raw sweeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Measurement, SMatrix, Trace

__all__ = [
    "common_grid",
    "matrix_columns",
    "raw_columns",
    "trace_columns",
    "trace_heading",
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
