"""What a verdict on alien crosstalk says besides its rows: which cables disturb, and are they enough."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep import cabling
from benchsweep.records import (
    AlienShare,
    BalancedPort,
    DisturberSufficiency,
    End,
    Parameter,
    SMatrix,
    Verdict,
    VerdictRow,
)

__all__ = ["alien_notes", "share_words", "sufficiency"]

_SUMS = (Parameter.PS_ANEXT, Parameter.PS_AACR_F)
_ALIEN = (*_SUMS, Parameter.PS_ANEXT_AVERAGE, Parameter.PS_AACR_F_AVERAGE)
_NAMED = 6
"""How many disturbing cables a sentence names."""


def alien_notes(couplings: Sequence[SMatrix], mixed: SMatrix, verdict: Verdict) -> tuple[str, ...]:
    """Return in words what is missing, which cables disturb most and whether they are enough.

    Nothing for a verdict without alien rows, or for a measurement without a bundle.
    """
    rows = [row for row in verdict.rows if row.parameter in _ALIEN]
    if not rows or not couplings:
        return ()
    lacking = any(row.worst_margin_db is None for row in rows)
    gaps = cabling.alien_gaps(couplings) if lacking else ()
    enough = sufficiency(couplings, verdict)
    words = (share_words(couplings, mixed, rows), "" if enough is None else enough.words)
    return (*gaps, *(sentence for sentence in words if sentence))


def sufficiency(couplings: Sequence[SMatrix], verdict: Verdict) -> DisturberSufficiency | None:
    """Return whether enough disturbing cables were measured for `verdict`; None without alien rows."""
    return cabling.enough_disturbers(couplings, verdict.rows)


def share_words(couplings: Sequence[SMatrix], mixed: SMatrix, rows: Sequence[VerdictRow]) -> str:
    """Return which cables disturb most where the margin of a power sum is smallest; empty without one."""
    graded = [row for row in rows if row.parameter in _SUMS and row.worst_margin_db is not None]
    if not graded:
        return ""
    worst = min(graded, key=lambda row: row.worst_margin_db or 0.0)
    shares = [
        share
        for share in cabling.alien_shares(couplings, mixed, [worst])
        if (share.parameter, share.end, share.pair) == (worst.parameter, worst.end, worst.pairs[0])
    ]
    cables = [share for share in shares if share.disturbing_pair is None]
    if not cables or cables[0].share == 0.0:
        return ""
    named = ", ".join(f"cable {share.cable} {share.share:.0%}" for share in cables[:_NAMED])
    more = len(cables) - _NAMED
    return (
        f"where {worst.parameter.term} of {worst.pairs[0]} at end {worst.end} has the smallest margin "
        f"({cables[0].frequency_hz / 1e6:.6g} MHz) the disturbing power is that of {named}"
        f"{f' and {more} more' if more > 0 else ''}; of single pairs {_strongest(shares)}"
    )


def _strongest(shares: Sequence[AlienShare]) -> str:
    one = max((share for share in shares if share.disturbing_pair), key=lambda share: share.share)
    near = one.parameter is Parameter.PS_ANEXT
    other: End = "B" if one.end == "A" else "A"
    port = BalancedPort(one.end if near else other, one.disturbing_pair or "", one.cable)
    return f"{port} gives most, {one.share:.0%}"
