"""The simulated bench: a physical model of specimen and analyzer behind a SCPI server on loopback.

It stands for the hardware, so it is reached over TCP only and shares no code with the stages that measure it:
a mistake made on both sides would agree with itself.

Conventions: matrices ``s[f, i, j]`` are waves out of port ``i`` over waves into port ``j`` at 50 ohm a
conductor; conductors are named ``A1`` … ``B8``. Everything random is drawn from the seed and from the bench's
own clock and counters, so that a run can be repeated. The commands are tables of header patterns (`_common`,
`_named_measurement`); another family is another table.
"""

from benchsweep.simulator._server import BenchOptions, RunningBench, running_bench, serve
from benchsweep.simulator._specimen import list_specimens

__all__ = ["BenchOptions", "RunningBench", "list_specimens", "running_bench", "serve"]
