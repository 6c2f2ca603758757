"""Alien crosstalk in documents: which cables disturb, and whether they are enough."""

from __future__ import annotations

from typing import Any

from benchsweep import cabling
from benchsweep.qualification._alien import sufficiency
from benchsweep.qualification._json import json_number
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import AlienShare, Parameter, Verdict

__all__ = ["alien_document"]

_SUMS = (Parameter.PS_ANEXT, Parameter.PS_AACR_F)


def alien_document(evaluation: Evaluation, verdict: Verdict) -> dict[str, Any]:
    """Return what ``benchsweep.verdict/1`` holds of a bundle besides its rows, as ``{"alien": …}``.

    For every graded power sum its disturbing cables, the one that gives most at the worst-margin point first,
    each with its strongest pair. Empty without a bundle or without alien rows.
    """
    rows = [row for row in verdict.rows if row.parameter in _SUMS and row.worst_margin_db is not None]
    if not rows or not evaluation.couplings:
        return {}
    enough = sufficiency(evaluation.couplings, verdict)
    shares = cabling.alien_shares(evaluation.couplings, evaluation.mixed, rows)
    whole = [share for share in shares if share.disturbing_pair is None]
    return {
        "alien": {
            "disturbing_cables": list(evaluation.measurement.disturbing_cables),
            "enough": None if enough is None else enough.enough,
            "added_db": None if enough is None else json_number(enough.added_db),
            "shares": [_share(share, shares) for share in whole],
        }
    }


def _share(share: AlienShare, every: tuple[AlienShare, ...]) -> dict[str, Any]:
    key = (share.parameter, share.end, share.pair, share.cable)
    pairs = [
        one
        for one in every
        if one.disturbing_pair is not None and (one.parameter, one.end, one.pair, one.cable) == key
    ]
    strongest = max(pairs, key=lambda one: one.share)
    return {
        "parameter": str(share.parameter),
        "end": share.end,
        "pair": share.pair,
        "cable": share.cable,
        "frequency_hz": json_number(share.frequency_hz),
        "share": json_number(share.share),
        "value": json_number(share.value),
        "band_share": json_number(share.band_share),
        "strongest_pair": strongest.disturbing_pair,
        "strongest_pair_share": json_number(strongest.share),
    }
