"""Whether enough disturbing cables were measured: an own choice, with its reasoning.

No criterion of a standard was at hand, so this one is **own choice**. It asks what matters to a verdict:
could a cable that was not measured turn a pass into a fail?

A power sum only gets worse with every further disturber, so what fails needs no more of them. For what
passes, the nearest neighbours must have been measured, six in a hexagonally packed bundle. What lies farther
away is bounded: the mutual inductance and capacitance of two parallel two-wire lines fall as the square of
their distance once that is larger than the spacing of their wires (expand ``ln((d14 d23) / (d13 d24))`` of
the textbooks), so the disturbing power falls as its fourth power. In a hexagonal packing of distance 1
further cables lie at the distances sqrt(3) (six), 2 (six), sqrt(7) (twelve) …; taken to distance 1 each is at
most as strong as the strongest neighbour that was measured, whatever the lay lengths are. The power sum is
then worse by at most

    10 log10(1 + S P_strongest / P_all),   S = sum of distance^-4 over the further cables

which for cables without end is S = 6 zeta(2) L(2) - 6 = 1.711 (L(2) = 1 - 1/4 + 1/16 - 1/25 + … = 0.78130,
the sum over the hexagonal lattice): 1.1 dB where six neighbours disturb alike, 4.3 dB where one alone does.
Screens make it less. It is enough where the worst margin is larger than the largest such figure over the
sweep.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from benchsweep.cabling._alien import AlienPowers
from benchsweep.cabling._losses import Row
from benchsweep.records import (
    DisturberSufficiency,
    End,
    Outcome,
    Parameter,
    SMatrix,
    VerdictRow,
)

__all__ = ["enough_disturbers", "further_weight"]

_NEIGHBOURS = 6
# 6 zeta(2) L(2, chi) - 6 with chi the character modulo 3.
_WITHOUT_END = 6.0 * (math.pi**2 / 6.0) * 0.7813024128964862 - 6.0
_SHELLS = 40
_NEAR = (Parameter.PS_ANEXT, Parameter.PS_ANEXT_AVERAGE)
_FAR = (Parameter.PS_AACR_F, Parameter.PS_AACR_F_AVERAGE)
_PASSED = (Outcome.PASS, Outcome.CONDITIONAL_PASS)


def further_weight(further: int | None) -> float:
    """Return S of the module's text: the nearest places beyond the six neighbours taken first.

    Parameters
    ----------
    further
        How many cables lie beyond the neighbours; None: without end.

    Examples
    --------
    >>> round(further_weight(6), 3), round(further_weight(12), 3)
    (0.667, 1.042)
    """
    if further is None:
        return _WITHOUT_END
    reach = range(-_SHELLS, _SHELLS + 1)
    # Within this radius all lattice points are among those that the loops give.
    largest = (0.75 * _SHELLS**2) // 1
    squares = sorted(n for i in reach for j in reach if 1 < (n := i * i + i * j + j * j) <= largest)
    places = squares[: max(further, 0)]
    if further > len(places):
        return _WITHOUT_END
    return float(sum(1.0 / n**2 for n in places))


def enough_disturbers(
    couplings: Sequence[SMatrix],
    rows: Sequence[VerdictRow],
    *,
    neighbours: int = _NEIGHBOURS,
    further: int | None = None,
) -> DisturberSufficiency | None:
    """Tell whether disturbing cables that were not measured could change the alien rows of a verdict.

    The criterion is an own choice; the text of this module gives the reasoning. The measured cables are taken
    for the nearest ones. Rows without an outcome of their own (undecided) are left out.

    Parameters
    ----------
    couplings
        Mixed-mode matrices of a bundle, see `compute_alien`.
    rows
        Of a verdict.
    neighbours
        How many cables touch the specimen in its bundle.
    further
        How many more cables the bundle has beyond these; None: not known, taken as without end.

    Returns
    -------
    DisturberSufficiency or None
        None when `rows` hold no alien parameter that was decided.

    Raises
    ------
    ValueError
        The matrices are not on one grid.
    """
    decided = [
        row for row in rows if row.parameter in (*_NEAR, *_FAR) and row.outcome is not Outcome.UNDECIDED
    ]
    if not couplings or not decided:
        return None
    powers = AlienPowers(couplings)
    measured = len(powers.cables)
    passed = [row for row in decided if row.outcome in _PASSED]
    if not passed:
        words = f"{measured} disturbing cables are enough: more of them cannot make better what fails already"
        return DisturberSufficiency(True, measured, 0.0, None, None, (), words)
    weight = further_weight(further)
    added = [_added_db(powers, row, weight) for row in passed]
    left = [_left_db(row) - more for row, more in zip(passed, added, strict=True)]
    at = min(range(len(passed)), key=left.__getitem__)
    row, more = passed[at], added[at]
    if measured < neighbours:
        words = (
            f"not enough disturbing cables: {measured} measured, {neighbours} lie around a cable within a "
            "bundle; "
            "what the others give is not known"
        )
        return DisturberSufficiency(False, measured, more, row.parameter, row.end, row.pairs, words)
    where = f"{row.parameter.term} of {'-'.join(row.pairs)} at end {row.end}"
    beyond = "further cables of the bundle" if further is None else f"{further} further cables of the bundle"
    verb, against = ("are enough", "less than") if left[at] >= 0.0 else ("may not be enough", "more than")
    words = (
        f"{measured} disturbing cables {verb}: {beyond} could make {where} worse by at most {more:.1f} dB, "
        f"{against} the {_left_db(row):.1f} dB that are left (own criterion)"
    )
    return DisturberSufficiency(left[at] >= 0.0, measured, more, row.parameter, row.end, row.pairs, words)


def _left_db(row: VerdictRow) -> float:
    """Return by how much a row may get worse until its outcome changes."""
    margin = math.inf if row.worst_margin_db is None else row.worst_margin_db
    known = row.guard_band is not None and math.isfinite(row.guard_band)
    return margin - (row.guard_band or 0.0) if known and row.outcome is Outcome.PASS else margin


def _added_db(powers: AlienPowers, row: VerdictRow, weight: float) -> float:
    """Return the largest of what further cables could add over the sweep, the mean for a mean of pairs."""
    each = [_added_trace(powers, row.parameter in _NEAR, row.end or "A", pair, weight) for pair in row.pairs]
    return float(np.max(np.mean(each, axis=0)))


def _added_trace(powers: AlienPowers, near: bool, end: End, pair: str, weight: float) -> Row:
    disturbers = powers.whole("near" if near else "far", end, pair) or {}
    total: Row = np.zeros(powers.frequency_hz.size)
    by_cable: dict[int, Row] = {}
    for (cable, _), power in disturbers.items():
        total = total + power
        by_cable[cable] = by_cable.get(cable, np.zeros(total.size)) + power
    strongest = np.max(list(by_cable.values()), axis=0) if by_cable else total
    # A silent bundle has nothing to scale: any further cable could be the only one that disturbs.
    part = np.divide(strongest, total, out=np.ones(total.size), where=total > 0.0)
    return np.asarray(10.0 * np.log10(1.0 + weight * part))
