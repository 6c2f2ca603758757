from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling._wiring import check_wiring
from benchsweep.cabling.distance import COMMON_VELOCITY, electrical_length
from benchsweep.cabling.faults._along import Along, look_along
from benchsweep.cabling.faults._plugs import find_plug_faults
from benchsweep.cabling.faults._series import find_series_resistance
from benchsweep.cabling.faults._stretches import find_kinks, find_stretches
from benchsweep.cabling.faults._wires import NO_PLACE, wiring_faults
from benchsweep.records import FOUR_PAIRS, BalancedPort, Fault, SMatrix, WiringReport

__all__ = ["locate_faults"]

_GRAVE = ("open", "short", "crossed", "miswired", "split", "unclear")


def locate_faults(
    corrected: SMatrix,
    mixed: SMatrix,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    wiring: WiringReport | None = None,
    places: bool = True,
) -> tuple[Fault, ...]:
    """Name what is wrong with a specimen and say where.

    Parameters
    ----------
    corrected
        Matrix at the legs, or of the modes behind baluns.
    mixed
        The same in mixed mode.
    length_m
        Length of the specimen; without it, from the delay and the velocity.
    velocity
        Velocity over that of light, for all pairs or pair by pair: distances are then what it makes of the
        delays, and the length too. None: from delay and length.
    wiring
        The wiring check of `corrected`, if it was made already.
    places
        False where no length can be trusted: only the faults of wiring are told, without distances.

    Returns
    -------
    The faults, those of wiring first; nothing for a good specimen. A specimen measured at one end only shows
    nothing but what the wiring check says.

    Raises
    ------
    UsageError
        A velocity that is none.

    Notes
    -----
    A sweep that must not be turned into time (`why_no_time_domain`) still shows the wiring, bad contacts
    (from the lowest frequencies, with their places) and split pairs, but neither the place of an open or
    short, nor crushed, wet or kinked stretches, nor whether crosstalk comes from a plug.
    """
    losses = ModeLosses(mixed)
    # A given velocity makes the distances, whatever the length is said to be.
    measured = _electrical(losses, velocity) if velocity is not None or length_m is None else None
    known = length_m if measured is None else measured
    single = _legs(corrected, mixed)
    if wiring is None or (single is not None and single is not corrected):
        # Both modes of all pairs are as good as the conductors themselves.
        wiring = check_wiring(corrected if single is None else single, mixed, length_m=length_m or known)
    looked = "no length" if known is None or not places else look_along(losses, known, velocity)
    along = looked if isinstance(looked, Along) else None
    found = wiring_faults(losses, wiring, along, known, single)
    if not places:
        # No sweep is to blame for the place that was not looked for.
        return tuple(
            replace(fault, evidence=tuple(told for told in fault.evidence if told != NO_PLACE))
            for fault in found
        )
    if known is None or not all(losses.pairs(end) for end in ENDS):
        return tuple(found)
    bad = frozenset(pair for fault in found if fault.kind in _GRAVE for pair in fault.pairs)
    modes = any("/" in label for label in corrected.ports)
    contacts = find_series_resistance(losses, known, leave_out=bad, behind_baluns=modes)
    if along is not None:
        plugs = find_plug_faults(along, leave_out=bad)
        busy = {fault.end for fault in plugs if fault.end is not None}
        spoilt = bad.union(*(fault.pairs for fault in contacts))
        stretches = find_stretches(along, leave_out=bad, busy=busy)
        found += [*contacts, *plugs, *stretches]
        found += find_kinks(along, [*plugs, *stretches], leave_out=spoilt)
    else:
        found += contacts
    return tuple(found)


def _electrical(losses: ModeLosses, velocity: Mapping[str, float] | float | None) -> float | None:
    if isinstance(velocity, Mapping):
        velocity = float(np.mean(list(velocity.values()))) if velocity else None
    return electrical_length(losses, COMMON_VELOCITY if velocity is None else velocity)


def _legs(corrected: SMatrix, mixed: SMatrix) -> SMatrix | None:
    """Return the matrix at the legs: `corrected`, or made of both modes of all pairs; None without them.

    The inverse of the orthogonal transform of Bockelman and Eisenstadt (1995), at 100 and 25 ohm.
    """
    if not any("/" in label for label in corrected.ports):
        return corrected
    ports = [BalancedPort(end, pair) for end in ENDS for pair in FOUR_PAIRS]
    wanted = [f"{port}/{mode}" for mode in ("d", "c") for port in ports]
    if not all(label in mixed.ports for label in wanted):
        return None
    at = [mixed.ports.index(label) for label in wanted]
    if any(
        mixed.z0_ohm[k] != (100.0 if label.endswith("/d") else 25.0)
        for k, label in zip(at, wanted, strict=True)
    ):
        return None
    n = len(ports)
    transform = np.zeros((2 * n, 2 * n))
    labels: list[str] = []
    for row, port in enumerate(ports):
        for column, leg in enumerate(port.legs):
            transform[row, 2 * row + column] = 1.0 - 2.0 * column
            transform[n + row, 2 * row + column] = 1.0
            labels.append(str(leg))
    transform /= np.sqrt(2.0)
    s = transform.T @ mixed.s[:, at][:, :, at] @ transform
    return SMatrix(mixed.frequency_hz, s, tuple(labels), (50.0,) * (2 * n))
