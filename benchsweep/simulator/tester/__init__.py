"""A simulated field tester: it measures a specimen with errors of its own and writes files.

`_parameters` makes losses and delays from the matrix of the specimen (its own mathematics: nothing of the
stages), `_errors` are what the instrument and its plugs add as waves, `_tester` measures, `_files` write what
it told in the shapes that testers write. Sizes of errors stand in ``levels/*.toml``; all are invented.
"""

from benchsweep.simulator.tester._files import SHAPES, write_result
from benchsweep.simulator.tester._levels import ErrorLevel, list_levels, load_level
from benchsweep.simulator.tester._tester import FAULTS, SimulatedTester, Told, measure

__all__ = [
    "FAULTS",
    "SHAPES",
    "ErrorLevel",
    "SimulatedTester",
    "Told",
    "list_levels",
    "load_level",
    "measure",
    "write_result",
]
