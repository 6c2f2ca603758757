"""Alien crosstalk: what the pairs of other cables of a bundle couple into the pairs of one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, Row, far_end, loss_of_power, ratio, trace_of
from benchsweep.records import (
    FOUR_PAIRS,
    End,
    ModePort,
    Parameter,
    SMatrix,
    Trace,
    balanced_ports_among,
)

__all__ = ["AlienPowers", "alien_average", "alien_gaps", "compute_alien"]

Kind = Literal["near", "far"]
Disturber = tuple[int, str]
"""Number of the disturbing cable, and its pair."""

_KINDS: tuple[tuple[Kind, str], ...] = (("near", "PS ANEXT"), ("far", "PS AACR-F"))
_AVERAGE_OF = {
    Parameter.PS_ANEXT: Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F: Parameter.PS_AACR_F_AVERAGE,
}


class AlienPowers:
    """The squared magnitudes of every measured coupling from another cable into the specimen.

    Parameters
    ----------
    couplings
        Mixed-mode matrices whose ports are of cable 0 and of disturbing cables (``A:12/d``, ``3.A:12/d``).
        A coupling counts in its definition's direction: disturbing pair driven, disturbed pair received.
        What several matrices hold is averaged in power.

    Raises
    ------
    ValueError
        There are none, or they are not on one grid.
    """

    def __init__(self, couplings: Sequence[SMatrix]) -> None:
        if not couplings:
            raise ValueError("there are no couplings")
        self.frequency_hz = couplings[0].frequency_hz
        sums: dict[tuple[Kind, End, str], dict[Disturber, tuple[Row, int]]] = {}
        found: set[int] = set()
        for matrix in couplings:
            if not np.array_equal(matrix.frequency_hz, self.frequency_hz):
                raise ValueError("the couplings of a bundle must be on one frequency grid")
            ports = [p for p in balanced_ports_among(matrix.ports) if matrix.has(ModePort(p, "d"))]
            senders = [port for port in ports if port.cable]
            found.update(port.cable for port in senders)
            for out in (port for port in ports if not port.cable):
                for into in senders:
                    s = matrix.at(out=ModePort(out, "d"), into=ModePort(into, "d"))
                    kind: Kind = "near" if out.end == into.end else "far"
                    by_source = sums.setdefault((kind, out.end, out.pair), {})
                    before, count = by_source.get((into.cable, into.pair), (np.zeros(s.size), 0))
                    by_source[into.cable, into.pair] = (before + s.real**2 + s.imag**2, count + 1)
        self.cables: tuple[int, ...] = tuple(sorted(found))
        self._powers: dict[tuple[Kind, End, str], dict[Disturber, Row]] = {
            key: {source: power / count for source, (power, count) in sorted(by_source.items())}
            for key, by_source in sums.items()
        }

    def missing(self, kind: Kind, end: End, pair: str) -> tuple[Disturber, ...]:
        """Return the disturbers that were not measured with `pair` at `end`, of the cables that there are."""
        known = self._powers.get((kind, end, pair), {})
        return tuple(one for cable in self.cables for j in FOUR_PAIRS if (one := (cable, j)) not in known)

    def whole(self, kind: Kind, end: End, pair: str) -> Mapping[Disturber, Row] | None:
        """Return ``(n_freq,)`` |S|² by disturber; None unless all pairs of all cables were measured.

        A power sum over fewer would look better than the specimen is.
        """
        if not self.cables or self.missing(kind, end, pair):
            return None
        return self._powers[kind, end, pair]

    def loss(self, kind: Kind, end: End, pair: str) -> Row | None:
        """Return the power sum over all disturbers as a loss in dB; None where `whole` is."""
        powers = self.whole(kind, end, pair)
        return None if powers is None else loss_of_power(np.sum(list(powers.values()), axis=0))


def compute_alien(couplings: Sequence[SMatrix], mixed: SMatrix | ModeLosses | None) -> tuple[Trace, ...]:
    """Return PS ANEXT, PS AACR-F and their means over the pairs, end A before end B, in dB.

    PS ANEXT of a pair at an end is -10 log10 of the sum, over all pairs of all disturbing cables driven at
    the same end, of 10^(-ANEXT/10). PS AACR-F is the same sum over the disturbing pairs driven at the other
    end (PS AFEXT), less the insertion loss of the *disturbed* pair (TIA-568-C.2 and ISO/IEC 11801 Amd 1, from
    memory).

    The standards also correct AFEXT where disturbed and disturbing cables have different lengths. That
    correction could not be verified and is **left out**: for such bundles PS AACR-F is that of the bundle as
    it lies there.

    The mean of an end is that of the dB values of its four pairs (from memory; a mean of powers would be
    lower). A pair without a signal makes it ``-inf``.

    Parameters
    ----------
    couplings
        Mixed-mode matrices of a bundle, see `AlienPowers`; none give no traces.
    mixed
        Mixed-mode matrix of the specimen for its insertion loss; None: no PS AACR-F.

    Raises
    ------
    ValueError
        The matrices are not on one grid.
    """
    if not couplings:
        return ()
    powers = AlienPowers(couplings)
    grid = powers.frequency_hz
    losses = None if mixed is None else ModeLosses.of(mixed)
    if losses is not None and not np.array_equal(losses.frequency_hz, grid):
        raise ValueError("the couplings of a bundle must be on the frequency grid of the specimen")
    found: dict[Parameter, list[Trace]] = {parameter: [] for parameter in _AVERAGE_OF}
    for end in ENDS:
        for pair in FOUR_PAIRS:
            near = powers.loss("near", end, pair)
            if near is not None:
                found[Parameter.PS_ANEXT].append(trace_of(Parameter.PS_ANEXT, end, (pair,), grid, near))
            far = powers.loss("far", end, pair)
            if far is not None and losses is not None and pair in losses.pairs_at_both_ends():
                value = ratio(far, losses.through(end, pair))
                found[Parameter.PS_AACR_F].append(trace_of(Parameter.PS_AACR_F, end, (pair,), grid, value))
    return tuple(
        trace
        for parameter, traces in found.items()
        for trace in (*traces, *alien_average(_AVERAGE_OF[parameter], traces))
    )


def alien_average(parameter: Parameter, traces: Sequence[Trace]) -> tuple[Trace, ...]:
    """Return the mean of the dB values of the four pairs of each end where all four are among `traces`."""
    found = []
    for end in ENDS:
        here = [trace for trace in traces if trace.end == end]
        if tuple(trace.pairs[0] for trace in here) == FOUR_PAIRS:
            values = np.array([trace.value for trace in here])
            lost = np.isneginf(values).any(axis=0)
            mean = np.where(lost, -np.inf, np.where(np.isneginf(values), 0.0, values).mean(axis=0))
            found.append(trace_of(parameter, end, FOUR_PAIRS, here[0].frequency_hz, mean))
    return tuple(found)


def alien_gaps(couplings: Sequence[SMatrix]) -> tuple[str, ...]:
    """Return what is missing for the alien power sums of the disturbing cables that there are, in words."""
    if not couplings:
        return ()
    powers = AlienPowers(couplings)
    found = []
    for kind, words in _KINDS:
        for end in ENDS:
            gaps = {pair: powers.missing(kind, end, pair) for pair in FOUR_PAIRS}
            lacking = {cable for missing in gaps.values() for cable, _ in missing}
            if not lacking:
                continue
            sent_at = end if kind == "near" else far_end(end)
            if all(len(missing) == len(powers.cables) * len(FOUR_PAIRS) for missing in gaps.values()):
                what = "no coupling was measured"
            else:
                pair, (cable, disturbing) = next((p, m[0]) for p, m in gaps.items() if m)
                count = sum(map(len, gaps.values()))
                what = (
                    f"{count} couplings are missing (cable {', '.join(map(str, sorted(lacking)))}), for "
                    f"example from {cable}.{sent_at}:{disturbing} into {end}:{pair}"
                )
            found.append(f"{words} at end {end} cannot be told: {what}")
    return tuple(found)
