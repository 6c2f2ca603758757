"""What the temperature of a measurement means for its insertion loss."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from benchsweep.errors import UsageError
from benchsweep.limits._line import Standing
from benchsweep.limits._rules import Construction, Temperature, TemperatureSlope

__all__ = ["Conditions", "TemperatureEffect", "temperature_effect"]

_COLDEST_DEGC, _HOTTEST_DEGC = -80.0, 200.0
_CONSTRUCTIONS: tuple[Construction, ...] = get_args(Construction)


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the specimen was measured under.

    Parameters
    ----------
    temperature_degc
        Its temperature; None when nobody noted it.
    construction
        ``screened`` or ``unscreened``; None when nobody told.
    extrapolate_cold
        True: below the reference temperature the slope above it is taken, which no standard states.

    Raises
    ------
    UsageError
        A temperature that makes no sense, or no such construction.
    """

    temperature_degc: float | None = None
    construction: Construction | None = None
    extrapolate_cold: bool = False

    def __post_init__(self) -> None:
        degc = self.temperature_degc
        if degc is not None and not (math.isfinite(degc) and _COLDEST_DEGC <= degc <= _HOTTEST_DEGC):
            raise UsageError(
                f"a temperature of {degc:g} degC makes no sense",
                hint=f"Give the temperature of the specimen in degC, {_COLDEST_DEGC:g} to {_HOTTEST_DEGC:g}.",
            )
        if self.construction is not None and self.construction not in _CONSTRUCTIONS:
            raise UsageError(
                f"no construction named {self.construction!r}",
                hint=f"There are: {', '.join(_CONSTRUCTIONS)}.",
            )


@dataclass(frozen=True, slots=True)
class TemperatureEffect:
    """What the temperature does to insertion loss.

    Parameters
    ----------
    factor
        Insertion loss as measured is that at the reference temperature times this.
    note
        For the whole verdict, in words; empty when there is nothing to tell.
    row_note
        For a row of insertion loss; empty when it is taken as measured.
    standing
        Of the correction; None when there is none.
    doubt
        Why a pass of insertion loss cannot be told; empty when it can.
    """

    factor: float = 1.0
    note: str = ""
    row_note: str = ""
    standing: Standing | None = None
    doubt: str = ""


def temperature_effect(rule: Temperature | None, conditions: Conditions) -> TemperatureEffect:
    """Return what the conditions mean under the rule of a requirement.

    Within the tolerance nothing is done. Above it the measured loss is divided by 1 + k, k the slopes summed
    over the kelvins from the reference, each a part of the loss at the reference; above the last piece it is
    corrected as at its end. Where the construction is not told the smaller k counts, which corrects less.
    Below it no standard states a slope: nothing is corrected and a pass is in doubt, because the specimen
    would lose more at the reference; with `extrapolate_cold` the first slope is extended, the larger one
    where the construction is not told.
    """
    if rule is None:
        return TemperatureEffect()
    reference, degc = rule.reference_degc, conditions.temperature_degc
    if degc is None:
        return TemperatureEffect(
            note=f"the temperature was not told: insertion loss is taken to be that at {reference:g} degC"
        )
    if abs(degc - reference) <= rule.tolerance_k:
        return TemperatureEffect()
    told = (conditions.construction,) if conditions.construction else _CONSTRUCTIONS
    stated = [slopes for name in told if (slopes := rule.slopes_of(name))]
    if degc < reference:
        return _cold(rule, conditions, degc, stated)
    if not stated:
        return TemperatureEffect(
            note=f"insertion loss is taken as measured at {degc:g} degC: no temperature slope is stated for "
            f"{conditions.construction} cabling"
        )
    slopes = min(stated, key=lambda pieces: _rise(pieces, degc))
    factor = 1.0 + _rise(slopes, degc)
    remarks = [_untold(conditions, "smaller, which corrects less")]
    if degc > slopes[-1].to_degc:
        remarks.append(f"no slope is stated above {slopes[-1].to_degc:g} degC: corrected as from there")
    return _corrected(rule, degc, factor, slopes[0].construction, remarks)


def _cold(
    rule: Temperature, conditions: Conditions, degc: float, stated: Sequence[Sequence[TemperatureSlope]]
) -> TemperatureEffect:
    if conditions.extrapolate_cold and stated:
        slopes = max(stated, key=lambda pieces: pieces[0].per_k)
        factor = 1.0 - slopes[0].per_k * (rule.reference_degc - degc)
        if factor > 0.0:
            remarks = [
                _untold(conditions, "larger, which corrects more"),
                f"none is stated below {rule.reference_degc:g} degC: that above it was extended, as asked",
            ]
            return _corrected(rule, degc, factor, slopes[0].construction, remarks)
    words = (
        f"measured at {degc:g} degC, where the loss is less than at {rule.reference_degc:g} degC, and no "
        "slope is stated for that side"
    )
    return TemperatureEffect(
        note=f"insertion loss was {words}: not corrected, and what would pass is undecided",
        doubt=f"{words} (the one above is extended only when asked for)",
    )


def _rise(slopes: Sequence[TemperatureSlope], degc: float) -> float:
    """Return k at a temperature above the reference."""
    return sum(
        piece.per_k * (min(degc, piece.to_degc) - piece.from_degc)
        for piece in slopes
        if degc > piece.from_degc
    )


def _untold(conditions: Conditions, which: str) -> str:
    return "" if conditions.construction else f"the construction was not told: the slope is the {which}"


def _corrected(
    rule: Temperature, degc: float, factor: float, construction: Construction, remarks: Sequence[str]
) -> TemperatureEffect:
    way = f"from {degc:g} to {rule.reference_degc:g} degC"
    said = "; ".join(remark for remark in remarks if remark)
    return TemperatureEffect(
        factor=factor,
        note=f"insertion loss was brought {way}, divided by {factor:.4f} ({construction}; {rule.standing}: "
        f"{rule.source}){'; ' if said else ''}{said}",
        row_note=f"brought {way}",
        standing=rule.standing,
    )
