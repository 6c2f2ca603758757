"""Differences against their uncertainty: E_n and zeta."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement._values import Floats, finite

__all__ = ["combined_uncertainty", "e_number", "zeta_score"]

Value = TypeVar("Value", float, Floats)
"""One number or an array of them; what comes in comes out."""


def combined_uncertainty(parts: Sequence[Value | float | None]) -> float | Floats | None:
    """Return the root of the sum of squares of uncertainties of one coverage factor.

    The parts must not be correlated (GUM, JCGM 100:2008, 5.1.2): what bench and tester share does not belong
    in it.

    Parameters
    ----------
    parts
        In the unit of the value, not negative; numbers, or arrays of one shape. None: not known.

    Returns
    -------
    float, array or None
        None as soon as one part is not known: a sum that leaves it out would be too small.

    Raises
    ------
    UsageError
        No parts; a negative or infinite one; shapes that differ.
    """
    if not parts:
        raise UsageError("an uncertainty made of no parts", hint="Give one part or more; 0 is a part.")
    squares: list[Floats] = []
    for place, each in enumerate(parts, start=1):
        if each is None:
            continue
        found = finite(each, what=f"uncertainty {place}")
        if (found < 0.0).any():
            raise UsageError(f"uncertainty {place} is {found.min():g}", hint="No uncertainty is negative.")
        squares.append(found**2)
    _same_shape([square.shape for square in squares if square.ndim], "uncertainties")
    if len(squares) < len(parts):
        return None
    total = np.sqrt(np.sum(np.broadcast_arrays(*squares), axis=0))
    return total if total.ndim else float(total)


def e_number(difference: Value, expanded: Sequence[Value | float | None]) -> Value | None:
    """Return E_n, a difference over its expanded uncertainty.

    E_n = D / sqrt(U_1^2 + U_2^2 + ...), all U expanded with one coverage factor, usually k = 2; up to 1 in
    magnitude is satisfactory (ISO/IEC 17043 and ISO 13528, from memory). Among many points some exceed 1 by
    chance: judge one number for each trace.

    Parameters
    ----------
    difference
        Tester less bench; a number or ``(n,)``.
    expanded
        Expanded uncertainties of tester, bench, mating, temperature ..., each a number or ``(n,)``, in the
        unit of the difference.

    Returns
    -------
    float, array or None
        As `difference`, with its sign; None where an uncertainty is not known.

    Raises
    ------
    UsageError
        Infinite or negative values, shapes that differ, an uncertainty of zero altogether.
    """
    return _over(difference, expanded, "E_n")


def zeta_score(difference: Value, standard: Sequence[Value | float | None]) -> Value | None:
    """Return zeta, a difference over its combined standard uncertainty (ISO 13528, from memory).

    Up to 2 in magnitude is satisfactory, 3 or more asks for action. With uncertainties that were expanded
    with k = 2 it is twice E_n. Parameters, result and errors as in `e_number`, but with standard
    uncertainties.
    """
    return _over(difference, standard, "zeta")


def _over(difference: Value, parts: Sequence[Value | float | None], name: str) -> Value | None:
    found = finite(difference, what="the difference")
    shapes = [found.shape, *(np.shape(each) for each in parts if each is not None)]
    if not found.ndim and any(shapes):
        raise UsageError(
            f"{name}: one difference, but {max(np.prod(shape) for shape in shapes)} uncertainties"
        )
    _same_shape([shape for shape in shapes if shape], f"difference and uncertainties of {name}")
    total = combined_uncertainty(parts)
    if total is None:
        return None
    if not np.all(np.asarray(total) > 0.0):
        raise UsageError(
            f"{name} with an uncertainty of zero", hint="State the uncertainty of bench or tester, or both."
        )
    score = found / total
    return score if found.ndim else float(score)  # type: ignore[return-value]


def _same_shape(shapes: Sequence[tuple[int, ...]], what: str) -> None:
    if len(set(shapes)) > 1:
        told = " and ".join(
            str(shape[0]) if len(shape) == 1 else str(shape) for shape in dict.fromkeys(shapes)
        )
        raise UsageError(f"{what} do not fit together: {told} values")
