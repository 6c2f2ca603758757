"""Which disturbing cable and pair an alien power sum comes from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from benchsweep.cabling._alien import AlienPowers, Disturber, Kind, compute_alien
from benchsweep.cabling._losses import ModeLosses, Row
from benchsweep.records import AlienShare, Parameter, SMatrix, Trace, VerdictRow

__all__ = ["KIND_OF", "alien_shares"]

KIND_OF: Mapping[Parameter, Kind] = {Parameter.PS_ANEXT: "near", Parameter.PS_AACR_F: "far"}


def alien_shares(
    couplings: Sequence[SMatrix], mixed: SMatrix | ModeLosses | None, rows: Sequence[VerdictRow] = ()
) -> tuple[AlienShare, ...]:
    """Return what every disturbing cable and every pair of it gives to every alien power sum.

    Power sum by power sum in the order of `compute_alien`; of each first the cables, then the single pairs,
    whichever gives most first.

    Parameters
    ----------
    couplings, mixed
        As in `compute_alien`.
    rows
        Of a verdict: then only the power sums that it holds, at their worst-margin points. Otherwise all,
        where they are worst.

    Raises
    ------
    ValueError
        The matrices are not on one grid.
    """
    if not couplings:
        return ()
    powers = AlienPowers(couplings)
    graded = {(row.parameter, row.end, row.pairs): row.frequency_hz for row in rows}
    found: list[AlienShare] = []
    for trace in compute_alien(couplings, mixed):
        kind, key = KIND_OF.get(trace.parameter), (trace.parameter, trace.end, trace.pairs)
        if kind is None or trace.end is None or (rows and graded.get(key) is None):
            continue
        where = graded.get(key)
        at = int(np.argmin(trace.value if where is None else np.abs(trace.frequency_hz - where)))
        disturbers = powers.whole(kind, trace.end, trace.pairs[0])
        if disturbers is not None:
            found += _of_one(trace, disturbers, at)
    return tuple(found)


def _of_one(trace: Trace, disturbers: Mapping[Disturber, Row], at: int) -> list[AlienShare]:
    total = np.sum(list(disturbers.values()), axis=0)
    groups: dict[tuple[int, str | None], Row] = {}
    for (cable, pair), power in disturbers.items():
        groups[cable, None] = groups.get((cable, None), np.zeros(total.size)) + power
        groups[cable, pair] = power
    shares = []
    for (cable, disturbing), power in groups.items():
        # Where nothing disturbs nobody has a share.
        part = np.divide(power, total, out=np.zeros(total.size), where=total > 0.0)
        with np.errstate(divide="ignore"):
            alone = float(trace.value[at] - 10.0 * np.log10(part[at]))
        shares.append(
            AlienShare(
                parameter=trace.parameter,
                end=trace.end or "A",
                pair=trace.pairs[0],
                cable=cable,
                disturbing_pair=disturbing,
                frequency_hz=float(trace.frequency_hz[at]),
                share=float(part[at]),
                value=np.inf if part[at] == 0.0 else alone,
                band_share=float(part.mean()),
            )
        )
    return sorted(shares, key=lambda one: (one.disturbing_pair is not None, -one.share, one.cable))
