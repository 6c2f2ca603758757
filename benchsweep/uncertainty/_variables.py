"""The random variables that the terms of a budget stand for, and where they sit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Parameter

__all__ = ["BASES", "Additive", "Source", "Space", "What", "carried_power"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

What = Literal["terms", "contact", "cable", "termination", "leg", "balance"]

Space = str
"""Where independent variables sit.

``analyzer``: one for each analyzer port. ``mating``: one for each mating of a port. ``common``: one for all.
``termination``: one for each port, as far as it was terminated. ``leg``: one for each mating of a leg behind
baluns. ``balance``: one for each balun, by the number of its analyzer port for the differential mode.
"""

BASES: Mapping[Space, int] = {
    "analyzer": 5,
    "mating": 5,
    "common": 5,
    "termination": 1,
    "leg": 1,
    "balance": 4,
}
"""Base sensitivities of each space; the five are D, R, source match, load match, transmission tracking."""


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """Independent standard normal variables, one set for each place of a space.

    Parameters
    ----------
    term
        Number of the budget term.
    space
        Where they sit.
    sensitivity
        ``(n_freq, n_base)`` of one unit of the deviation, or ``(1, n_base)``.
    directions
        ``(n_variable, n_freq)``: complex deviation that each variable causes. Two at right angles
        and of equal size make a deviation of unknown phase.
    what
        How it enters the exact model: residual terms, a series contact, a cable, a termination, the baluns.
    """

    term: int
    space: Space
    sensitivity: Complex
    directions: Complex
    what: What = "terms"


@dataclass(frozen=True, slots=True, eq=False)
class Additive:
    """A wave of unknown phase on every S-parameter, independent from one pair of ports to the next.

    Noise differs between the two directions of a pair of ports; what stays (leakage, a floor) is the same.

    Parameters
    ----------
    term
        Number of the budget term.
    level
        ``(4, n_freq)``: rms magnitude on entries back to their own port, along the pair, from another pair at
        the same and from one at the other end; relative to the S-parameters of the legs where `relative`.
    fresh
        Another one in every hookup.
    relative
        Multiplies instead of adding.
    parameters
        Only these; empty: all.
    off_diagonal
        Between different ports only.
    carried
        Not a wave by itself, but one that arises at each port of the matrix and goes on through the specimen,
        and the other way round; see `carried_power`.
    """

    term: int
    level: Real
    fresh: bool
    relative: bool = False
    parameters: frozenset[Parameter] = frozenset()
    off_diagonal: bool = False
    carried: bool = False

    @property
    def level_of_ports(self) -> Real:
        """``(4, n_freq)``: rms magnitude between two ports of the matrix.

        Of the four entries between two legs of one pair, two are diagonal; where these have none, the other
        two make up the whole.
        """
        return self.level[[2, 1, 2, 3]] if self.off_diagonal else self.level


def carried_power(s: Complex, level: Real) -> Real:
    """Return ``(..., n, n)``: mean square of ``sum over k of S_ik w_kj + w_ik S_kj``.

    Parameters
    ----------
    s
        ``(..., n, n)``.
    level
        ``(..., n, n)``: rms magnitude of w, which is symmetric and of unknown phase: back to the own port
        both parts are the same wave.
    """
    passed, power = s.real**2 + s.imag**2, level**2
    found = passed @ power + power @ passed
    at = np.arange(s.shape[-1])
    found[..., at, at] *= 2.0
    return np.asarray(found)
