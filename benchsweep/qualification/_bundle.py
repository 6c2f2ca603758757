"""A bundle of cables: when one is needed, and how its hookups are reduced."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep import calibration, fixture, limits
from benchsweep.acquisition import PersonSwitch, Switch, check_disturbing
from benchsweep.errors import UsageError
from benchsweep.records import Calibration, Parameter, RawHookup, SMatrix, balanced_ports

__all__ = [
    "check_bundle",
    "corrected",
    "of_the_specimen",
    "reduce_couplings",
    "remind_of_terminations",
    "termination_doubt",
    "termination_reflection",
]

_ALIEN = (
    Parameter.PS_ANEXT,
    Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F,
    Parameter.PS_AACR_F_AVERAGE,
)
# Own choice: what comes back from a far end, and couples there, is then a tenth at most of what arrives.
_REFLECTS = 0.1


def check_bundle(
    requirements: Sequence[limits.Requirement],
    disturbing: int | None,
    *,
    by_pattern: Collection[str] = (),
) -> None:
    """Refuse limits of alien crosstalk without disturbing cables, and these without such limits.

    Parameters
    ----------
    requirements
        What is going to be graded.
    disturbing
        How many cables lie beside the disturbed one; None: not told.
    by_pattern
        Names of requirements that only a pattern chose: without a bundle they are undecided, which is no
        error.

    Raises
    ------
    UsageError
    """
    alien = [item.name for item in requirements if _limits_alien(item)]
    named = [name for name in alien if name not in by_pattern]
    if disturbing is None and named:
        raise UsageError(
            f"{', '.join(named)}: alien crosstalk is that of a bundle, and nobody said of how many cables",
            hint="Give --disturbing with how many cables lie beside the disturbed one; 6 in a bundle of 7."
            f"{_without_bundle([item for item in requirements if item.name in named])}",
        )
    if disturbing is not None and not alien:
        raise UsageError(
            f"--disturbing {disturbing}: no alien crosstalk is limited by "
            f"{', '.join(item.name for item in requirements)}",
            hint="Add a requirement that does, such as tia-6a-channel-alien, or leave --disturbing out.",
        )
    if disturbing is not None:
        check_disturbing(disturbing)


def _limits_alien(requirement: limits.Requirement) -> bool:
    return any(line.parameter in _ALIEN for line in requirement.lines)


def _without_bundle(named: Sequence[limits.Requirement]) -> str:
    """Return which variants of some requirements only leave alien crosstalk out, for a hint."""
    alone = {
        base.name: [line for line in base.lines if line.parameter not in _ALIEN]
        for base in named
        if any(line.parameter not in _ALIEN for line in base.lines)
    }
    fitting = [
        item.name
        for item in limits.requirements_in_force()
        if item.requirement is not None
        and item.requirement.base in alone
        and list(item.requirement.lines) == alone[item.requirement.base]
    ]
    return f" A cable alone is held against {' or '.join(fitting)}." if fitting else ""


def of_the_specimen(hookups: Sequence[RawHookup]) -> tuple[RawHookup, ...]:
    """Return the hookups without a disturbing cable: the matrix of the specimen comes from them."""
    return tuple(raw for raw in hookups if not fixture.is_coupling(raw.hookup))


def corrected(raw: RawHookup, solved: Calibration, definition: fixture.Fixture) -> NDArray[np.complex128]:
    """Return the sweep corrected and moved to the plane of the specimen, in the order of its analyzer ports.

    Raises
    ------
    CalibrationMismatch, FixtureError
    """
    applied = calibration.apply(solved.terms, raw.sweep)
    return fixture.deembed(applied, raw.hookup, definition, raw.sweep.frequency_hz)


def reduce_couplings(
    hookups: Sequence[RawHookup], solved: Calibration, definition: fixture.Fixture
) -> tuple[SMatrix, ...]:
    """Correct every sweep of a hookup with a disturbing cable and move it to the plane of the cables.

    Returns
    -------
    A matrix for each, see `fixture.couplings`; none where no disturbing cable is.

    Raises
    ------
    CalibrationMismatch, FixtureError
    """
    parts = [
        (raw.hookup, corrected(raw, solved, definition)) for raw in hookups if fixture.is_coupling(raw.hookup)
    ]
    return fixture.couplings(parts, hookups[0].sweep.frequency_hz) if parts else ()


def termination_reflection(definition: fixture.Fixture, frequency_hz: NDArray[np.float64]) -> float:
    """Return the largest reflection of any termination of the specimen's ports, as an amplitude.

    Raises
    ------
    FixtureError
        A measured termination lacks a point of the grid.
    """
    blocks = [fixture.termination_block(definition, frequency_hz, port) for port in balanced_ports()]
    return float(np.max(np.linalg.norm(np.array(blocks), ord=2, axis=(-2, -1))))


def termination_doubt(definition: fixture.Fixture, frequency_hz: NDArray[np.float64]) -> str:
    """Return that the terminations reflect too much for alien crosstalk; empty when they do not."""
    reflection = termination_reflection(definition, frequency_hz)
    if reflection <= _REFLECTS:
        return ""
    return (
        f"the terminations of fixture {definition.name} reflect up to {20.0 * np.log10(reflection):.0f} dB: "
        "what comes back from the far ends of the bundle counts as alien crosstalk, too"
    )


def remind_of_terminations(switch: Switch, disturbing: int) -> str:
    """Return what must be on terminations all the time; a person who makes the hookups is told it, too."""
    cables = f"{disturbing} disturbing cables" if disturbing > 1 else "disturbing cable"
    words = (
        f"Bundle: the disturbed cable and {cables}, numbered from 1. In every hookup, also in those of the "
        "disturbed cable alone, every contact at either end of every cable carries its termination unless an "
        "analyzer port is on it."
    )
    if isinstance(switch, PersonSwitch):
        switch.remind(words)
    return words
