"""A matrix of readings: what must be measured for it, the ways to read it, and what cannot be right in it.

`_measurements` makes the analyzer drive its ports and reads the definitions back; `_ways` are the closed set
of ways to read a matrix (a family file names those it has, the best first); `_readout` refuses what cannot be
right, finds the order of the parameters and remembers earlier sweeps; `_matrix` does it all in turn.
"""

from benchsweep.instrument.matrix._matrix import MatrixReader
from benchsweep.instrument.matrix._readout import Memory

__all__ = ["MatrixReader", "Memory"]
