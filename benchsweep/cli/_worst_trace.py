"""The trace that is nearest to its limit, or furthest beyond it, with all its points."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchsweep.limits import Requirement
    from benchsweep.qualification import Graded, Qualified
    from benchsweep.report import PlottedTrace

__all__ = ["plain_terminal", "worst_trace", "worst_trace_document"]

# Terminals whose fonts have no Braille patterns, whatever their encoding.
_BARE = ("dumb", "linux")


def worst_trace(result: Qualified, requirement: Requirement, graded: Graded) -> PlottedTrace | None:
    """Return the trace of the worst row of a verdict as it is graded; None where nothing was graded."""
    from benchsweep.qualification import shown
    from benchsweep.report import PlottedTrace, worst_row

    row = worst_row(graded.verdict)
    curve = None if row is None else graded.limits.get(row.parameter)
    if row is None or curve is None:
        return None
    key = (row.parameter, row.end, row.pairs)
    looks = shown(result.evaluation, requirement)
    for trace in (*looks.graded, *result.evaluation.traces):
        if (trace.parameter, trace.end, trace.pairs) == key:
            return PlottedTrace.of(row, trace, curve, looks.not_counting.get(key))
    return None


def worst_trace_document(plotted: PlottedTrace | None) -> Mapping[str, Any]:
    """Return the key ``worst_trace`` of a verdict in JSON.

    Each list has an entry for each point; null stands for no signal at all, and where no limit counts.
    """
    if plotted is None:
        return {"worst_trace": None}
    row = plotted.row
    return {
        "worst_trace": {
            "parameter": str(row.parameter),
            "end": row.end,
            "pairs": list(row.pairs),
            "unit": row.parameter.unit,
            "sense": plotted.sense,
            "frequency_hz": plotted.frequency_hz.tolist(),
            "value": _finite(plotted.value),
            "limit": _finite(plotted.limit),
        }
    }


def _finite(values: NDArray[np.float64]) -> list[float | None]:
    import numpy as np

    known = np.isfinite(values)
    return [value if there else None for value, there in zip(values.tolist(), known.tolist(), strict=True)]


def plain_terminal() -> bool:
    """Return whether a plot must do with ASCII: the encoding of stdout or the terminal has nothing else."""
    from benchsweep.report import can_draw

    return not can_draw(sys.stdout.encoding) or os.environ.get("TERM") in _BARE
