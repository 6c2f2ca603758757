"""What changes by itself on the bench: temperature, slow wandering of the terms, and each re-connection.

Everything is a function of the seed and of the bench's own clock or of how often a port has been
re-connected, so that a run can be repeated. The bench's clock is the time that sweeps and re-connections
would have taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._definition import Drift
from benchsweep.simulator.bench._error_terms import ErrorBoxes, with_series_contacts

__all__ = ["Flex", "Moment", "Wandering", "receiver_change", "with_drift"]

_NODE_S = 30.0
_HOUR_S = 3600.0
_DRAWN_AT_ONCE = 4096
_MOST_FLEXES = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """The state of the drift at one time.

    Parameters
    ----------
    kelvin
        Temperature over that of the error terms.
    walks
        ``(2, ports)``: what has come to directivity and source match.
    """

    kelvin: float
    walks: NDArray[np.complex128]


class Wandering:
    """Temperature and slow random walks over the bench's time, which runs forwards only.

    Two nodes are kept, those before and behind the present time.

    Parameters
    ----------
    drift
        Sizes.
    ports, seed
        Number of ports; seed of the draws.
    """

    def __init__(self, drift: Drift, ports: int, seed: int) -> None:
        self._drift = drift
        self._ports = ports
        self._rng = np.random.default_rng((seed, 3))
        self._node = 0
        first = drift.ambient_sigma_k * float(self._rng.standard_normal())
        self._ambient_k = (first, first)
        walk = np.zeros((2, ports), dtype=np.complex128)
        self._walks = (walk, walk)
        self._draw(1)

    def at(self, time_s: float) -> Moment:
        """Return the state at a time that is not before the last one asked for."""
        place = time_s / _NODE_S
        node = int(place)
        self._draw(node - self._node)
        self._node = max(node, self._node)
        part = place - self._node
        ambient = (1.0 - part) * self._ambient_k[0] + part * self._ambient_k[1]
        on_for = self._drift.on_since_s + time_s
        warm_up = self._drift.warm_up_k * math.exp(-on_for / self._drift.warm_up_time_s)
        return Moment(ambient + warm_up, (1.0 - part) * self._walks[0] + part * self._walks[1])

    def _draw(self, nodes: int) -> None:
        """Go on by `nodes`: an Ornstein-Uhlenbeck process sampled exactly, and random walks."""
        drift = self._drift
        kept = math.exp(-_NODE_S / drift.ambient_time_s)
        fresh = drift.ambient_sigma_k * math.sqrt(1.0 - kept**2)
        step = 10.0 ** (drift.reflection_walk_db_after_1_h / 20.0) * math.sqrt(_NODE_S / _HOUR_S / 2.0)
        while nodes > 0:
            some = min(nodes, _DRAWN_AT_ONCE)
            draws = self._rng.standard_normal((some, 1 + 4 * self._ports))
            for ambient in draws[:, 0].tolist():
                self._ambient_k = self._ambient_k[1], kept * self._ambient_k[1] + fresh * ambient
            parts = draws[:, 1:].reshape(some, 2, 2, self._ports)
            steps = step * (parts[:, 0] + 1j * parts[:, 1])
            before = self._walks[1] + steps[:-1].sum(axis=0)
            self._walks = before, before + steps[-1]
            nodes -= some


class Flex:
    """What each re-connection of each port has changed at random.

    Parameters
    ----------
    seed
        Of the draws.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._drawn: dict[tuple[int, int], NDArray[np.float64]] = {}

    def draws(self, matings: Sequence[int]) -> NDArray[np.float64]:
        """Return ``(ports, 4)`` normal numbers, those of how often each port has been re-connected."""
        if len(self._drawn) > _MOST_FLEXES:
            self._drawn.clear()
        return np.array([self._one(port, count) for port, count in enumerate(matings)])

    def _one(self, port: int, count: int) -> NDArray[np.float64]:
        key = port, count
        if key not in self._drawn:
            self._drawn[key] = np.random.default_rng((self._seed, 4, port, count)).standard_normal(4)
        return self._drawn[key]


def with_drift(
    boxes: ErrorBoxes,
    drift: Drift,
    frequency_hz: NDArray[np.float64],
    *,
    moment: Moment,
    flex: NDArray[np.float64],
    cable_delay_s: float,
) -> ErrorBoxes:
    """Return `boxes` as they are at one moment.

    Parameters
    ----------
    flex
        ``(ports, 4)``, what `Flex` has drawn.
    """
    delay_s = cable_delay_s * drift.delay_per_k * moment.kelvin + drift.flex_delay_s * flex[:, 0]
    # The stated gain is that of the way out and back; each way has half of it.
    gain_db = 0.5 * (drift.gain_db_per_k * moment.kelvin + drift.flex_gain_db * flex[:, 1])
    omega = 2.0 * np.pi * frequency_hz[:, None]
    change = 10.0 ** (gain_db / 20.0) * np.exp(-1j * omega * delay_s)
    moved = replace(
        boxes,
        directivity=boxes.directivity + moment.walks[0],
        source_match=boxes.source_match + moment.walks[1],
        source_path=boxes.source_path * change,
        receiver_path=boxes.receiver_path * change,
    )
    contact = drift.contact_resistance_ohm * flex[:, 2] + 1j * omega * drift.contact_inductance_h * flex[:, 3]
    return with_series_contacts(moved, contact, 50.0)


def receiver_change(
    frequency_hz: NDArray[np.float64], gain_db: float, delay_s: float
) -> NDArray[np.complex128]:
    """Return the factor ``(n_freq,)`` by which a gain and a delay of the receivers change every reading."""
    gain = 10.0 ** (gain_db / 20.0)
    return np.asarray(gain * np.exp(-2j * np.pi * frequency_hz * delay_s), dtype=np.complex128)
