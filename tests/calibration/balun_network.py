"""An analyzer behind baluns and what hangs on it as one network of all waves: for the balun bound.

Nothing here comes from the package but the types of records. Conventions: ports are counted from 0 here and
from 1 in records; modes are at 100 ohm (d) and 25 ohm (c), port by port: d of port 0, c of port 0, d of
port 1 and so on; arrays are ``(n_freq, ...)``, outgoing wave first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep.records import Hookup, RawHookup, RawSweep

PORTS = 8
GRID = np.linspace(5e6, 500e6, 60)

OPEN_TAP_RETURN_LOSS_DB = 1.6
"""What an unended tap sends back of the common mode: all but the balun's 0.8 dB, there and back.

Without any loss a tap, an open or short standard and the common mode between them are a lossless resonator,
and what the balance squared then does to a calibration rests on how near a point of the grid is to its
resonance."""

LOSS = 10 ** (-0.8 / 20)
MATCH = 10 ** (-20 / 20)


def common_mode_reflection(return_loss_db: float | None) -> float:
    """Magnitude of a balun's common-mode reflection; None: the tap is open."""
    return 10 ** (-(OPEN_TAP_RETURN_LOSS_DB if return_loss_db is None else return_loss_db) / 20)


@dataclass(frozen=True)
class Baluns:
    """Three-ports, each field ``(n_freq, 8)``.

    ``y = input x + through b_d + out b_c``, ``a_d = through x + match b_d + back b_c`` and
    ``a_c = out x + back b_d + common b_c``: x and y at the 50 ohm side, b from the device, a into it. `out`
    is the conversion from the 50 ohm side to the common mode, `back` that from differential to common mode.
    """

    input: np.ndarray
    through: np.ndarray
    match: np.ndarray
    out: np.ndarray
    back: np.ndarray
    common: np.ndarray

    @classmethod
    def drawn(cls, balance_db: float, return_loss_db: float | None, seed: int = 1) -> Baluns:
        """Return loss 20 dB, loss 0.8 dB, both conversions at -`balance_db`; delays and signs drawn."""
        rng = np.random.default_rng(seed)

        def turned(size: float, least_s: float, most_s: float) -> np.ndarray:
            delay = np.exp(-2j * np.pi * GRID[:, None] * rng.uniform(least_s, most_s, PORTS))
            return np.asarray(size * delay * rng.choice([-1.0, 1.0], PORTS))

        balance = 10 ** (-balance_db / 20)
        return cls(
            input=turned(MATCH, 0.0, 1.0e-9),
            match=turned(MATCH, 0.0, 0.5e-9),
            through=turned(LOSS, 0.3e-9, 0.7e-9),
            out=turned(balance, 0.3e-9, 0.9e-9),
            back=turned(balance, 0.0, 0.5e-9),
            common=turned(common_mode_reflection(return_loss_db), 0.0, 0.5e-9),
        )

    def matrix(self, port: int) -> np.ndarray:
        """``(n_freq, 3, 3)``: 50 ohm side, d, c."""
        s = np.empty((len(self.input), 3, 3), dtype=complex)
        s[:, 0, 0], s[:, 1, 1], s[:, 2, 2] = self.input[:, port], self.match[:, port], self.common[:, port]
        s[:, 0, 1] = s[:, 1, 0] = self.through[:, port]
        s[:, 0, 2] = s[:, 2, 0] = self.out[:, port]
        s[:, 1, 2] = s[:, 2, 1] = self.back[:, port]
        return s


@dataclass(frozen=True)
class Analyzer:
    """Error box of each port (receivers, end of the cable) and its reflection while another port drives."""

    frequency_hz: np.ndarray
    box: np.ndarray  # (n_freq, 8, 2, 2)
    switch: np.ndarray  # (n_freq, 8)

    @classmethod
    def drawn(cls, seed: int = 3, scale: float = 0.05) -> Analyzer:
        rng = np.random.default_rng(seed)

        def normal(*shape: int) -> np.ndarray:
            return (rng.normal(size=shape) + 1j * rng.normal(size=shape)) / np.sqrt(2.0)

        f = GRID
        path = 0.9 * np.exp(-2j * np.pi * f[:, None] * rng.uniform(4e-9, 6e-9, PORTS))
        box = scale * normal(f.size, PORTS, 2, 2)
        box[:, :, 1, 0] = path * (1.0 + scale * normal(f.size, PORTS))
        box[:, :, 0, 1] = path * (1.0 + scale * normal(f.size, PORTS))
        return cls(f, box, scale * normal(f.size, PORTS))


def _links(n: int) -> np.ndarray:
    """Which wave out of a network is which wave into the next; seven waves a port, see `readings`."""
    joined = np.zeros((7 * n, 7 * n))
    for m in range(n):
        for one, other in ((1, 2), (3, 5), (4, 6)):
            joined[7 * m + one, 7 * m + other] = joined[7 * m + other, 7 * m + one] = 1.0
    return joined


def readings(
    analyzer: Analyzer, baluns: Baluns, devices: np.ndarray, hookups: Sequence[Sequence[int]]
) -> np.ndarray:
    """Return raw matrices ``(n_hookup, n_freq, n, n)`` of devices in modes ``(n_hookup, n_freq, 2n, 2n)``.

    Waves of each port: receivers, cable end | 50 ohm side, d, c of the balun | d, c of the device. With B out
    of and A into the networks, ``B = S A``, ``A = L B + source``: one dense system for each driven port.
    """
    n, n_freq = len(hookups[0]), len(analyzer.frequency_hz)
    size = 7 * n
    s = np.zeros((len(hookups), n_freq, size, size), dtype=complex)
    for h, ports in enumerate(hookups):
        for m, port in enumerate(ports):
            at = 7 * m
            s[h, :, at : at + 2, at : at + 2] = analyzer.box[:, port]
            s[h, :, at + 2 : at + 5, at + 2 : at + 5] = baluns.matrix(port)
            for k in range(n):
                modes = slice(2 * m, 2 * m + 2), slice(2 * k, 2 * k + 2)
                s[h, :, at + 5 : at + 7, 7 * k + 5 : 7 * k + 7] = devices[h][:, modes[0], modes[1]]
    fixed = s @ _links(n)
    raw = np.empty((len(hookups), n_freq, n, n), dtype=complex)
    for driven in range(n):
        system = np.eye(size) - fixed
        for h, ports in enumerate(hookups):
            for m, port in enumerate(ports):
                if m != driven:
                    system[h, :, :, 7 * m] -= s[h, :, :, 7 * m] * analyzer.switch[:, None, port]
        found = np.linalg.solve(system, s[:, :, :, 7 * driven, None])[..., 0]
        raw[:, :, :, driven] = found[:, :, 0::7]
    return raw


def sweep_of(analyzer: Analyzer, raw: np.ndarray, ports: Sequence[int]) -> RawSweep:
    """A sweep with the switch terms of its ports."""
    terms = np.repeat(analyzer.switch[:, list(ports), None], len(ports), axis=2)
    terms[:, np.arange(len(ports)), np.arange(len(ports))] = 0.0
    numbers = tuple(port + 1 for port in ports)
    return RawSweep(analyzer.frequency_hz, raw, numbers, "2026-01-05T08:00:00+00:00", 0.1, switch_terms=terms)


def one_port_standard(differential: complex, common: complex, n_freq: int = 1) -> np.ndarray:
    return np.repeat(np.diag([differential, common]).astype(complex)[None], n_freq, axis=0)


FLUSH_THRU = np.zeros((1, 4, 4), dtype=complex)
FLUSH_THRU[:, [0, 1, 2, 3], [2, 3, 0, 1]] = 1.0


def standards_measured(
    analyzer: Analyzer, baluns: Baluns, ports: Sequence[int], *, floating_load: bool = False
) -> list[RawHookup]:
    """Hookups of open, short and load at every port and of flush thrus from the first port to each other one.

    Both legs open (d and c +1), both shorted to ground (d and c -1), 100 ohm between the legs: floating
    (c +1) or its centre grounded (c 0). The thru joins leg with leg, so both modes.
    """
    n_freq = len(analyzer.frequency_hz)
    hookups = []
    known = {"open": (1, 1), "short": (-1, -1), "load": (0, 1 if floating_load else 0)}
    for name, (differential, common) in known.items():
        device = one_port_standard(differential, common, n_freq)
        raw = readings(analyzer, baluns, np.stack([device] * len(ports)), [(port,) for port in ports])
        s = np.zeros((n_freq, len(ports), len(ports)), dtype=complex)
        s[:, np.arange(len(ports)), np.arange(len(ports))] = raw[:, :, 0, 0].T
        hookup = Hookup(len(hookups) + 1, {port + 1: name for port in ports})
        hookups.append(RawHookup(hookup, sweep_of(analyzer, s, ports)))
    pairs = [(ports[0], other) for other in ports[1:]]
    device = np.repeat(FLUSH_THRU, n_freq, axis=0)
    for (low, high), raw in zip(
        pairs, readings(analyzer, baluns, np.stack([device] * len(pairs)), pairs), strict=True
    ):
        hookup = Hookup(len(hookups) + 1, {low + 1: f"thru {high + 1}", high + 1: f"thru {low + 1}"})
        hookups.append(RawHookup(hookup, sweep_of(analyzer, raw, (low, high))))
    return hookups
