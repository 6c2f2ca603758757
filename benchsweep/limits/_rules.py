"""What a requirement says besides its lines: length and temperature of measurement, dc, usual lengths."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from benchsweep.definitions import Definition
from benchsweep.limits._forms import Number, Positive
from benchsweep.limits._line import Standing, Text
from benchsweep.records import Parameter

__all__ = [
    "Construction",
    "DirectCurrent",
    "Length",
    "Normalisation",
    "NormaliseRule",
    "Rule",
    "Temperature",
    "TemperatureSlope",
]

Construction = Literal["screened", "unscreened"]

_FORM_OF: dict[str, frozenset[Parameter]] = {
    "proportional": frozenset({Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW}),
    "incoherent": frozenset({Parameter.ACR_F, Parameter.PS_ACR_F}),
    "saturating": frozenset({Parameter.NEXT, Parameter.PS_NEXT}),
}


class NormaliseRule(Definition):
    """How some parameters, measured on a length L, are brought to the reference length R.

    ``proportional``
        x R/L: insertion loss, delay, skew.
    ``incoherent``
        x - 10 log(R/L): far-end crosstalk less insertion loss, whose couplings along the cable add in power.
    ``saturating``
        x - 10 log((1 - 10^(-A_R/5)) / (1 - 10^(-A_L/5))), A the insertion loss of the two pairs (their mean)
        over R and over L: near-end crosstalk, to which the far part of a long cable adds nothing. A length
        above R is not corrected.
    """

    parameters: tuple[Parameter, ...] = Field(min_length=1)
    form: Literal["proportional", "incoherent", "saturating"]
    standing: Standing
    source: Text
    note: str = ""

    @model_validator(mode="after")
    def _parameters_of_the_form(self) -> Self:
        wrong = [parameter for parameter in self.parameters if parameter not in _FORM_OF[self.form]]
        if wrong:
            raise ValueError(
                f"{wrong[0]} is not {self.form} to the length; that holds for "
                f"{', '.join(sorted(_FORM_OF[self.form]))}"
            )
        return self


class Normalisation(Definition):
    """The limits hold for `length_m`; what was measured on another length is brought to it by the rules.

    Parameters without a rule are taken as measured.
    """

    length_m: Positive
    rules: tuple[NormaliseRule, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_rule_each(self) -> Self:
        named = [parameter for rule in self.rules for parameter in rule.parameters]
        twice = sorted({str(parameter) for parameter in named if named.count(parameter) > 1})
        if twice:
            raise ValueError(f"more than one rule for {', '.join(twice)}")
        return self

    def rule_of(self, parameter: Parameter) -> NormaliseRule | None:
        """Return the rule of `parameter`, None when it is taken as measured."""
        return next((rule for rule in self.rules if parameter in rule.parameters), None)


class TemperatureSlope(Definition):
    """By how much insertion loss rises with each kelvin, as a part of that at the reference temperature."""

    construction: Construction
    from_degc: Number
    to_degc: Number
    per_k: Positive

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.to_degc <= self.from_degc:
            raise ValueError(f"to_degc {self.to_degc:g} must be above from_degc {self.from_degc:g}")
        return self


class Temperature(Definition):
    """The limits of insertion loss hold at `reference_degc`; within `tolerance_k` nothing is corrected.

    Insertion loss at T is that at the reference times 1 + k, k the sum of slope times kelvins in between.
    The pieces of a construction begin at the reference and follow on one another.
    """

    reference_degc: Number
    tolerance_k: float = Field(ge=0.0)
    slopes: tuple[TemperatureSlope, ...] = Field(min_length=1)
    standing: Standing
    source: Text
    note: str = ""

    @model_validator(mode="after")
    def _contiguous(self) -> Self:
        ends: dict[str, float] = {}
        for slope in self.slopes:
            begins = ends.get(slope.construction, self.reference_degc)
            if slope.from_degc != begins:
                raise ValueError(
                    f"the slopes of {slope.construction} cabling must follow on one another from the "
                    f"reference: one begins at {slope.from_degc:g} degC in place of {begins:g}"
                )
            ends[slope.construction] = slope.to_degc
        return self

    def slopes_of(self, construction: Construction) -> tuple[TemperatureSlope, ...]:
        """Return the pieces of a construction, rising; empty when none are stated."""
        return tuple(slope for slope in self.slopes if slope.construction == construction)


class Length(Definition):
    """The length that a specimen of this configuration usually has at most; it decides nothing."""

    maximum_m: Positive
    standing: Standing
    source: Text
    note: str = ""


class DirectCurrent(Definition):
    """A limit at direct current: told, never graded, because a network analyzer does not measure it."""

    quantity: Text
    maximum: Positive
    unit: Text
    standing: Standing
    source: Text
    note: str = ""


Rule = Normalisation | Temperature | Length | DirectCurrent
"""A table of a requirement besides its lines."""
