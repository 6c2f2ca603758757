"""An analyzer with random error terms, written out as plain linear equations for each drive.

Twelve-term model for any number of ports after Marks, "Formulations of the basic vector network analyzer
error model including switch terms", 50th ARFTG 1997. Nothing here comes from the package under test: the
waves are found by solving the whole network for each driven port.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import Hookup, RawHookup, RawSweep, SweepSettings


@dataclass
class Bench:
    """Error box of each port: VNA side 0, specimen side 1; switch term where the port does not drive."""

    frequency_hz: np.ndarray
    box: np.ndarray  # (n_freq, n, 2, 2)
    switch: np.ndarray  # (n_freq, n)

    @classmethod
    def random(
        cls, n_ports: int, n_freq: int, seed: int, scale: float = 0.05, grid: np.ndarray | None = None
    ) -> Bench:
        rng = np.random.default_rng(seed)

        def complex_normal(*shape: int) -> np.ndarray:
            return (rng.normal(size=shape) + 1j * rng.normal(size=shape)) / np.sqrt(2.0)

        f = np.linspace(1e6, 500e6, n_freq) if grid is None else grid
        n_freq = f.size
        delay = rng.uniform(4e-9, 6e-9, n_ports)
        path = np.exp(-2j * np.pi * f[:, None] * delay) * (0.9 + scale * complex_normal(n_freq, n_ports))
        box = scale * complex_normal(n_freq, n_ports, 2, 2)
        box[:, :, 1, 0] = path
        box[:, :, 0, 1] = path * (1.0 + scale * complex_normal(n_freq, n_ports))
        return cls(f, box, scale * complex_normal(n_freq, n_ports))

    def raw(self, s: np.ndarray, ports: tuple[int, ...]) -> np.ndarray:
        """Raw S of a specimen `s` (n_freq, n, n) on `ports` (numbers from 1)."""
        n = len(ports)
        out = np.empty_like(s)
        at = [p - 1 for p in ports]
        box, switch = self.box[:, at], self.switch[:, at]
        for driven in range(n):
            # b leaves the specimen, a enters it: a_i = e10 a0_i + e11 b_i; b0_i = e00 a0_i + e01 b_i;
            # a0_driven = 1, a0_i = switch_i b0_i elsewhere.
            for k in range(s.shape[0]):
                match = np.empty(n, dtype=complex)
                source = np.zeros(n, dtype=complex)
                for i in range(n):
                    e = box[k, i]
                    if i == driven:
                        match[i], source[i] = e[1, 1], e[1, 0]
                    else:
                        loop = switch[k, i] / (1.0 - e[0, 0] * switch[k, i])
                        match[i] = e[1, 1] + e[1, 0] * loop * e[0, 1]
                b = np.linalg.solve(np.eye(n) - s[k] @ np.diag(match), s[k] @ source)
                for i in range(n):
                    e = box[k, i]
                    if i == driven:
                        out[k, i, driven] = e[0, 0] + e[0, 1] * b[i]
                    else:
                        out[k, i, driven] = e[0, 1] * b[i] / (1.0 - e[0, 0] * switch[k, i])
        return out

    def sweep(self, s: np.ndarray, ports: tuple[int, ...], *, ratios: bool = False) -> RawSweep:
        """A sweep; with `ratios` also a_j / b_j of undriven ports, which here is the switch term itself."""
        terms = None
        if ratios:
            at = [port - 1 for port in ports]
            terms = np.repeat(self.switch[:, at, None], len(ports), axis=2)
            terms[:, np.arange(len(ports)), np.arange(len(ports))] = 0.0
        raw = self.raw(s, ports)
        return RawSweep(self.frequency_hz, raw, ports, "2026-01-05T08:00:00+00:00", 0.1, switch_terms=terms)


def diagonal(gamma: np.ndarray, n: int) -> np.ndarray:
    s = np.zeros((gamma.size, n, n), dtype=complex)
    s[:, np.arange(n), np.arange(n)] = gamma[:, None]
    return s


def standards(f: np.ndarray, *, ideal: bool = False) -> dict[str, np.ndarray]:
    """Open 30 fF, short 50 pH, load 51 ohm + 30 pH, thru 30 ps (or the ideal ones), from impedances."""
    w = 2j * np.pi * f
    one = np.ones_like(w)
    if ideal:
        thru = np.zeros((f.size, 2, 2), dtype=complex)
        thru[:, 0, 1] = thru[:, 1, 0] = 1.0
        return {"open": one, "short": -one, "load": 0 * one, "thru": thru}

    def gamma(z: np.ndarray) -> np.ndarray:
        return (z - 50.0) / (z + 50.0)

    thru = np.zeros((f.size, 2, 2), dtype=complex)
    thru[:, 0, 1] = thru[:, 1, 0] = np.exp(-w * 30e-12)
    return {
        "open": gamma(1.0 / (w * 30e-15)),
        "short": gamma(w * 50e-12),
        "load": gamma(51.0 + w * 30e-12),
        "thru": thru,
    }


def calibration_hookups(
    bench: Bench, ports: tuple[int, ...], *, ideal: bool = False, common: int | None = None
) -> list[RawHookup]:
    """The hookups of a calibration of `ports` with raw readings."""
    known = standards(bench.frequency_hz, ideal=ideal)
    common = common or ports[0]
    hookups = []
    for name in ("open", "short", "load"):
        hookup = Hookup(len(hookups) + 1, dict.fromkeys(ports, name))
        hookups.append(RawHookup(hookup, bench.sweep(diagonal(known[name], len(ports)), ports)))
    for other in ports:
        if other != common:
            pair = (min(common, other), max(common, other))
            hookup = Hookup(len(hookups) + 1, {pair[0]: f"thru {pair[1]}", pair[1]: f"thru {pair[0]}"})
            hookups.append(RawHookup(hookup, bench.sweep(known["thru"], pair)))
    return hookups


def more_standards(f: np.ndarray) -> dict[str, np.ndarray]:
    """Those of `standards` and a lossy reflect near a short, lossy lines, mismatched pads, an exchange.

    Figures of the simulated kits; written out from impedances and chain matrices, not by the package.
    """
    w = 2j * np.pi * f
    root = np.sqrt(f / 500e6)
    known = standards(f)
    known["reflect"] = -0.97 * np.exp(-2 * w * 15e-12 - 0.01 * root)
    for name, extra in (("line-1", 0.5e-9), ("line-2", 1.5e-9)):
        loss = 0.05 * extra * 1e9 * root / 8.686
        line = np.zeros((f.size, 2, 2), dtype=complex)
        line[:, 0, 1] = line[:, 1, 0] = np.exp(-w * (extra + 30e-12) - loss)
        known[name] = line
    for n, (left, shunt, right, delay) in enumerate(
        [(60.0, 150.0, 2.0, 40e-12), (2.0, 150.0, 60.0, 90e-12), (5.0, 25.0, 5.0, 250e-12)], start=1
    ):
        pad = pad_matrix(left, shunt, right)
        known[f"reciprocal-{n}"] = pad[None] * np.exp(-w * delay)[:, None, None]
    both = np.zeros((f.size, 2, 2), dtype=complex)
    both[:, 0, 0], both[:, 1, 1] = known["short"], known["open"]
    modes = np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2.0)
    known["exchange"] = modes @ both @ modes.T
    return known


def pad_matrix(left: float, shunt: float, right: float) -> np.ndarray:
    """S-matrix at 50 ohm of series, shunt, series resistors, by node voltages: S = (Z - 50) / (Z + 50)."""
    z = np.array([[left + shunt, shunt], [shunt, right + shunt]])
    return (z - 50.0 * np.eye(2)) @ np.linalg.inv(z + 50.0 * np.eye(2))


def hookups_of(
    bench: Bench,
    known: dict[str, np.ndarray],
    one_port: tuple[str, ...],
    two_port: dict[tuple[int, int], tuple[str, ...]],
    *,
    ratios: bool,
) -> list[RawHookup]:
    """One-port standards at all ports at once, two-port standards between pairs one after the other."""
    ports = tuple(sorted({port for pair in two_port for port in pair}))
    hookups = []
    for name in one_port:
        hookup = Hookup(len(hookups) + 1, dict.fromkeys(ports, name))
        hookups.append(RawHookup(hookup, bench.sweep(diagonal(known[name], len(ports)), ports)))
    for (low, high), names in two_port.items():
        for name in names:
            hookup = Hookup(len(hookups) + 1, {low: f"{name} {high}", high: f"{name} {low}"})
            sweep = bench.sweep(known[name], (low, high), ratios=ratios)
            hookups.append(RawHookup(hookup, sweep))
    return hookups


def random_specimen(n_freq: int, n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(n_freq, n, n)) + 1j * rng.normal(size=(n_freq, n, n))
    return 0.8 * s / np.linalg.norm(s, ord=2, axis=(1, 2))[:, None, None]


@pytest.fixture(scope="session")
def model() -> SimpleNamespace:
    """The functions above, for tests (helpers cannot be imported from one test file into another)."""
    return SimpleNamespace(
        Bench=Bench,
        calibration_hookups=calibration_hookups,
        diagonal=diagonal,
        hookups_of=hookups_of,
        more_standards=more_standards,
        pad_matrix=pad_matrix,
        random_specimen=random_specimen,
        standards=standards,
        settings=SweepSettings(None, None, None, 1e3),
        meta={"identifier": "t", "created_at": "2026-01-05T08:00:00+00:00", "idn": "bench 1"},
    )
