"""Which conductor of end A leads to which of end B, from the single-ended matrix at its lowest frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ENDS
from benchsweep.cabling._words import PAIR_OF_CONTACT, contact_words, listed, pairs_of, unclear
from benchsweep.records import CONTACTS_OF_PAIR, BalancedPort, End, Leg, SMatrix, WiringFinding

__all__ = ["ConductorMap", "map_conductors", "measured_contacts"]

# At 1 MHz after 100 m a conductor of a healthy pair keeps about 0.76 of the wave, its neighbour gets 0.18.
_CONNECTED, _OPEN, _CLEARANCE = 0.5, 0.1, 2.0
# Two shorted conductors share the wave: all four elements between them are about alike, 0.3 to 0.5, and alike
# in phase, so that no wave between them is left; with a poor common mode they are alike in size only.
_SHORT_LEAST, _SHORT_ALIKE, _SHORT_DIFFERENCE = 0.2, 0.5, 0.5
_TYPICAL_S_PER_M = 5.1e-9
_REFLECTION_STEPS = 10
_NEAR_END = 0.25


@dataclass(slots=True)
class ConductorMap:
    """What the conductors do.

    Parameters
    ----------
    leads_to
        Contact of A -> contact of B of the connected ones.
    faults
        Opens and shorts.
    doubtful
        Contact of A -> what to say of it when nothing else tells more.
    """

    leads_to: dict[int, int]
    faults: list[WiringFinding]
    doubtful: dict[int, WiringFinding]


def _leg(end: End, contact: int) -> Leg:
    return Leg(BalancedPort(end, PAIR_OF_CONTACT[contact]), contact)


_LABELS: dict[tuple[End, int], str] = {
    (end, contact): str(_leg(end, contact)) for end in ENDS for contact in range(1, 9)
}


def measured_contacts(single_ended: SMatrix, end: End) -> tuple[int, ...]:
    """Return the contacts of `end` that are ports of the matrix, rising."""
    return tuple(contact for contact in range(1, 9) if _LABELS[end, contact] in single_ended.ports)


def _assignment(size: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return which row goes with which column so that the sum of `size` is largest."""
    strongest = size.argmax(axis=0)
    if len(set(strongest.tolist())) == size.shape[1]:
        # No column wants the row of another: nothing can be larger than the sum of the largest.
        return [(int(row), column) for column, row in enumerate(strongest)]
    from scipy.optimize import linear_sum_assignment

    rows, columns = linear_sum_assignment(size, maximize=True)
    return [(int(row), int(column)) for row, column in zip(rows, columns, strict=True)]


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    """S and |S| by contact of end B and contact of end A, and the best assignment of A's contacts to B's."""

    near: tuple[int, ...]
    far: tuple[int, ...]
    wave: dict[tuple[int, int], complex]
    size: dict[tuple[int, int], float]
    assigned: dict[int, int]

    @classmethod
    def of(cls, single_ended: SMatrix) -> _Levels:
        near, far = measured_contacts(single_ended, "A"), measured_contacts(single_ended, "B")
        into = [single_ended.ports.index(_LABELS["A", i]) for i in near]
        out = [single_ended.ports.index(_LABELS["B", j]) for j in far]
        wave = single_ended.s[0][np.ix_(out, into)]
        size = np.abs(wave)
        keys = [(j, i) for j in far for i in near]
        return cls(
            near,
            far,
            dict(zip(keys, wave.ravel().tolist(), strict=True)),
            dict(zip(keys, size.ravel().tolist(), strict=True)),
            {near[column]: far[row] for row, column in _assignment(size)},
        )

    def own(self, i: int) -> float:
        """Return the level at the contact assigned to `i`."""
        return self.size[self.assigned[i], i] if i in self.assigned else 0.0

    def rival(self, i: int) -> float:
        """Return the largest level at any other contact."""
        return max((self.size[j, i] for j in self.far if j != self.assigned.get(i)), default=0.0)

    def dead(self, i: int) -> bool:
        """Tell whether the conductor is open: nothing much arrives, or less than its neighbour picks up."""
        return self.own(i) < _OPEN or (self.own(i) < 2.0 * _OPEN and self.own(i) < self.rival(i))

    def clear(self, i: int, dead: set[int]) -> bool:
        """Tell whether the conductor is connected, and to which contact without a doubt."""
        if (
            _mate(i) in dead
        ):  # what is wrong with the pair has been said; its common wave is out of balance too
            return self.own(i) >= _OPEN and self.own(i) > self.rival(i)
        return self.own(i) >= _CONNECTED and self.own(i) >= _CLEARANCE * self.rival(i)

    def shorted(self) -> list[set[int]]:
        """Return the groups of contacts that share their waves."""
        groups: list[set[int]] = []
        for i, k in combinations((contact for contact in self.near if contact in self.assigned), 2):
            to_i, to_k = self.assigned[i], self.assigned[k]
            keys = ((to_i, i), (to_i, k), (to_k, i), (to_k, k))
            levels = [self.size[key] for key in keys]
            least, most = min(levels), max(levels)
            straight, cross, back, other = (self.wave[key] for key in keys)
            between = abs(straight - cross - back + other) / 2.0
            if least >= max(_SHORT_LEAST, _SHORT_ALIKE * most) and between <= _SHORT_DIFFERENCE * most:
                joined = {i, k}.union(*(group for group in groups if group & {i, k}))
                groups = [group for group in groups if not group & {i, k}] + [joined]
        return groups


def _mate(contact: int) -> int:
    plus, minus = CONTACTS_OF_PAIR[PAIR_OF_CONTACT[contact]]
    return minus if contact == plus else plus


def map_conductors(single_ended: SMatrix, length_m: float | None) -> ConductorMap:
    """Map the conductors by the best assignment on |S| from end A to end B at the lowest frequency.

    The caller makes sure that this frequency is low enough for the length. `length_m` serves to tell at
    which end a fault is.
    """
    levels = _Levels.of(single_ended)
    groups = levels.shorted()
    shorted = set().union(*groups)
    dead = {i for i in levels.near if i not in shorted and levels.dead(i)}
    live = [i for i in levels.near if i not in shorted and i not in dead]
    leads_to = {i: levels.assigned[i] for i in live if levels.clear(i, dead)}
    whole = len(levels.near) == len(levels.far) == 8
    faults = [
        *_open_findings(single_ended, sorted(dead), levels.assigned, length_m, whole=whole),
        *(_short_finding(single_ended, group, length_m) for group in groups),
    ]
    return ConductorMap(leads_to, faults, {i: _poor_finding(levels, i) for i in live if i not in leads_to})


def _poor_finding(levels: _Levels, i: int) -> WiringFinding:
    words = (
        f"{contact_words(i)} reaches contact {levels.assigned[i]} of end B with {levels.own(i):.2f} of the "
        f"wave and another with {levels.rival(i):.2f}: look for a poor contact or a wrong connection"
    )
    return unclear(words, (i,))


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
    end: End | None = None
    if all(single_ended.has(_leg(there, i)) for there in ("A", "B") for i in contacts[:2]):
        at_a, at_b = (_between(single_ended, there, contacts[0], contacts[1]) for there in ("A", "B"))
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
