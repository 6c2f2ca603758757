"""What changes by itself on the bench: temperature, slow wandering of the terms, and each re-connection.

Everything is a function of the seed and of the bench's own clock or of how often a port has been
re-connected, so that a run can be repeated. The bench's clock is the time that sweeps and re-connections
would have taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator._bench_definition import Drift
from benchsweep.simulator._error_terms import ErrorBoxes, with_series_contacts

__all__ = ["Wandering", "with_drift"]

_NODE_S = 30.0
_HOUR_S = 3600.0


class Wandering:
    """Temperature and slow random walks over the bench's time, drawn as far as somebody asked.

    Parameters
    ----------
    drift
        Sizes.
    ports, seed
        Number of ports; seed of the draws.
    """

    def __init__(self, drift: Drift, ports: int, seed: int) -> None:
        self._drift = drift
        self._rng = np.random.default_rng((seed, 3))
        self._ambient_k = [drift.ambient_sigma_k * float(self._rng.standard_normal())]
        self._walk = [np.zeros((2, ports), dtype=np.complex128)]

    def at(self, time_s: float) -> tuple[float, NDArray[np.complex128]]:
        """Return the temperature offset in K and the walks ``(2, ports)`` of directivity and source match."""
        place = time_s / _NODE_S
        node = int(place)
        self._extend(node + 2)
        part = place - node
        ambient = (1.0 - part) * self._ambient_k[node] + part * self._ambient_k[node + 1]
        on_for = self._drift.on_since_s + time_s
        warm_up = self._drift.warm_up_k * math.exp(-on_for / self._drift.warm_up_time_s)
        walk = (1.0 - part) * self._walk[node] + part * self._walk[node + 1]
        return ambient + warm_up, walk

    def _extend(self, nodes: int) -> None:
        """Draw on: an Ornstein-Uhlenbeck process sampled exactly, and random walks."""
        drift = self._drift
        kept = math.exp(-_NODE_S / drift.ambient_time_s)
        fresh = drift.ambient_sigma_k * math.sqrt(1.0 - kept**2)
        step = 10.0 ** (drift.reflection_walk_db_after_1_h / 20.0) * math.sqrt(_NODE_S / _HOUR_S / 2.0)
        while len(self._ambient_k) < nodes:
            self._ambient_k.append(kept * self._ambient_k[-1] + fresh * float(self._rng.standard_normal()))
            draws = self._rng.standard_normal((2, *self._walk[-1].shape))
            self._walk.append(self._walk[-1] + step * (draws[0] + 1j * draws[1]))


def with_drift(
    boxes: ErrorBoxes,
    drift: Drift,
    frequency_hz: NDArray[np.float64],
    *,
    state: tuple[float, NDArray[np.complex128]],
    matings: Sequence[int],
    cable_delay_s: float,
    seed: int,
) -> ErrorBoxes:
    """Return `boxes` as they are at one moment.

    Parameters
    ----------
    state
        What `Wandering.at` says of that moment.
    matings
        How often each port has been re-connected so far.
    """
    kelvin, walk = state
    draws = np.array(
        [
            np.random.default_rng((seed, 4, port, count)).standard_normal(4)
            for port, count in enumerate(matings)
        ]
    )
    delay_s = cable_delay_s * drift.delay_per_k * kelvin + drift.flex_delay_s * draws[:, 0]
    # The stated gain is that of the way out and back; each way has half of it.
    gain_db = 0.5 * (drift.gain_db_per_k * kelvin + drift.flex_gain_db * draws[:, 1])
    omega = 2.0 * np.pi * frequency_hz[:, None]
    change = 10.0 ** (gain_db / 20.0) * np.exp(-1j * omega * delay_s)
    moved = replace(
        boxes,
        directivity=boxes.directivity + walk[0],
        source_match=boxes.source_match + walk[1],
        source_path=boxes.source_path * change,
        receiver_path=boxes.receiver_path * change,
    )
    contact = (
        drift.contact_resistance_ohm * draws[:, 2] + 1j * omega * drift.contact_inductance_h * draws[:, 3]
    )
    return with_series_contacts(moved, contact, 50.0)
