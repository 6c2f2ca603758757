"""What is drawn of records: charts with captions, as data (`*_charts`) and as pictures (`*_drawings`).

Every chart says in a sentence what it shows (`Chart.words`); values, limits and masks in it are those of the
record, at all points. Names of charts begin with the `prefix` that the caller gives.
"""

from benchsweep.report.content.charts._cable import cable_charts
from benchsweep.report.content.charts._compared import compared_charts
from benchsweep.report.content.charts._control import chart_name, control_charts
from benchsweep.report.content.charts._distance import distance_charts
from benchsweep.report.content.charts._drawn import (
    agreement_drawings,
    alien_drawings,
    cable_drawings,
    control_drawings,
    difference_drawings,
    distance_drawings,
    followed_drawings,
    gathered_drawings,
    lot_margin_drawings,
    lot_trace_drawings,
    operating_drawings,
    overview_drawings,
    parameter_drawings,
    series_drawings,
)
from benchsweep.report.content.charts._frame import shared_beginning
from benchsweep.report.content.charts._kept import Gathered, Kept, kept_of
from benchsweep.report.content.charts._looks import MARKERS, PAIR_LOOKS, marker_legend, pair_legend
from benchsweep.report.content.charts._lot_margins import lot_margin_charts
from benchsweep.report.content.charts._lot_traces import lot_trace_charts
from benchsweep.report.content.charts._operating import operating_charts
from benchsweep.report.content.charts._parameters import Detail, alien_charts, parameter_charts
from benchsweep.report.content.charts._series import series_charts
from benchsweep.report.content.charts._spread import spread_charts

__all__ = [
    "MARKERS",
    "PAIR_LOOKS",
    "Detail",
    "Gathered",
    "Kept",
    "agreement_drawings",
    "alien_charts",
    "alien_drawings",
    "cable_charts",
    "cable_drawings",
    "chart_name",
    "compared_charts",
    "control_charts",
    "control_drawings",
    "difference_drawings",
    "distance_charts",
    "distance_drawings",
    "followed_drawings",
    "gathered_drawings",
    "kept_of",
    "lot_margin_charts",
    "lot_margin_drawings",
    "lot_trace_charts",
    "lot_trace_drawings",
    "marker_legend",
    "operating_charts",
    "operating_drawings",
    "overview_drawings",
    "pair_legend",
    "parameter_charts",
    "parameter_drawings",
    "series_charts",
    "series_drawings",
    "shared_beginning",
    "spread_charts",
]
