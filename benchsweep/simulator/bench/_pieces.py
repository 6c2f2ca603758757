"""Everything that can be put on or stands in front of the legs, as it really is at one bench."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.simulator.bench._artefacts import Artefact, artefact_file, true_artefacts
from benchsweep.simulator.bench._connections import BALANCED_PORTS, Offer, legs_of
from benchsweep.simulator.bench._definition import BenchDefinition
from benchsweep.simulator.bench._fronts import balun, fixture_half
from benchsweep.simulator.bench._networks import cascade
from benchsweep.simulator.bench._pieces_definition import Baluns
from benchsweep.simulator.bench._standards import true_standards
from benchsweep.simulator.bench._terminations import Loads
from benchsweep.simulator.bench._wiring import TWO_X_THRU, Wiring

__all__ = ["Pieces", "balun_matrix", "half_matrix"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


class Pieces:
    """The pieces of a bench.

    Parameters
    ----------
    definition
        The bench file.
    seed
        Of all draws.
    as_defined
        Standards, terminations, check standards and fixture halves are as defined, without deviation. Baluns
        are drawn all the same, like the error terms of the analyzer.
    """

    def __init__(self, definition: BenchDefinition, *, seed: int = 0, as_defined: bool = True) -> None:
        standards = definition.standards
        self.wiring: Wiring = definition.wiring
        self.standards = standards if as_defined else true_standards(standards, seed)
        self.loads = Loads(definition.terminations, definition.terminator, None if as_defined else seed)
        self.artefacts: Mapping[str, Artefact] = true_artefacts(artefact_file(), None if as_defined else seed)
        legs = {name: artefact.legs for name, artefact in self.artefacts.items()}
        if definition.fixture_half is not None:
            legs[TWO_X_THRU] = tuple(leg for balanced in BALANCED_PORTS for leg in legs_of(balanced))
        self.offer = Offer(standards.two_ports, legs)
        self._definition = definition
        self._seed = seed
        self._as_defined = as_defined
        self._fronts: dict[tuple[int, bytes], Complex] = {}

    def front(self, ports: int, used: Collection[int], frequency_hz: Real) -> Complex | None:
        """Return what stands between the ports and the ends, the ends last; None: nothing.

        Parameters
        ----------
        ports
            How many ports there are.
        used
            Ports that lead to the specimen: fixture halves are put on with it.

        Returns
        -------
        ``(n_freq, ports + ends, ports + ends)``
        """
        if self._definition.baluns is not None:
            key = ports, frequency_hz.tobytes()
            if key not in self._fronts:
                self._fronts = {key: self._row_of_baluns(self._definition.baluns, ports, frequency_hz)}
            return self._fronts[key]
        if self._definition.fixture_half is None or not used:
            return None
        front = np.zeros((frequency_hz.size, 2 * ports, 2 * ports), dtype=np.complex128)
        for number in range(1, ports // 2 + 1):
            near = np.array([2 * number - 2, 2 * number - 1])
            where = np.concatenate([near, near + ports])
            if {2 * number - 1, 2 * number} & set(used):
                front[:, where[:, None], where] = self.half(number, frequency_hz)
            else:
                front[:, near, near + ports] = front[:, near + ports, near] = 1.0
        return front

    def _row_of_baluns(self, baluns: Baluns, ports: int, frequency_hz: Real) -> Complex:
        each = 2 if baluns.tapped else 1
        ends = self.wiring.ends(ports)
        front = np.zeros((frequency_hz.size, ports + ends, ports + ends), dtype=np.complex128)
        for number in range(ports // each):
            where = np.array(
                [
                    *range(each * number, each * (number + 1)),
                    ports + 2 * number,
                    ports + 2 * number + 1,
                ]
            )
            front[:, where[:, None], where] = balun(baluns, self._seed, number + 1, frequency_hz)
        return front

    def half(self, number: int, frequency_hz: Real) -> Complex:
        """Return the fixture half of that number, ``(n_freq, 4, 4)``, coaxial ports first."""
        half = self._definition.fixture_half
        if half is None:
            raise UsageError(
                f"bench {self._definition.name}: it has no fixture halves", hint="Take fixture-halves."
            )
        return fixture_half(half, self._seed, number, frequency_hz, as_defined=self._as_defined)

    def two_x_thru(self, first: int, second: int, frequency_hz: Real) -> Complex:
        """Return two halves back to back, ``(n_freq, 4, 4)``: the coaxial ports of both."""
        turned = np.array([2, 3, 0, 1])
        other = self.half(second, frequency_hz)
        return cascade(self.half(first, frequency_hz), other[:, turned[:, None], turned])


def balun_matrix(definition: BenchDefinition, seed: int, number: int, frequency_hz: Real) -> Complex:
    """Return a balun of a bench as it truly is, also without noise.

    Parameters
    ----------
    definition, seed
        Those of the bench.
    number
        Of the balun, from 1.
    frequency_hz
        ``(n_freq,)``.

    Returns
    -------
    ``(n_freq, 4, 4)`` with a tap, ports: unbalanced, tap, positive leg, negative leg. ``(n_freq, 3, 3)``
    without: unbalanced, positive leg, negative leg. 50 ohm at each.

    Raises
    ------
    UsageError
        The bench has no baluns.
    """
    if definition.baluns is None:
        raise UsageError(f"bench {definition.name}: it has no baluns", hint="Take baluns or baluns-tapped.")
    return balun(definition.baluns, seed, number, frequency_hz)


def half_matrix(
    definition: BenchDefinition, seed: int, number: int, frequency_hz: Real, *, noiseless: bool = False
) -> Complex:
    """Return a fixture half of a bench as it truly is, ``(n_freq, 4, 4)``.

    Parameters
    ----------
    definition, seed, noiseless
        Those of the bench: without noise all halves are as defined.
    number
        Of the half, from 1: half n is at the ports 2n-1 and 2n.
    frequency_hz
        ``(n_freq,)``.

    Returns
    -------
    Ports: coaxial at 2n-1, coaxial at 2n, leg behind the first, leg behind the second. 50 ohm at each.

    Raises
    ------
    UsageError
        The bench has no fixture halves.
    """
    return Pieces(definition, seed=seed, as_defined=noiseless).half(number, frequency_hz)
