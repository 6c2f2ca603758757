"""What is drawn of records: charts with captions, as data (`*_charts`) and as pictures (`*_drawings`).

Every chart says in a sentence what it shows (`Chart.words`); values, limits and masks in it are those of the
record, at all points. Names of charts begin with the `prefix` that the caller gives.
"""

from benchsweep.report.content.charts._looks import MARKERS, PAIR_LOOKS, pair_legend
from benchsweep.report.content.charts._parameters import Detail, alien_charts, parameter_charts

__all__ = [
    "MARKERS",
    "PAIR_LOOKS",
    "Detail",
    "alien_charts",
    "pair_legend",
    "parameter_charts",
]
