"""What a standard that deviates from its definition leaves in everything that is corrected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._deviations import deviations
from benchsweep.calibration._kit import Kit, Standard, ThruStandard
from benchsweep.calibration._methods import is_numbered
from benchsweep.calibration._problem import Problem, two_ports_for
from benchsweep.calibration._standards import ideal_reflections, ideal_thru
from benchsweep.records import Quantity, StandardTerm

__all__ = ["standard_terms"]

Complex = NDArray[np.complex128]
_UNKNOWNS = ("directivity", "reflection_tracking", "source_match", "load_match")
_NEGLIGIBLE = 1e-12
_DELAY_STEP_PS = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """One thing that a method knows of a standard, as one equation of the residual terms.

    Parameters
    ----------
    standard
        Its name.
    row
        ``(n_freq, 4)``: what each residual term does to this figure.
    moved_by
        Figure of the standard -> how a deviation of it enters; ``(n_freq,)``.
    """

    standard: str
    row: Complex
    moved_by: dict[Quantity, Complex]


def standard_terms(problem: Problem) -> tuple[StandardTerm, ...]:
    """Return what is known of the standards of a calibration, and what their deviations do to it.

    A method makes every known figure of a corrected standard equal to its definition. When the true standard
    deviates by x, the error of correction at this very standard is therefore ``-x``. With the residual terms
    D, M, R, L of an analyzer that is otherwise ideal (see `StandardTerm`), each known figure gives one linear
    equation, for example ``D + R G + M G^2 = -x`` of a reflection G: the implicit function theorem applied to
    the method. All standards are taken to deviate alike at both ports, which makes the transmission tracking
    equal to the reflection tracking in the eight-term model. The tests hold this equal to what scikit-rf's
    methods do with standards that deviate a little; going through them here would take ten times as long.

    A deviation of a thru's transmission leaves nothing by short-open-load-thru: the reflection trackings of
    both ports tell the product of both ways, and their ratio does not feel it. Nor does the ``exchange``.

    Returns
    -------
    tuple of StandardTerm
        One for each figure whose deviation leaves anything, also where its kit states no uncertainty.
    """
    kit, f = problem.kit, problem.readings.frequency_hz
    known = list(_known(problem))
    matrix = np.stack([one.row for one in known], axis=1)
    # Several lines are more than there are unknowns; otherwise this is the plain inverse.
    redundant = matrix.shape[1] > matrix.shape[2]
    inverse: Complex = np.asarray(np.linalg.pinv(matrix) if redundant else np.linalg.inv(matrix))
    found: list[StandardTerm] = []
    for name, quantity in _figures(problem, known):
        standard = kit.standards[name]
        if not isinstance(standard, Standard):
            continue
        # Without a stated uncertainty the term still says what the connection of the standard leaves behind.
        nothing = [np.zeros(f.size, dtype=np.complex128)]
        changes = deviations(standard, quantity, f, but=_absorbed(problem, name)) or nothing
        left: Complex = np.zeros((f.size, len(_UNKNOWNS)), dtype=np.complex128)
        for number, one in enumerate(known):
            if one.standard == name and quantity in one.moved_by:
                moved = inverse[:, :, number] * one.moved_by[quantity][:, np.newaxis]
                left = np.asarray(left - moved, dtype=np.complex128)
        if problem.method == "line-reflect-reflect-match":
            shape = np.asarray(np.sum(changes, axis=0), dtype=np.complex128)
            added = _by_inductance(problem, inverse, known, left, (name, shape))
            left = np.asarray(left + added, dtype=np.complex128)
        if np.max(np.abs(left)) > _NEGLIGIBLE:
            found.append(_term(kit, name, quantity, f, changes, left))
    return tuple(found)


def _figures(problem: Problem, known: list[_Known]) -> list[tuple[str, Quantity]]:
    """Return each figure that a method knows, once."""
    figures = [(one.standard, quantity) for one in known for quantity in one.moved_by]
    if problem.method == "line-reflect-reflect-match":
        figures.append((problem.needed.one_port[1], "reflection"))
    return list(dict.fromkeys(figures))


def _absorbed(problem: Problem, name: str) -> str:
    """Return the parameter of a standard that line-reflect-reflect-match does not rely on."""
    if problem.method != "line-reflect-reflect-match":
        return ""
    return "capacitance_farad" if name == "open" else "inductance_henry"


def _term(
    kit: Kit,
    name: str,
    quantity: Quantity,
    frequency_hz: NDArray[np.float64],
    changes: list[Complex],
    left: Complex,
) -> StandardTerm:
    standard = kit.standards[name]
    two_port = isinstance(standard, ThruStandard)
    row = 0 if quantity == "reflection" else 1
    nominal = (
        ideal_thru(kit, frequency_hz, name)[:, row, 0]
        if two_port
        else ideal_reflections(kit, frequency_hz, (name,))[name]
    )
    terms = dict(zip(_UNKNOWNS, left.T, strict=True))
    return StandardTerm(
        standard=name,
        quantity=quantity,
        nominal=nominal,
        real=np.sqrt(np.sum([change.real**2 for change in changes], axis=0)),
        imaginary=np.sqrt(np.sum([change.imag**2 for change in changes], axis=0)),
        same_piece=standard.same_piece if isinstance(standard, Standard) else True,
        transmission_tracking=terms["reflection_tracking"],
        **terms,
    )


def _known(problem: Problem) -> Iterator[_Known]:
    """Yield what the method knows, as many equations as there are unknowns or more."""
    method, kit, f = problem.method, problem.kit, problem.readings.frequency_hz
    one = np.ones(f.size, dtype=np.complex128)
    reflections = ideal_reflections(kit, f, problem.needed.one_port)
    for name, gamma in reflections.items():
        if method in ("short-open-load", "short-open-load-thru", "unknown-thru") or name == "load":
            yield _Known(name, _row(one, gamma, gamma**2, 0.0 * one), {"reflection": one})
    used = dict.fromkeys(name for pair in problem.readings.two_ports for name in two_ports_for(problem, pair))
    if method in ("line-reflect-match", "line-reflect-reflect-match", "thru-reflect-line", "multiline"):
        at, through = _rows(ideal_thru(kit, f))
        yield _Known("thru", at, {"reflection": one})
        yield _Known("thru", through, {"transmission": one})
    if method in ("thru-reflect-line", "multiline"):
        for name in used:
            if is_numbered(name, "line"):
                yield _line_of_unknown_delay(kit, name, f)
    if method == "short-open-load-thru" and "thru" in used:
        yield _Known("thru", _rows(ideal_thru(kit, f))[0], {"reflection": one})
    else:  # the receiver ratios of undriven ports are measured, which makes both matches of a port one
        yield _Known("", _row(0.0 * one, 0.0 * one, one, -one), {})


def _row(*coefficients: Complex) -> Complex:
    return np.stack(coefficients, axis=1)


def _rows(s: Complex) -> tuple[Complex, Complex]:
    """Return what the residual terms do to reflection and transmission of a two-port (both ports alike)."""
    t11 = (s[:, 0, 0] + s[:, 1, 1]) / 2.0
    t21 = (s[:, 1, 0] + s[:, 0, 1]) / 2.0
    return (
        _row(np.ones_like(t11), t11, t11**2, t21**2),
        _row(0.0 * t11, t21, t11 * t21, t11 * t21),
    )


def _line_of_unknown_delay(kit: Kit, name: str, frequency_hz: NDArray[np.float64]) -> _Known:
    """Return the one thing that is known of a line: of both its figures, what does not hang on its delay."""
    standard = kit.standards[name]
    if not isinstance(standard, ThruStandard):
        raise TypeError(name)
    longer = standard.offset.model_copy(update={"delay_ps": standard.offset.delay_ps + _DELAY_STEP_PS})
    s = ideal_thru(kit, frequency_hz, name)
    changed = kit.model_copy(
        update={"line": {**kit.line, name.rpartition("-")[2]: standard.model_copy(update={"offset": longer})}}
    )
    slope = ideal_thru(changed, frequency_hz, name) - s
    ratio = slope[:, 0, 0] / slope[:, 1, 0]
    at, through = _rows(s)
    return _Known(
        name,
        at - ratio[:, np.newaxis] * through,
        {"reflection": np.ones_like(ratio), "transmission": -ratio},
    )


def _by_inductance(
    problem: Problem, inverse: Complex, known: list[_Known], left: Complex, deviation: tuple[str, Complex]
) -> Complex:
    """Return what the wrongly found inductance of the match adds in line-reflect-reflect-match.

    One inductance for all frequencies is chosen so that the second reflection gets its known magnitude, by
    least squares. That is no complex-linear matter: the answer holds for deviations of the given shape.
    """
    kit, f = problem.kit, problem.readings.frequency_hz
    load = next(number for number, one in enumerate(known) if one.standard == "load")
    gammas = ideal_reflections(kit, f, problem.needed.one_port)
    second = gammas[problem.needed.one_port[1]]
    # dG/dL = 2 j w z0 / (Z + z0)^2 with Z + z0 = 2 z0 / (1 - G), in nanohenry.
    slope = 2j * np.pi * f * 1e-9 * (1.0 - gammas["load"]) ** 2 / 100.0
    by_inductance = inverse[:, :, load] * slope[:, np.newaxis]
    row = _row(np.ones_like(second), second, second**2, 0.0 * second)
    name, shape = deviation
    own = shape if name == problem.needed.one_port[1] else 0.0 * shape

    def radial(change: Complex) -> NDArray[np.float64]:
        return np.asarray(np.real(np.conj(second) / np.abs(second) * change))

    moved = radial(np.sum(row * left, axis=1) * shape + own)
    per_nanohenry = radial(np.sum(row * by_inductance, axis=1))
    inductance = -np.sum(moved * per_nanohenry) / np.sum(per_nanohenry**2)
    safe = np.where(shape == 0.0, 1.0, shape)
    added = np.where(shape == 0.0, 0.0, inductance / safe)
    return np.asarray(by_inductance * added[:, np.newaxis], dtype=np.complex128)
