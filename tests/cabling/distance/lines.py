"""Lossy lines from scikit-rf media, as mixed-mode matrices: independent of program and simulator."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import skrf
from skrf.media import DistributedCircuit

from benchsweep.records import FOUR_PAIRS, BalancedPort, ModePort, SMatrix

TAU = 5.0e-9  # s/m of the lossless line
LIGHT = 299_792_458.0
FIGURES = tuple[float, float]  # metres and ohm


def medium(f, z_ohm=100.0, *, loss=1.66, dc=0.07, tan_delta=0.0, tau=TAU) -> DistributedCircuit:
    """A pair of `loss` dB per 100 m and root MHz and `dc` ohm per metre of conductor.

    Conductor impedance per metre of the loop: 2 dc sqrt(1 + j w/w0), the usual form that goes from the
    direct-current resistance to skin effect with equal internal reactance.
    """
    w = 2 * np.pi * f
    inductance, capacitance = z_ohm * tau, tau / z_ohm
    conductor = np.zeros(f.size, dtype=complex)
    if loss:
        per_root_mhz = 2 * z_ohm * loss / 868.589  # ohm per metre of the loop at 1 MHz
        w0 = 2 * np.pi * 1e6 * (2 * dc / per_root_mhz) ** 2 / 2
        conductor = 2 * dc * np.sqrt(1 + 1j * w / w0)
    return DistributedCircuit(
        skrf.Frequency.from_f(f, unit="hz"),
        C=np.full(f.size, capacitance),
        L=inductance + conductor.imag / w,
        R=conductor.real,
        G=w * capacitance * tan_delta,
        z0_port=100.0,
    )


def two_port(f, sections: Sequence[FIGURES], **line) -> np.ndarray:
    """``(n_freq, 2, 2)`` at 100 ohm of sections in a row."""
    whole = None
    for length_m, z_ohm in sections:
        part = medium(f, z_ohm, **line).line(length_m, "m")
        whole = part if whole is None else whole**part
    return whole.s


def loaded(s, reflection: float) -> np.ndarray:
    """Reflection at port 1 with that load at port 2."""
    return s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * reflection / (1 - s[:, 1, 1] * reflection)


def mixed(f, pairs: dict[str, np.ndarray], ends="AB") -> SMatrix:
    """Uncoupled pairs as differential ports; a pair that is not named is not measured."""
    ports = [BalancedPort(end, pair) for end in ends for pair in FOUR_PAIRS if pair in pairs]
    s = np.zeros((f.size, len(ports), len(ports)), dtype=complex)
    for i, out in enumerate(ports):
        for k, into in enumerate(ports):
            if out.pair == into.pair:
                s[:, i, k] = pairs[out.pair][:, "AB".index(out.end), "AB".index(into.end)]
    return SMatrix(f, s, tuple(str(ModePort(port, "d")) for port in ports), (100.0,) * len(ports))


def at(trace, metres) -> np.ndarray:
    return np.interp(metres, trace.distance_m, trace.value)


def only(traces, end, *pairs):
    found = [trace for trace in traces if (trace.end, trace.pairs) == (end, pairs)]
    assert len(found) == 1, (end, pairs)
    return found[0]
