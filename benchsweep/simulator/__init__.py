"""The simulated bench: a physical model of specimen and analyzer behind a SCPI server on loopback.

It stands for the hardware, so it is reached over TCP only and shares no code with the stages that measure it:
a mistake made on both sides would agree with itself.

Two instruments are served on the loopback interface: the analyzer, by a raw socket, HiSLIP and VXI-11, and a
relay matrix by a raw socket. What hands and circumstances do at a real bench is done with commands under the
root ``BENCh``, by any connection: attach (``CONNect``), exchange the specimen (``SPECimen``), let time pass
(``TIMe?``, ``WAIT``), the receivers drift (``DRIFt``) and cables and receivers be warmer (``TEMPerature``),
and let things go wrong (``FAULt "name"[,after[,seconds]]``, names in ``FAULt:CATalog?``, what each one is in
`analyzer._faults` and, for what hands do, in `bench._mishaps`).

Conventions: matrices ``s[f, i, j]`` are waves out of port ``i`` over waves into port ``j`` at 50 ohm a
conductor; conductors are named ``A1`` … ``B8``, in a bundle those of disturbing cable 3 ``3.A1`` … ``3.B8``.
Everything random is drawn from the seed and from the bench's own clock and counters, so that a run can be
repeated.

The rooms, from what knows nothing of the others upwards (held by import-linter):

==============  ==========================================================================================
``specimen``    what hangs on the bench: cable, plugs, defects, Touchstone files; no analyzer, no command
``bench``       the hardware: error terms, noise, drift, what is attached to which port; no command
``scpi``        how any device takes messages: grammar, command trees, status, faults; no measurement
``tester``      a field tester with errors of its own, measuring a specimen directly and writing files
``analyzer``    the instrument: channels, sweeps, data, what faults do to them
``families``    how each command family spells it; ``families.shared``: what several families spell alike
``doors``       the listeners: lines on TCP, HiSLIP, VXI-11; they know devices of ``scpi`` and no more
==============  ==========================================================================================

Above them here: the commands under ``BENCh`` (`_bench_commands`), the relay matrix (`_relay_matrix`), and the
whole with its start and stop (`_server`).

Files in the rooms start with an underscore, and what another room needs stands in the room's ``__init__``, as
everywhere in this package: so a line that imports names the room and not the file, what a room gives out is
read in one place, and its files can be cut anew with nobody noticing.
"""

from benchsweep.simulator._server import BenchOptions, RunningBench, list_families, running_bench, serve
from benchsweep.simulator.specimen import is_reel, list_specimens, load_specimen

__all__ = [
    "BenchOptions",
    "RunningBench",
    "is_reel",
    "list_families",
    "list_specimens",
    "load_specimen",
    "running_bench",
    "serve",
]
