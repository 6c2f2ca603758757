"""Everything that can be put on or stands in front of the legs, as it really is at one bench."""

from __future__ import annotations

from collections.abc import Mapping

from benchsweep.simulator.bench._artefacts import Artefact, artefact_file, true_artefacts
from benchsweep.simulator.bench._connections import Offer
from benchsweep.simulator.bench._definition import BenchDefinition
from benchsweep.simulator.bench._standards import true_standards
from benchsweep.simulator.bench._terminations import Loads
from benchsweep.simulator.bench._wiring import Wiring

__all__ = ["Pieces"]


class Pieces:
    """The pieces of a bench.

    Parameters
    ----------
    definition
        The bench file.
    seed
        Of all draws.
    as_defined
        Standards, terminations and check standards are as defined, without deviation. What stands in front of
        the legs is drawn all the same, like the error terms of the analyzer.
    """

    def __init__(self, definition: BenchDefinition, *, seed: int = 0, as_defined: bool = True) -> None:
        standards = definition.standards
        self.wiring: Wiring = definition.wiring
        self.standards = standards if as_defined else true_standards(standards, seed)
        self.loads = Loads(definition.terminations, definition.terminator, None if as_defined else seed)
        self.artefacts: Mapping[str, Artefact] = true_artefacts(artefact_file(), None if as_defined else seed)
        legs = {name: artefact.legs for name, artefact in self.artefacts.items()}
        self.offer = Offer(standards.two_ports, legs)
