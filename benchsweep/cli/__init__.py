"""The command line: one file per command. Only here are people spoken to.

stdout carries the result, stderr everything else. Exit codes: 0 done and all pass, 1 done with a fail,
2 usage or a definition file, 3 undecided, 4 analyzer, 5 calibration, 6 archive, 70 a bug, 130 interrupted.
"""

from benchsweep.cli._main import main

__all__ = ["main"]
