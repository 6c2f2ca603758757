"""Whether a process is steady and capable: control charts, run rules, capability, tolerance limits."""

from benchsweep.statistics.process._capability import (
    capability,
    least_count,
    normality,
    one_sided_factor,
    tolerance_limits,
    two_sided_factor,
)
from benchsweep.statistics.process._charts import ewma_chart, individuals_chart, mean_charts
from benchsweep.statistics.process._constants import ChartConstants, chart_constants
from benchsweep.statistics.process._lots import between_chart, lots_differ
from benchsweep.statistics.process._process_charts import process_charts
from benchsweep.statistics.process._rules import run_rules, run_signals

__all__ = [
    "ChartConstants",
    "between_chart",
    "capability",
    "chart_constants",
    "ewma_chart",
    "individuals_chart",
    "least_count",
    "lots_differ",
    "mean_charts",
    "normality",
    "one_sided_factor",
    "process_charts",
    "run_rules",
    "run_signals",
    "tolerance_limits",
    "two_sided_factor",
]
