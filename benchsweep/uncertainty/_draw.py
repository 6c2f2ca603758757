"""One draw of all variables, applied to the matrix as networks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import ModePort, balanced_ports_among
from benchsweep.uncertainty._layout import Layout
from benchsweep.uncertainty._modes import port_relations
from benchsweep.uncertainty._variables import Additive, Source, carried_power

__all__ = ["draw_matrix"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]

_ROOT_HALF = 0.5**0.5


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """Deviations of one draw: (what, space) -> ``(n_freq, n_base, n_place)``."""

    of: Mapping[tuple[str, str], Complex]

    def at(self, what: str, base: int, hookup: int, layout: Layout, on: Index, n_freq: int) -> Complex:
        """Return ``(n_freq, n_on)``: what the ports `on` meet in one hookup."""
        total = np.zeros((n_freq, on.size), dtype=np.complex128)
        for space, places in (
            ("analyzer", layout.analyzer[hookup, on]),
            ("mating", layout.mating[hookup, on]),
            ("common", np.zeros(on.size, dtype=np.intp)),
        ):
            if (what, space) in self.of:
                total += self.of[what, space][:, base][:, places]
        return total


def draw_matrix(
    rng: np.random.Generator,
    s: Complex,
    ports: tuple[str, ...],
    layout: Layout,
    sources: Sequence[Source],
    additive: Sequence[Additive],
    balance: Mapping[str, tuple[Real, Real]],
) -> Complex:
    """Return ``(n_freq, n, n)``: `s` as it would be corrected with errors drawn from `sources`."""
    n_freq, n = s.shape[:2]
    couples = _mode_places(ports)
    drawn = _draw(rng, sources, layout, n)
    of_baluns = drawn.of.get(("balance", "balance"))
    total, count = np.zeros_like(s), np.zeros((n, n))
    for hookup in range(layout.n_hookups):
        on = np.flatnonzero(layout.attached[hookup])
        block = _terminated(s, on, drawn)
        if of_baluns is not None:
            here = of_baluns[:, :, layout.analyzer[hookup, on]]
            block = _through_baluns(block, tuple(ports[k] for k in on), here, balance)
        contacts = _contacts(drawn, layout, hookup, on, n_freq, ports, couples)
        block = _series(block, contacts)
        block = _seen(block, drawn, layout, hookup, on)
        block = _noisy(
            rng, block, port_relations(ports)[np.ix_(on, on)], [one for one in additive if one.fresh]
        )
        total[:, on[:, None], on] += block
        count[on[:, None], on] += 1.0
    mean = total / count
    return _noisy(rng, mean, port_relations(ports), [one for one in additive if not one.fresh])


def _mode_places(ports: tuple[str, ...]) -> list[tuple[int, int]]:
    """Return where d and c of each balanced port stand in a matrix of modes; -1 where c was not measured."""
    found = []
    for port in balanced_ports_among(ports):
        d, c = str(ModePort(port, "d")), str(ModePort(port, "c"))
        if d in ports:
            found.append((ports.index(d), ports.index(c) if c in ports else -1))
    return found


def _draw(rng: np.random.Generator, sources: Sequence[Source], layout: Layout, n_port: int) -> _Drawn:
    sizes = {
        "analyzer": layout.n_analyzer,
        "mating": layout.n_matings,
        "common": 1,
        "termination": n_port,
        "leg": 2 * layout.n_matings,
        "balance": layout.n_analyzer,
    }
    found: dict[tuple[str, str], Complex] = {}
    for source in sources:
        z = rng.standard_normal((source.directions.shape[0], sizes[source.space]))
        deviation = np.einsum("vf,vk->fk", source.directions, z)
        # A contact and a cable are kept as what they are; the others as residual terms.
        as_it_is = source.what in ("contact", "cable", "termination", "leg")
        base = np.ones((1, 1)) if as_it_is else source.sensitivity
        key = (source.what, source.space)
        value = base[:, :, None] * deviation[:, None, :]
        found[key] = found[key] + value if key in found else value
    return _Drawn(found)


def _through_baluns(
    s: Complex,
    ports: tuple[str, ...],
    at_ports: Complex,
    balance: Mapping[str, tuple[Real, Real]],
) -> Complex:
    """Return ``leak + receiving S (I - back S)^-1 driving``: what baluns turn from one mode into the other.

    Parameters
    ----------
    at_ports
        ``(n_freq, 4, n_port)``: variables of the balun on which a port is, as in the space ``balance``: of
        the port for the differential mode, of the tap, of what comes back, of the leak.
    """
    n_freq, n = s.shape[:2]
    receiving = np.tile(np.eye(n, dtype=np.complex128), (n_freq, 1, 1))
    driving = receiving.copy()
    back, leak = np.zeros((2, n_freq, n, n), dtype=np.complex128)
    for d, c in _mode_places(ports):
        label = ports[d].partition("/")[0]
        if c < 0 or label not in balance:
            continue
        osb, cmr = balance[label]
        at_d, at_tap, turned, leaks = at_ports[:, :, d].T
        receiving[:, d, c], driving[:, c, d] = at_d * cmr, at_d * osb
        receiving[:, c, d], driving[:, d, c] = at_tap * osb, at_tap * osb
        back[:, d, c] = back[:, c, d] = turned * osb
        leak[:, d, c] = leak[:, c, d] = leaks * osb
    inner = np.linalg.solve(np.eye(n) - s @ back, s)
    return np.asarray(leak + receiving @ inner @ driving)


def _terminated(s: Complex, on: Index, drawn: _Drawn) -> Complex:
    """Return the block of the attached ports; the others end in what their terminations deviate by."""
    block = s[:, on[:, None], on]
    off = np.setdiff1d(np.arange(s.shape[1]), on)
    gamma = drawn.of.get(("termination", "termination"))
    if gamma is None or off.size == 0:
        return block
    g = gamma[:, 0, off]
    inner = np.eye(off.size) - s[:, off[:, None], off] * g[:, None, :]
    back = np.linalg.solve(inner, s[:, off[:, None], on])
    return np.asarray(block + (s[:, on[:, None], off] * g[:, None, :]) @ back)


def _contacts(
    drawn: _Drawn,
    layout: Layout,
    hookup: int,
    on: Index,
    n_freq: int,
    ports: tuple[str, ...],
    couples: Sequence[tuple[int, int]],
) -> Complex:
    """Return ``(n_freq, n_on, n_on)``: series impedances over 100 ohm, at legs or at modes."""
    found = np.zeros((n_freq, on.size, on.size), dtype=np.complex128)
    at = np.arange(on.size)
    found[:, at, at] = drawn.at("contact", 0, hookup, layout, on, n_freq)
    legs = drawn.of.get(("leg", "leg"))
    if legs is None:
        return found
    where = {int(port): place for place, port in enumerate(on)}
    for d, c in couples:
        if d not in where:
            continue
        mating = layout.mating[hookup, d]
        plus, minus = legs[:, 0, mating], legs[:, 0, mating + layout.n_matings]
        found[:, where[d], where[d]] += 0.5 * (plus + minus)
        if c in where:
            found[:, where[c], where[c]] += 0.5 * (plus + minus)
            found[:, where[d], where[c]] += 0.5 * (plus - minus)
            found[:, where[c], where[d]] += 0.5 * (plus - minus)
    return found


def _series(s: Complex, d: Complex) -> Complex:
    """Return `s` behind series impedances z, ``I - (I - S)(I + d (I - S))^-1`` with d = z / 100 ohm."""
    unit = np.eye(s.shape[1])
    left = unit - s
    return np.asarray(unit - left @ np.linalg.inv(unit + d @ left))


def _seen(s: Complex, drawn: _Drawn, layout: Layout, hookup: int, on: Index) -> Complex:
    """Return `s` as seen through residual error boxes and cables that changed.

    With the source at port j, ``b = S (e_j + G b)``, G the source match at j and the load match
    elsewhere; the change at j alone follows from the solution for all load matches (Sherman and Morrison).
    """
    n_freq = s.shape[0]
    directivity, reflection, source, load, transmission = (
        drawn.at("terms", base, hookup, layout, on, n_freq)
        if any(what == "terms" for what, _ in drawn.of)
        else np.zeros((n_freq, on.size), dtype=np.complex128)
        for base in range(5)
    )
    at = np.arange(on.size)
    x = np.linalg.solve(np.eye(on.size) - s * load[:, None, :], s)
    waves = x / (1.0 - (source - load) * x[:, at, at])[:, None, :]
    way = np.exp(drawn.at("cable", 0, hookup, layout, on, n_freq))
    tracking = (1.0 + transmission[:, :, None]) * (1.0 + transmission[:, None, :])
    tracking[:, at, at] = 1.0 + reflection
    seen = waves * tracking
    seen[:, at, at] += directivity
    return np.asarray(seen * way[:, :, None] * way[:, None, :])


def _noisy(rng: np.random.Generator, s: Complex, relation: Index, additive: Sequence[Additive]) -> Complex:
    for one in additive:
        if one.parameters:
            continue
        draws = rng.standard_normal((2, *s.shape)) * _ROOT_HALF
        level = one.level_of_ports[relation].transpose(2, 0, 1)
        if one.carried:
            level = np.sqrt(carried_power(s, level))
        wave = (draws[0] + 1j * draws[1]) * level
        if not one.fresh:
            lower = np.tri(s.shape[1], k=-1, dtype=bool)
            wave = np.where(lower, wave.swapaxes(1, 2), wave)
        if one.off_diagonal:
            wave[:, np.arange(s.shape[1]), np.arange(s.shape[1])] = 0.0
        s = s + wave * s if one.relative else s + wave
    return s
