"""The hardware: an analyzer's ports with their errors, noise and drift, and what is attached to them.

A bench is described in ``benches/*.toml``, the check standards of a verification in ``artefacts.toml``. It is
asked for sweeps with plain numbers and answers with raw wave ratios; nothing here knows of commands, and a
specimen is whatever has a scattering matrix (`Device`).
"""

from benchsweep.simulator.bench._bench import Bench
from benchsweep.simulator.bench._connections import Attached, ImpossibleConnection, parse_connections
from benchsweep.simulator.bench._definition import BenchDefinition, load_bench
from benchsweep.simulator.bench._mishaps import MISHAPS
from benchsweep.simulator.bench._pieces import balun_matrix, half_matrix
from benchsweep.simulator.bench._request import Device, SweepRequest

__all__ = [
    "MISHAPS",
    "Attached",
    "Bench",
    "BenchDefinition",
    "Device",
    "ImpossibleConnection",
    "SweepRequest",
    "balun_matrix",
    "half_matrix",
    "load_bench",
    "parse_connections",
]
