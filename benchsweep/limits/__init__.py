"""Requirements (limit lines as data), their values, and grading.

A requirement is a TOML file in ``tables/``, in ``./requirements/`` or in the data folder; it holds every
number, every rule and the standing of each. The code holds a closed set of forms that a line can have
and of rules: caps, floors, exemptions, parts by length, whose insertion loss is subtracted, lengths
and temperatures that a cable is brought to, variants of other requirements. Nothing asks for the name of a
standard. Limits and margins are unrounded; losses are positive dB, delay and skew ns; a positive margin is
good.
"""

from benchsweep.limits._adjust import as_graded, error_gains
from benchsweep.limits._counting import not_counting
from benchsweep.limits._decision import DECISION_RULES, SIMPLE, Decision
from benchsweep.limits._forms import Constant, CordNext, Difference, LogLine, Powers, VoltageSum
from benchsweep.limits._grade import Assess, MissingLength, grade, whole_outcome
from benchsweep.limits._highest import Highest, Ranked, highest
from benchsweep.limits._in_force import (
    InForce,
    Origin,
    list_requirements,
    load_requirement,
    requirement_names,
    requirements_in_force,
)
from benchsweep.limits._line import FAR_RATIOS, Band, Exemption, LimitLine, Source
from benchsweep.limits._load import parse_parameter
from benchsweep.limits._needed import needed_parameters
from benchsweep.limits._notes import length_note
from benchsweep.limits._requirement import Requirement
from benchsweep.limits._rules import (
    Construction,
    DirectCurrent,
    Length,
    Normalisation,
    NormaliseRule,
    Rule,
    Temperature,
    TemperatureSlope,
)
from benchsweep.limits._temperature import Conditions
from benchsweep.limits._values import LimitValue, checked_length, limit_curve, limit_value

__all__ = [
    "DECISION_RULES",
    "FAR_RATIOS",
    "SIMPLE",
    "Assess",
    "Band",
    "Conditions",
    "Constant",
    "Construction",
    "CordNext",
    "Decision",
    "Difference",
    "DirectCurrent",
    "Exemption",
    "Highest",
    "InForce",
    "Length",
    "LimitLine",
    "LimitValue",
    "LogLine",
    "MissingLength",
    "Normalisation",
    "NormaliseRule",
    "Origin",
    "Powers",
    "Ranked",
    "Requirement",
    "Rule",
    "Source",
    "Temperature",
    "TemperatureSlope",
    "VoltageSum",
    "as_graded",
    "checked_length",
    "error_gains",
    "grade",
    "highest",
    "length_note",
    "limit_curve",
    "limit_value",
    "list_requirements",
    "load_requirement",
    "needed_parameters",
    "not_counting",
    "parse_parameter",
    "requirement_names",
    "requirements_in_force",
    "whole_outcome",
]
