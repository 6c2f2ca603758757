"""The calibration standards as they really are: what the bench file defines, and what chance made of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._networks import (
    REFERENCE_OHM,
    cascade,
    delay,
    line,
    pad,
    reflection,
    root_loss,
)
from benchsweep.simulator.bench._pieces_definition import LineSection, Reciprocal, Standards

__all__ = ["one_port", "true_standards", "two_port"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_STREAM = 11


def true_standards(standards: Standards, seed: int) -> Standards:
    """Return the pieces that `seed` draws: one draw each, because one piece serves all ports.

    The result is a definition like `standards`, without a spread.
    """
    rng = np.random.default_rng((seed, _STREAM))
    spread = standards.spread

    def drawn(value: float, deviation: float, least: float = 0.0) -> float:
        return max(value + deviation * float(rng.standard_normal()), least)

    plain = {
        name: drawn(getattr(standards, name), getattr(spread, name))
        for name in (
            "open_capacitance_f",
            "short_inductance_h",
            "load_resistance_ohm",
            "load_inductance_h",
            "thru_delay_s",
        )
    }
    lines = tuple(
        section.model_copy(
            update={
                "impedance_ohm": drawn(section.impedance_ohm, spread.line_impedance_ohm, 1.0),
                "longer_than_thru_s": drawn(section.longer_than_thru_s, spread.line_delay_s),
            }
        )
        for section in standards.line
    )
    return standards.model_copy(update={**plain, "line": lines, "spread": type(spread)()})


def one_port(name: str, standards: Standards, omega: Real) -> Complex:
    """Return the reflection ``(n_freq,)`` of ``nothing``, ``open``, ``short``, ``load`` or ``reflect``."""
    if name == "nothing":
        return np.ones(omega.size, dtype=np.complex128)
    if name == "open":
        # Of a fringe capacitance, also of none.
        y = 1j * omega * standards.open_capacitance_f * REFERENCE_OHM
        return np.asarray((1.0 - y) / (1.0 + y))
    if name == "short":
        return reflection(1j * omega * standards.short_inductance_h)
    if name == "load":
        return reflection(standards.load_resistance_ohm + 1j * omega * standards.load_inductance_h)
    reflect = standards.reflect
    once = delay(omega, reflect.delay_s) * np.exp(-root_loss(omega, reflect.loss_db_at_500_mhz))
    return np.asarray(-(once**2))


def two_port(name: str, standards: Standards, omega: Real) -> Complex:
    """Return ``(n_freq, 2, 2)`` of ``thru``, ``line-n`` or ``reciprocal-n`` (`Standards.two_ports`)."""
    kind, _, number = name.partition("-")
    if kind == "reciprocal":
        return _reciprocal(standards.reciprocal[int(number) - 1], omega)
    if kind == "line":
        return _line(standards.line[int(number) - 1], standards.thru_delay_s, omega)
    s = np.zeros((omega.size, 2, 2), dtype=np.complex128)
    s[:, 0, 1] = s[:, 1, 0] = delay(omega, standards.thru_delay_s)
    return s


def _line(section: LineSection, thru_delay_s: float, omega: Real) -> Complex:
    longer_s = section.longer_than_thru_s
    loss = root_loss(omega, section.loss_db_per_ns_at_500_mhz * longer_s * 1e9)
    s = line(loss + 1j * omega * longer_s, section.impedance_ohm)
    return np.asarray(s * delay(omega, thru_delay_s)[:, None, None])


def _reciprocal(piece: Reciprocal, omega: Real) -> Complex:
    ends = [line(np.asarray(1j * omega * seconds), REFERENCE_OHM) for seconds in piece.delay_s]
    middle = np.broadcast_to(pad(piece.series_ohm, piece.shunt_ohm), (omega.size, 2, 2))
    return cascade(ends[0], middle, ends[1])
