"""The error box of a port, moved and joined."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._readings import Pair
from benchsweep.records import ErrorTerms

__all__ = ["Box", "join", "moved_out", "renormalised"]

Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """Error box between receivers and reference plane of a port; every field ``(n_freq,)``.

    Parameters
    ----------
    directivity, source_match, reflection_tracking
        The three terms of the port.
    switch
        Reflection behind the box, at the receivers, while another port drives.
    k
        One over the path from source to reference plane, up to a factor that all joined ports share.
    """

    directivity: Complex
    source_match: Complex
    reflection_tracking: Complex
    switch: Complex
    k: Complex


def moved_out(box: Box, round_trip: Complex) -> Box:
    """Return `box` with its plane moved towards the receivers along a matched line.

    All ports must be moved alike, for the common factor of `k`.

    Parameters
    ----------
    box
        As solved.
    round_trip
        Transmission of the line there and back.
    """
    return Box(
        box.directivity,
        box.source_match / round_trip,
        box.reflection_tracking / round_trip,
        box.switch,
        box.k,
    )


def renormalised(box: Box, step: Complex) -> Box:
    """Return `box` followed by a step of reference impedance.

    Parameters
    ----------
    box
        Referred to Z.
    step
        ``(50 - Z) / (50 + Z)``, what 50 ohm reflects at Z. Waves are pseudo-waves (Marks and Williams, J.
        Res. NIST 97, 1992), so complex Z is allowed.
    """
    loop = 1.0 - box.source_match * step
    return Box(
        box.directivity + box.reflection_tracking * step / loop,
        -step + (1.0 - step**2) * box.source_match / loop,
        box.reflection_tracking * (1.0 - step**2) / loop**2,
        box.switch,
        box.k * loop,
    )


def join(
    frequency_hz: NDArray[np.float64],
    ports: tuple[int, ...],
    solved: Mapping[Pair, tuple[Box, Box]],
    *,
    average: bool,
) -> ErrorTerms:
    """Join solved pairs to the model of all ports.

    The pairs must connect all ports. Paths are carried along the pairs from the lowest port on; a pair that
    closes a ring is redundant and only adds to the terms of its ports.

    A receiving port is terminated by its switch term behind its error box. The path into port s is ``1/k_s``,
    that out of port j ``k_j`` times its reflection tracking (a common factor drops out), divided by what the
    switch term sends round again (Marks, 50th ARFTG 1997).

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    ports
        Rising.
    solved
        Boxes of both ports of a pair.
    average
        A port in several pairs gets the mean of their terms; else its last pair tells, as in scikit-rf's
        multiport calibration.
    """
    found: dict[int, list[Box]] = {port: [] for port in ports}
    for pair, boxes in solved.items():
        for port, box in zip(pair, boxes, strict=True):
            found[port].append(box)

    def column(name: str) -> Complex:
        chosen = [found[port] if average else found[port][-1:] for port in ports]
        means = [np.mean([getattr(box, name) for box in boxes], axis=0) for boxes in chosen]
        return np.stack(means, axis=1)

    directivity, source_match = column("directivity"), column("source_match")
    reflection_tracking, switch = column("reflection_tracking"), column("switch")
    round_trip = 1.0 - directivity * switch
    paths = _paths(ports, solved)
    k = np.stack([paths[port] for port in ports], axis=1)
    out_of = k * reflection_tracking / round_trip
    tracking = out_of[:, :, np.newaxis] / k[:, np.newaxis, :]
    diagonal = np.arange(len(ports))
    tracking[:, diagonal, diagonal] = 1.0
    return ErrorTerms(
        frequency_hz=frequency_hz,
        analyzer_ports=ports,
        directivity=directivity,
        source_match=source_match,
        load_match=source_match + reflection_tracking * switch / round_trip,
        reflection_tracking=reflection_tracking,
        transmission_tracking=tracking,
    )


def _paths(ports: tuple[int, ...], solved: Mapping[Pair, tuple[Box, Box]]) -> dict[int, Complex]:
    (first, _), *_ = solved.values()
    paths = {ports[0]: np.ones_like(first.k)}
    while len(paths) < len(ports):
        before = len(paths)
        for (low, high), (one, two) in solved.items():
            if low in paths and high not in paths:
                paths[high] = paths[low] * two.k / one.k
            elif high in paths and low not in paths:
                paths[low] = paths[high] * one.k / two.k
        if len(paths) == before:  # the caller has checked that all are connected
            raise ValueError("the pairs do not connect all ports")
    return paths
