from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration.verification._answer import Answer
from benchsweep.records import SMatrix

__all__ = [
    "Comparison",
    "ErrorLimits",
    "balance_uncertainty",
    "compare",
    "follow_values",
    "mode_uncertainty",
]

BANDS = ("low", "middle", "high")
"""The three thirds of the grid whose deviations are followed (as the three points of NIST 2.3.7)."""

_NOTHING = 1e-6


@dataclass(frozen=True, slots=True)
class ErrorLimits:
    """How large the residual errors of a good calibration may be, as expanded uncertainty (k = 2), linear.

    Stands in for an uncertainty budget. `directivity` adds to reflections, `match` to whatever is reflected
    twice, `tracking` is relative, `floor` (noise, leakage) adds to everything.
    """

    directivity: float
    match: float
    tracking: float
    floor: float

    def expanded(self, s: NDArray[np.complex128]) -> NDArray[np.float64]:
        """Return ``(n_freq, n, n)``: the root sum of squares of what each term does to the matrix `s`.

        The error model is that of `benchsweep.records.StandardTerm`, with the worst phase of every path.
        """
        size = np.abs(s)
        twice = np.minimum(size @ size, 1.0)
        variance = (self.tracking * size) ** 2 + (self.match * twice) ** 2 + self.floor**2
        diagonal = np.arange(s.shape[1])
        variance[:, diagonal, diagonal] += self.directivity**2
        return np.asarray(np.sqrt(variance))


@dataclass(frozen=True, slots=True)
class Comparison:
    """One S-parameter of an artefact: measured against computed.

    Parameters
    ----------
    artefact, places
        What was measured, and the numbers of the slots it was attached at.
    out, into
        Receiving and driven port: mode (``A:12/d``) or leg.
    frequency_hz
        Where the ratio is largest.
    difference, artefact_uncertainty, bench_uncertainty
        There: |measured - computed|, and the expanded uncertainties (k = 2), linear.
    ratio
        E = difference / sqrt(artefact_uncertainty^2 + bench_uncertainty^2) there.
    largest_difference
        Over the whole grid.
    fraction_above
        Part of the grid on which E is above 1.
    """

    artefact: str
    places: tuple[int, ...]
    out: str
    into: str
    frequency_hz: float
    difference: float
    artefact_uncertainty: float
    bench_uncertainty: float
    ratio: float
    largest_difference: float
    fraction_above: float

    @property
    def kind(self) -> Literal["reflection", "transmission", "conversion"]:
        """What it tells: a reflection, a transmission within one mode, or a conversion between the modes."""
        modes = {label.partition("/")[2] for label in (self.out, self.into)}
        if len(modes) > 1:
            return "conversion"
        return "reflection" if self.out == self.into else "transmission"


def compare(
    measured: SMatrix,
    expected: Answer,
    bench: NDArray[np.float64],
    *,
    artefact: str,
    places: tuple[int, ...],
) -> tuple[Comparison, ...]:
    """Compare every S-parameter that was measured with its computed value.

    Parameters
    ----------
    measured
        Corrected, labelled like the artefact, in any order; may hold some of its ports only.
    expected
        What it should be, with labels of the same kind.
    bench
        ``(n_freq, n, n)``: expanded uncertainty of `measured`, in its order.
    artefact, places
        Kept with the result.
    """
    known = expected.expanded()
    at = [expected.nominal.ports.index(label) for label in measured.ports]
    difference = np.abs(measured.s - expected.nominal.s[:, at][:, :, at])
    known = known[:, at][:, :, at]
    ratio = difference / np.maximum(np.hypot(known, bench), 1e-15)
    worst = np.argmax(ratio, axis=0)
    found = []
    for row, out in enumerate(measured.ports):
        for column, into in enumerate(measured.ports):
            point = int(worst[row, column])
            found.append(
                Comparison(
                    artefact,
                    places,
                    out,
                    into,
                    float(measured.frequency_hz[point]),
                    float(difference[point, row, column]),
                    float(known[point, row, column]),
                    float(bench[point, row, column]),
                    float(ratio[point, row, column]),
                    float(difference[:, row, column].max()),
                    float(np.mean(ratio[:, row, column] > 1.0)),
                )
            )
    return tuple(found)


def mode_uncertainty(
    legs: NDArray[np.float64], labels: tuple[str, ...], modes: SMatrix
) -> NDArray[np.float64]:
    """Return the uncertainty of the S-parameters of modes from that of legs, taken as independent.

    Each S-parameter between modes is half the sum or difference of the four between the legs, so its variance
    is the mean of theirs.

    Parameters
    ----------
    legs
        ``(n_freq, n, n)`` for the legs `labels`.
    modes
        Gives labels and order of the result.
    """
    variance = np.empty(modes.s.shape)
    of = {
        label: [i for i, leg in enumerate(labels) if leg.partition(".")[0] == label.partition("/")[0]]
        for label in modes.ports
    }
    for row, out in enumerate(modes.ports):
        for column, into in enumerate(modes.ports):
            block = legs[:, of[out]][:, :, of[into]]
            variance[:, row, column] = np.mean(block**2, axis=(1, 2))
    return np.asarray(np.sqrt(variance))


def balance_uncertainty(modes: SMatrix, balance: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return ``(n_freq, n, n)``: what baluns add to S-parameters of modes, first order, worst phase.

    A balun mixes the two modes of its balanced port by its imbalance e, on the way in and on the way out, and
    leaks from one to the other by itself: ``E |S| + |S| E + E``. No calibration at the balanced plane that
    knows single modes only takes this out.

    Parameters
    ----------
    modes
        All modes of what is attached, computed.
    balance
        Balanced port -> ``(n_freq,)``: the larger of output signal balance and common-mode rejection, linear.
    """
    mixed = np.zeros(modes.s.shape)
    for row, out in enumerate(modes.ports):
        port, _, mode = out.partition("/")
        other = f"{port}/{'c' if mode == 'd' else 'd'}"
        if port in balance and other in modes.ports:
            mixed[:, row, modes.ports.index(other)] = balance[port]
    size = np.abs(modes.s)
    return np.asarray(mixed @ size + size @ mixed + mixed)


def follow_values(
    measured: SMatrix,
    expected: Answer,
    bench: NDArray[np.float64],
    follow: tuple[tuple[str, str], ...],
) -> Mapping[str, tuple[float, float]]:
    """Return what goes into the history: name -> (deviation, expanded uncertainty of both), linear.

    The deviation is the mean over a third of the grid of the part of (measured - computed) that is in phase
    with the computed value (its real part where nothing is expected): signed, so that it averages out when
    nothing changes. `bench` is as in `compare`.
    """
    at = [expected.nominal.ports.index(label) for label in measured.ports]
    both = np.hypot(expected.expanded()[:, at][:, :, at], bench)
    values = {}
    thirds = np.array_split(np.arange(measured.frequency_hz.size), len(BANDS))
    for out, into in follow:
        if not (measured.has(out) and measured.has(into)):
            continue
        truth = expected.nominal.at(out=out, into=into)
        size = np.abs(truth)
        turn = np.where(size > _NOTHING, np.conj(truth) / np.maximum(size, _NOTHING), 1.0)
        deviation = np.real((measured.at(out=out, into=into) - truth) * turn)
        row, column = measured.ports.index(out), measured.ports.index(into)
        for band, points in zip(BANDS, thirds, strict=True):
            if points.size:
                values[f"{out} from {into}, {band}"] = (
                    float(np.mean(deviation[points])),
                    float(np.mean(both[points, row, column])),
                )
    return values
