"""Which conductor of end A leads to which of end B, from the single-ended matrix at its lowest frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from benchsweep.cabling._words import contact_words, describe_map, listed, pairs_of, unclear
from benchsweep.records import CONTACTS_OF_PAIR, BalancedPort, End, Leg, SMatrix, WiringFinding

__all__ = ["ConductorMap", "map_conductors", "measured_contacts"]

# At 1 MHz after 100 m a conductor of a healthy pair keeps about 0.76 of the wave, its neighbour gets 0.18.
CONNECTED, OPEN, CLEARANCE = 0.5, 0.1, 2.0
# Two shorted conductors share the wave: all four elements between them are about alike, 0.3 to 0.5.
_SHORT_LEAST, _SHORT_ALIKE = 0.2, 0.5
# Settles which of two equal assignments is taken where a short makes them equal.
_STRAIGHT_BONUS = 0.02
_TYPICAL_S_PER_M = 5.1e-9
_REFLECTION_STEPS = 10
_NEAR_END = 0.25


@dataclass(slots=True)
class ConductorMap:
    """What the conductors do: contact of A -> contact of B for the connected ones, and findings."""

    leads_to: dict[int, int]
    findings: list[WiringFinding] = field(default_factory=list)


def _leg(end: End, contact: int) -> Leg:
    pair = next(pair for pair, contacts in CONTACTS_OF_PAIR.items() if contact in contacts)
    return Leg(BalancedPort(end, pair), contact)


def measured_contacts(single_ended: SMatrix, end: End) -> tuple[int, ...]:
    """Return the contacts of `end` that are ports of the matrix, rising."""
    return tuple(contact for contact in range(1, 9) if single_ended.has(_leg(end, contact)))


def map_conductors(single_ended: SMatrix, length_m: float | None) -> ConductorMap:
    """Map the conductors by the best assignment on |S| from end A to end B at the lowest frequency.

    The caller makes sure that this frequency is low enough for the length. `length_m` serves to tell at
    which end a fault is.
    """
    near = measured_contacts(single_ended, "A")
    far = measured_contacts(single_ended, "B")
    size = np.array(
        [[abs(single_ended.at(out=_leg("B", j), into=_leg("A", i))[0]) for i in near] for j in far]
    )
    assigned = _assign(size, near, far)
    shorted = _shorts(size, near, far, assigned)
    dead = {i for i in near if _element(size, near, far, i, assigned) < OPEN}
    dead -= set().union(*shorted)
    result = ConductorMap({})
    opened: list[int] = []
    for i in near:
        if any(i in group for group in shorted):
            continue
        if i in dead:
            opened.append(i)
        elif _clear(size, near, far, i, assigned, dead):
            result.leads_to[i] = assigned[i]
        else:
            strongest = _element(size, near, far, i, assigned)
            result.findings.append(
                unclear(
                    f"{contact_words(i)} reaches contact {assigned[i]} of end B with only "
                    f"{strongest:.2f} of the wave, or others nearly as well: look for a poor contact",
                    (i,),
                )
            )
    result.findings[:0] = [
        *_open_findings(single_ended, opened, assigned, length_m, whole=len(near) == len(far) == 8),
        *(_short_finding(single_ended, group, length_m) for group in shorted),
        *describe_map(result.leads_to),
    ]
    return result


def _assign(size: NDArray[np.float64], near: tuple[int, ...], far: tuple[int, ...]) -> dict[int, int]:
    straight = np.array([[i == j for i in near] for j in far], dtype=np.float64)
    rows, columns = linear_sum_assignment(size + _STRAIGHT_BONUS * straight, maximize=True)
    return {near[column]: far[row] for row, column in zip(rows, columns, strict=True)}


def _element(
    size: NDArray[np.float64], near: tuple[int, ...], far: tuple[int, ...], i: int, assigned: dict[int, int]
) -> float:
    return float(size[far.index(assigned[i]), near.index(i)]) if i in assigned else 0.0


def _clear(
    size: NDArray[np.float64],
    near: tuple[int, ...],
    far: tuple[int, ...],
    i: int,
    assigned: dict[int, int],
    dead: set[int],
) -> bool:
    value = _element(size, near, far, i, assigned)
    # The far part of an open conductor floats and picks up much of its neighbour: it is no rival.
    floating = {assigned[k] for k in dead if k in assigned}
    rivals = [
        float(size[row, near.index(i)]) for row, j in enumerate(far) if j != assigned[i] and j not in floating
    ]
    return value >= CONNECTED and value >= CLEARANCE * max(rivals, default=0.0)


def _shorts(
    size: NDArray[np.float64], near: tuple[int, ...], far: tuple[int, ...], assigned: dict[int, int]
) -> list[set[int]]:
    groups: list[set[int]] = []
    for i, k in combinations((contact for contact in near if contact in assigned), 2):
        rows = [far.index(assigned[i]), far.index(assigned[k])]
        block = size[np.ix_(rows, [near.index(i), near.index(k)])]
        if block.min() >= _SHORT_LEAST and block.min() >= _SHORT_ALIKE * block.max():
            joined = {i, k}.union(*(group for group in groups if group & {i, k}))
            groups = [group for group in groups if not group & {i, k}] + [joined]
    return groups


def _open_findings(
    single_ended: SMatrix,
    opened: list[int],
    assigned: dict[int, int],
    length_m: float | None,
    *,
    whole: bool,
) -> list[WiringFinding]:
    if not opened:
        return []
    if not whole:
        named = listed(contact_words(i) for i in opened)
        return [
            unclear(
                f"{named} of end A reaches none of the measured contacts of end B; not all were measured",
                opened,
            )
        ]
    if len(opened) == 8:
        words = "open: no contact of end A reaches end B; is the specimen connected at both ends?"
        return [WiringFinding("open", tuple(opened), pairs_of(opened), None, words)]
    findings = []
    for i in opened:
        at_a = single_ended.at(out=_leg("A", i), into=_leg("A", i))
        j = assigned.get(i, i)
        at_b = single_ended.at(out=_leg("B", j), into=_leg("B", j))
        end = _end_of_fault(single_ended.frequency_hz, at_a, at_b, length_m)
        words = f"open: the conductor on {contact_words(i)} does not reach the other end"
        words += f"; look at the plug of end {end}" if end else "; it is broken or not contacted"
        findings.append(WiringFinding("open", (i,), pairs_of((i,)), end, words))
    return findings


def _short_finding(single_ended: SMatrix, group: set[int], length_m: float | None) -> WiringFinding:
    contacts = tuple(sorted(group))
    at_a, at_b = (_between(single_ended, end, contacts[0], contacts[1]) for end in ("A", "B"))
    end = _end_of_fault(single_ended.frequency_hz, at_a, at_b, length_m)
    words = f"short between {listed(contact_words(i) for i in contacts)}"
    words += f"; look at the plug of end {end}" if end else "; the place cannot be told from this"
    return WiringFinding("short", contacts, pairs_of(contacts), end, words)


def _between(single_ended: SMatrix, end: End, i: int, k: int) -> NDArray[np.complex128]:
    """Return the reflection of the difference wave between two contacts of one end."""
    p, q = _leg(end, i), _leg(end, k)
    own = single_ended.at(out=p, into=p) + single_ended.at(out=q, into=q)
    mutual = single_ended.at(out=p, into=q) + single_ended.at(out=q, into=p)
    return np.asarray(0.5 * (own - mutual))


def _end_of_fault(
    frequency_hz: NDArray[np.float64],
    at_a: NDArray[np.complex128],
    at_b: NDArray[np.complex128],
    length_m: float | None,
) -> End | None:
    """Return the end close to a total reflection, told from how soon it comes back at either end.

    None in the middle, and where the frequency step is too coarse for the length or no length is known.
    """
    steps = np.diff(frequency_hz)
    if length_m is None or steps.size < _REFLECTION_STEPS:
        return None
    turn_s = 1.0 / float(steps[:_REFLECTION_STEPS].max())
    if 2.0 * _TYPICAL_S_PER_M * length_m > 0.8 * turn_s:
        return None
    back_a, back_b = (_back_after(frequency_hz, s, turn_s) for s in (at_a, at_b))
    if back_a + back_b <= 0.0:
        return None
    part = back_a / (back_a + back_b)
    return "A" if part < _NEAR_END else "B" if part > 1.0 - _NEAR_END else None


def _back_after(frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], turn_s: float) -> float:
    angle = float(np.angle(np.sum(s[1 : _REFLECTION_STEPS + 1] * np.conj(s[:_REFLECTION_STEPS]))))
    step_hz = float(np.mean(np.diff(frequency_hz[: _REFLECTION_STEPS + 1])))
    delay_s = -angle / (2.0 * math.pi * step_hz)
    # A reflection cannot come early; a large negative value is a late one that turned over.
    return delay_s + turn_s if delay_s < -0.1 * turn_s else max(delay_s, 0.0)
