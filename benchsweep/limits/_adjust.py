"""From traces as measured to traces as a requirement wants them: its pair, its length, its temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._line import LimitLine, Standing, worst_standing
from benchsweep.limits._requirement import Requirement
from benchsweep.limits._temperature import Conditions, temperature_effect
from benchsweep.records import FOUR_PAIRS, End, Parameter, Trace

__all__ = ["Adjusted", "Adjuster", "Key", "Unadjustable", "as_graded", "error_gains"]

Key = tuple[Parameter, End | None, tuple[str, ...]]
Column = NDArray[np.float64]

# Noise can make a loss zero or negative; so little of it saturates nothing.
_SMALLEST_DB = 1e-9


class Unadjustable(LookupError):
    """A trace that is needed to bring another one to what a requirement wants was not measured."""


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """A trace as it is held against the limit.

    Parameters
    ----------
    measured
        The trace as measured: the one whose uncertainty is known.
    value
        ``(n,)`` values that are graded, on its grid.
    gain
        An error of the measured value becomes `gain` times itself.
    note, standing
        What was done, in words, and how far the rules for it are known; empty and None when nothing was.
    doubt
        Why a pass cannot be told; empty when it can.
    """

    measured: Trace
    value: Column
    gain: float = 1.0
    note: str = ""
    standing: Standing | None = None
    doubt: str = ""


class Adjuster:
    """Brings the traces of one specimen to what one requirement wants.

    Parameters
    ----------
    measured
        Every trace by its key.
    length_m
        Length of the specimen; None where it was not told.
    conditions
        Temperature and construction.
    """

    def __init__(
        self,
        requirement: Requirement,
        measured: Mapping[Key, Trace],
        length_m: float | None,
        conditions: Conditions,
    ) -> None:
        self._measured = measured
        self._rule = requirement.normalise
        self._effect = temperature_effect(requirement.temperature, conditions)
        self._limits_loss = requirement.line_of(Parameter.INSERTION_LOSS) is not None
        self._told = length_m is not None
        self._ratio = 1.0 if self._rule is None or length_m is None else self._rule.length_m / length_m
        self._saturations: dict[tuple[End | None, frozenset[str]], Column] = {}

    def notes(self) -> list[str]:
        """Return what a reader of the verdict must know of length and temperature."""
        notes = [self._effect.note] if self._effect.note and self._limits_loss else []
        if self._rule is None:
            return notes
        reference = f"{self._rule.length_m:g} m"
        if not self._told:
            return [f"the length was not told and is taken as {reference}, for which the limits hold", *notes]
        if self._ratio == 1.0:
            return notes
        rules = "; ".join(
            f"{_listed([item.term for item in rule.parameters])} {rule.form} ({rule.standing})"
            for rule in self._rule.rules
        )
        return [
            f"measured on {self._rule.length_m / self._ratio:g} m, brought to {reference}: {rules}",
            *notes,
        ]

    def adjust(self, trace: Trace, line: LimitLine) -> Adjusted:
        """Return `trace` as `line` wants it.

        Raises
        ------
        Unadjustable
            Another trace that is needed was not measured.
        """
        adjusted = Adjusted(trace, trace.value)
        if line.insertion_loss_of == "disturbing-pair":
            adjusted = replace(adjusted, value=self._below_disturbing(trace))
        if trace.parameter is Parameter.INSERTION_LOSS:
            adjusted = self._at_reference_temperature(adjusted)
        return adjusted if self._ratio == 1.0 else self._at_reference_length(adjusted)

    def _at_reference_temperature(self, adjusted: Adjusted) -> Adjusted:
        effect = self._effect
        if effect.factor == 1.0:
            return replace(adjusted, doubt=effect.doubt) if effect.doubt else adjusted
        return replace(
            adjusted,
            value=adjusted.value / effect.factor,
            gain=adjusted.gain / effect.factor,
            note=effect.row_note,
            standing=effect.standing,
        )

    def _at_reference_length(self, adjusted: Adjusted) -> Adjusted:
        assert self._rule is not None  # noqa: S101 - otherwise the ratio is one
        trace = adjusted.measured
        rule = self._rule.rule_of(trace.parameter)
        if rule is None:
            return adjusted
        value, gain = adjusted.value, adjusted.gain
        if rule.form == "proportional":
            value, gain = value * self._ratio, gain * self._ratio
        elif rule.form == "incoherent":
            value = value - 10.0 * np.log10(self._ratio)
        elif self._ratio > 1.0:
            value = value + self._saturation(trace)
        else:
            return adjusted
        words = f"brought to {self._rule.length_m:g} m"
        standing = (
            rule.standing if adjusted.standing is None else worst_standing(rule.standing, adjusted.standing)
        )
        note = f"{adjusted.note}, {words}" if adjusted.note else words
        return replace(adjusted, value=value, gain=gain, note=note, standing=standing)

    def _saturation(self, trace: Trace) -> Column:
        """Return what is added to NEXT or PS NEXT of a length below the reference; dB, not above 0."""
        if len(trace.pairs) == 2:
            return self._combination(trace.end, *trace.pairs)
        short, long = np.zeros(trace.value.shape), np.zeros(trace.value.shape)
        for other in FOUR_PAIRS:
            if other != trace.pairs[0]:
                power = 10.0 ** (-self._near(trace.end, trace.pairs[0], other).value / 10.0)
                short += power
                long += power * 10.0 ** (-self._combination(trace.end, trace.pairs[0], other) / 10.0)
        heard = short > 0.0
        return np.where(
            heard, -10.0 * np.log10(np.where(heard, long, 1.0) / np.where(heard, short, 1.0)), 0.0
        )

    def _combination(self, end: End | None, first: str, second: str) -> Column:
        """Return -10 log((1 - 10^(-A_R/5)) / (1 - 10^(-A_L/5))) of two pairs, A their mean insertion loss."""
        key = (end, frozenset((first, second)))
        if key not in self._saturations:
            loss = 0.5 * (self._loss(end, first).value + self._loss(end, second).value)
            nepers = np.maximum(loss, _SMALLEST_DB) * (np.log(10.0) / 5.0)
            self._saturations[key] = np.asarray(
                -10.0 * np.log10(np.expm1(-nepers * self._ratio) / np.expm1(-nepers))
            )
        return self._saturations[key]

    def _below_disturbing(self, trace: Trace) -> Column:
        """Return ACR-F or PS ACR-F with the insertion loss of the disturbing pair, not the disturbed."""
        here = trace.pairs[0]
        others = trace.pairs[1:] or tuple(pair for pair in FOUR_PAIRS if pair != here)
        power = np.zeros(trace.value.shape)
        for other in others:
            far = self._of(Parameter.FEXT, trace.end, (here, other)).value
            loss = self._loss(trace.end, other).value
            # A pair without a signal must not look good: its loss counts also where it disturbs nothing.
            lost = np.isposinf(loss)
            power += 10.0 ** (np.where(lost, np.inf, loss - np.where(lost, 0.0, far)) / 10.0)
        with np.errstate(divide="ignore"):
            return np.asarray(-10.0 * np.log10(power))

    def _near(self, end: End | None, first: str, second: str) -> Trace:
        in_order = (first, second) if FOUR_PAIRS.index(first) < FOUR_PAIRS.index(second) else (second, first)
        return self._of(Parameter.NEXT, end, in_order)

    def _loss(self, end: End | None, pair: str) -> Trace:
        """Return the insertion loss of a pair; a passive specimen has the same one both ways."""
        other: End = "A" if end == "B" else "B"
        found = self._measured.get((Parameter.INSERTION_LOSS, end, (pair,)))
        return found if found is not None else self._of(Parameter.INSERTION_LOSS, other, (pair,))

    def _of(self, parameter: Parameter, end: End | None, pairs: tuple[str, ...]) -> Trace:
        trace = self._measured.get((parameter, end, pairs))
        if trace is None:
            raise Unadjustable(f"{parameter.term} of {' and '.join(pairs)} was not measured")
        return trace


def _listed(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def as_graded(
    traces: Sequence[Trace],
    requirement: Requirement,
    *,
    length_m: float | None = None,
    conditions: Conditions | None = None,
) -> tuple[Trace, ...]:
    """Return the traces that `requirement` limits as they are held against its limits, for plots.

    Those that cannot be brought to what it wants are left out.
    """
    measured = {(trace.parameter, trace.end, trace.pairs): trace for trace in traces}
    adjuster = Adjuster(requirement, measured, length_m, conditions or Conditions())
    found: list[Trace] = []
    for trace in traces:
        line = requirement.line_of(trace.parameter)
        if line is not None:
            with suppress(Unadjustable):
                found.append(replace(trace, value=adjuster.adjust(trace, line).value))
    return tuple(found)


def error_gains(
    traces: Sequence[Trace],
    requirement: Requirement,
    *,
    length_m: float | None = None,
    conditions: Conditions | None = None,
) -> dict[Key, float]:
    """Return what an error as measured becomes times in each of the traces that `as_graded` returns.

    Those that are graded as measured have 1.
    """
    measured = {(trace.parameter, trace.end, trace.pairs): trace for trace in traces}
    adjuster = Adjuster(requirement, measured, length_m, conditions or Conditions())
    found: dict[Key, float] = {}
    for key, trace in measured.items():
        line = requirement.line_of(trace.parameter)
        if line is not None:
            with suppress(Unadjustable):
                found[key] = adjuster.adjust(trace, line).gain
    return found
