"""Whether hookups of a bundle saw the cables that they should have seen, by what the pairs reflect.

What a pair reflects over the sweep is like a fingerprint, as every cable has a structure of its own, and it
is seen again in each hookup that attaches the pair. So three mistakes show: nothing attached at all; another
cable or the other end than in an earlier hookup; a cable that an earlier hookup had under another name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep import fixture, mixedmode
from benchsweep.errors import AcquisitionError
from benchsweep.qualification._bundle import corrected, termination_doubt
from benchsweep.records import BalancedPort, Calibration, ModePort, RawHookup, balanced_ports_among

__all__ = ["CableCheck"]

# Own choices. Distances are the rms of the difference over the rms of what is reflected, all pairs of an end
# together. On the simulated bench one cable seen twice differs by 0.07 at most, a cord by 0.11 where its far
# end is once on the analyzer and once on terminations; cords of one construction differ by 0.26 or more,
# links by 0.5, bare cables by 1.3.
_ANOTHER = 0.25
_THE_SAME = 0.1
# Where less than this is reflected (-45 dB), cables differ less than a connection does from time to time.
_LEAST = 10.0 ** (-45.0 / 20.0)
# Nothing attached reflects everything; from an open at the far end of a cord less comes back at the top.
_NOTHING = 0.95

Reflections = Mapping[BalancedPort, NDArray[np.complex128]]


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """What a port reflected in an earlier hookup."""

    hookup: int
    beside: bool
    value: NDArray[np.complex128]


class CableCheck:
    """Looks at every hookup of a bundle as soon as it is swept; give it to `run_job` as ``review``.

    Parameters
    ----------
    solved, definition
        Calibration and fixture.
    """

    def __init__(self, solved: Calibration, definition: fixture.Fixture) -> None:
        self._solved, self._definition = solved, definition
        self._seen: dict[tuple[int, str], Reflections] = {}
        # What was found right, in order, and what it told: it is not compared again.
        self._right: list[tuple[int, str]] = []
        self._known: dict[BalancedPort, _Known] = {}

    def __call__(self, hookups: Sequence[RawHookup]) -> None:
        """Compare each of the hookups with those before it.

        Raises
        ------
        AcquisitionError
            One saw nothing, or another cable than it should; the message names the cable and the end.
        CalibrationMismatch, FixtureError
        """
        if [_key(raw) for raw in hookups[: len(self._right)]] != self._right:
            self._right, self._known = [], {}  # one was made again
        for raw in hookups[len(self._right) :]:
            self._compare(raw)
            self._right.append(_key(raw))

    def _compare(self, raw: RawHookup) -> None:
        number, beside = raw.hookup.number, fixture.is_coupling(raw.hookup)
        found = self._reflections(raw)
        for cable, end in dict.fromkeys((port.cable, port.end) for port in found):
            here = {port: value for port, value in found.items() if (port.cable, port.end) == (cable, end)}
            if beside:
                _refuse_nothing(number, here)
                _refuse_another(number, here, self._known)
                _refuse_known(number, here, self._known)
        if not beside and termination_doubt(self._definition, raw.sweep.frequency_hz):
            return  # with its far end on such terminations the disturbed cable reflects otherwise
        for port, value in found.items():
            # Of the disturbed cable rather what it reflects while its other end is on terminations.
            if port not in self._known or (beside and not self._known[port].beside):
                self._known[port] = _Known(number, beside, value)

    def _reflections(self, raw: RawHookup) -> Reflections:
        """Return the differential reflection of every pair that is attached."""
        key = _key(raw)
        if key not in self._seen:
            part = raw.hookup, corrected(raw, self._solved, self._definition)
            grid = raw.sweep.frequency_hz
            if fixture.is_coupling(raw.hookup):
                (matrix,) = fixture.couplings([part], grid)
            else:
                matrix = fixture.assemble([part], grid, self._definition).matrix
            mixed = mixedmode.to_mixed_mode(matrix)
            self._seen[key] = {
                port: mixed.at(out=ModePort(port, "d"), into=ModePort(port, "d"))
                for port in balanced_ports_among(mixed.ports)
                if mixed.has(ModePort(port, "d"))
            }
        return self._seen[key]


def _key(raw: RawHookup) -> tuple[int, str]:
    return raw.hookup.number, raw.sweep.taken_at


def _refuse_nothing(number: int, here: Reflections) -> None:
    """Refuse a disturbing cable that reflects everything; what is wrong with the specimen is graded."""
    if not next(iter(here)).cable:
        return
    upper = np.array([np.abs(value[value.size // 2 :]) for value in here.values()])
    if np.median(upper) > _NOTHING:
        raise AcquisitionError(
            f"hookup {number}: nothing seems to be attached at {_place(here)}: everything comes back from "
            f"{', '.join(map(str, here))}",
            hint="Attach the cable, or give with --disturbing how many disturbing cables there are.",
        )


def _refuse_another(number: int, here: Reflections, known: Mapping[BalancedPort, _Known]) -> None:
    """Refuse what reflects otherwise than under the same name in an earlier hookup."""
    by_hookup: dict[int, list[BalancedPort]] = {}
    for port in here:
        if port in known:
            by_hookup.setdefault(known[port].hookup, []).append(port)
    for earlier, ports in by_hookup.items():
        apart, reflected = _apart([here[port] for port in ports], [known[port].value for port in ports])
        if apart > max(_ANOTHER * reflected, _LEAST):
            raise AcquisitionError(
                f"hookup {number}: what is attached at {_place(here)} is not what hookup {earlier} had "
                f"there: what the pairs reflect ({_db(reflected)}) differs by {_db(apart)}",
                hint=_hint(here, earlier),
            )


def _refuse_known(number: int, here: Reflections, known: Mapping[BalancedPort, _Known]) -> None:
    """Refuse what reflects the same as another cable, or another end, of an earlier hookup."""
    first = next(iter(here))
    for cable, end in dict.fromkeys((port.cable, port.end) for port in known):
        others = {port: BalancedPort(end, port.pair, cable) for port in here}
        if (cable, end) == (first.cable, first.end) or not all(other in known for other in others.values()):
            continue
        apart, reflected = _apart(list(here.values()), [known[other].value for other in others.values()])
        if reflected > _LEAST and apart < _THE_SAME * reflected:
            one = next(iter(others.values()))
            raise AcquisitionError(
                f"hookup {number}: what is attached at {_place(here)} is {_place([one])}: the pairs reflect "
                f"the same as there in hookup {known[one].hookup}",
                hint=_hint(here, known[one].hookup),
            )


def _apart(
    these: Sequence[NDArray[np.complex128]], those: Sequence[NDArray[np.complex128]]
) -> tuple[float, float]:
    """Return the rms of the difference, and the rms of what is reflected, the larger of both."""
    one, other = np.concatenate(these), np.concatenate(those)
    reflected = max(_rms(one), _rms(other), 1e-12)
    return _rms(one - other), reflected


def _rms(values: NDArray[np.complex128]) -> float:
    return float(np.sqrt(np.mean(values.real**2 + values.imag**2)))


def _place(ports: Mapping[BalancedPort, object] | Sequence[BalancedPort]) -> str:
    port = next(iter(ports))
    return f"end {port.end} of {f'disturbing cable {port.cable}' if port.cable else 'the disturbed cable'}"


def _hint(here: Reflections, earlier: int) -> str:
    return (
        f"Attach {_place(here)} and make the hookup again. If hookup {earlier} was the wrong one, answer "
        f"`back {earlier}` when the next hookup is asked for."
    )


def _db(rms: float) -> str:
    return f"{20.0 * np.log10(max(rms, 1e-12)):.0f} dB"
