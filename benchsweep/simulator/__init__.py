"""The simulated bench: a physical model of specimen and analyzer behind a SCPI server on loopback.

It stands for the hardware, so it is reached over TCP only and shares no code with the stages that measure it:
a mistake made on both sides would agree with itself.

Two instruments are served on the loopback interface: the analyzer, by a raw socket, HiSLIP and VXI-11, and a
relay matrix by a raw socket. What hands and circumstances do at a real bench is done with commands under the
root ``BENCh``, by any connection: attach (``CONNect``), exchange the specimen (``SPECimen``), let time pass
(``TIMe?``, ``WAIT``) and the receivers drift (``DRIFt``), and let things go wrong
(``FAULt "name"[,after[,seconds]]``, names in ``FAULt:CATalog?``, what each one is in `_faults`).

Conventions: matrices ``s[f, i, j]`` are waves out of port ``i`` over waves into port ``j`` at 50 ohm a
conductor; conductors are named ``A1`` … ``B8``. Everything random is drawn from the seed and from the bench's
own clock and counters, so that a run can be repeated. The commands are tables of header patterns (`_common`
and a module for each family).
"""

from benchsweep.simulator._server import (
    BenchOptions,
    RunningBench,
    list_families,
    running_bench,
    serve,
)
from benchsweep.simulator.specimen import list_specimens

__all__ = ["BenchOptions", "RunningBench", "list_families", "list_specimens", "running_bench", "serve"]
