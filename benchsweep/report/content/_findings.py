"""What was found out about a specimen besides its verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsweep.records import AlienShare, CableConstants, DistanceTrace, Fault, Origin, Outcome

__all__ = ["BestCategory", "Findings", "KeptOutcome", "LengthRule"]


@dataclass(frozen=True)
class LengthRule:
    """How long a specimen may be by a requirement; it decides no outcome.

    Parameters
    ----------
    requirement
        Name.
    maximum_m, standing
        The length, and the standing of that figure.
    """

    requirement: str
    maximum_m: float
    standing: str


@dataclass(frozen=True)
class BestCategory:
    """The highest category that a specimen meets in one family of requirements.

    Parameters
    ----------
    family
        Standard and configuration, in words.
    requirement
        Name of the highest that passes; empty when none does.
    outcomes
        Of every requirement of the family that was tried, the highest first.
    """

    family: str
    requirement: str
    outcomes: Sequence[tuple[str, Outcome]]


@dataclass(frozen=True, slots=True)
class KeptOutcome:
    """What a grading says that the archive keeps.

    Parameters
    ----------
    made_at
        ISO 8601 time of the grading.
    decision_rule, edition
        By which rule; against which edition of the requirement.
    outcome
        Of the whole.
    """

    made_at: str
    decision_rule: str
    edition: str
    outcome: Outcome


@dataclass(frozen=True)
class Findings:
    """What was found out about a specimen besides its verdicts.

    Parameters
    ----------
    faults
        What is wrong, and where; numbered on the page in this order.
    origins
        From where along the specimen comes what fails.
    profiles
        Reflection, crosstalk and impedance over the distance.
    why_no_profiles
        Why there are none, in words.
    length_m
        The length that was told, else the electrical length; None when not known.
    electrical_length_m
        Length from the delay and a given or usual velocity; None without a delay.
    length_rules
        Those of the requirements that have one.
    constants
        Of the cable, for each end and pair; empty for what is no length of cable.
    shares
        What each disturbing cable gives to the alien power sums.
    enough_disturbers
        Whether enough disturbing cables were measured, in words.
    best
        The highest category that passes, for each family that was tried.
    """

    faults: Sequence[Fault] = ()
    origins: Sequence[Origin] = ()
    profiles: Sequence[DistanceTrace] = ()
    why_no_profiles: str = ""
    length_m: float | None = None
    electrical_length_m: float | None = None
    length_rules: Sequence[LengthRule] = ()
    constants: Sequence[CableConstants] = ()
    shares: Sequence[AlienShare] = ()
    enough_disturbers: str = ""
    best: Sequence[BestCategory] = ()
