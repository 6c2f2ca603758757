"""Sampling plans: tables as data and closed rules, what a plan accepts, when its severity switches.

Tables of MIL-STD-105E (attributes) and MIL-STD-414 (variables) stand in ``tables/`` with source and
standing; zero-acceptance plans are computed. `Inspection` and `after_lot` are the switching rules.
"""

from benchsweep.statistics.sampling._attributes import LEVELS, aqls, attributes_plan, counts_nonconformities
from benchsweep.statistics.sampling._curve import acceptance_probability, operating_curve
from benchsweep.statistics.sampling._judge import judge_variables
from benchsweep.statistics.sampling._scheme import scheme_accepted
from benchsweep.statistics.sampling._switching import (
    START,
    Inspection,
    after_lot,
    directed,
    reduced_agreed,
    resumed,
)
from benchsweep.statistics.sampling._variables import VARIABLES_LEVELS, variables_aqls, variables_plan
from benchsweep.statistics.sampling._zero_acceptance import zero_acceptance_plan

__all__ = [
    "LEVELS",
    "START",
    "VARIABLES_LEVELS",
    "Inspection",
    "acceptance_probability",
    "after_lot",
    "aqls",
    "attributes_plan",
    "counts_nonconformities",
    "directed",
    "judge_variables",
    "operating_curve",
    "reduced_agreed",
    "resumed",
    "scheme_accepted",
    "variables_aqls",
    "variables_plan",
    "zero_acceptance_plan",
]
