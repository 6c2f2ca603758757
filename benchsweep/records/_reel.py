from __future__ import annotations

from dataclasses import dataclass

from benchsweep.records._grading import Outcome
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["ReelConstants", "ReelMargin", "ReelResult"]


@dataclass(frozen=True, slots=True)
class ReelMargin:
    """The worst margin of one parameter at one end of a reel, over its pairs.

    Parameters
    ----------
    parameter, end, pairs
        Which trace was the worst; `end` is None where the ends cannot differ.
    margin
        Distance to the limit, positive is good, in the unit of the parameter; after normalisation to the
        reference length and temperature. None where it is not known.
    frequency_hz, value, limit
        Where that is, the normalised value there, the limit there.
    expanded_uncertainty
        k = 2, of the value; None without a budget.
    outcome
        The worst outcome among the rows of the parameter at this end.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    margin: float | None
    frequency_hz: float | None
    value: float | None
    limit: float | None
    expanded_uncertainty: float | None
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class ReelConstants:
    """The constants of one pair seen from one end.

    Parameters
    ----------
    end, pair
        Where it was looked into.
    velocity_fraction
        Phase velocity at the highest frequency over that of light; None without a delay.
    mean_impedance_ohm
        Mean magnitude of the characteristic impedance from 100 MHz on.
    fitted_impedance_ohm
        Fitted function at 100 MHz, or at the highest frequency below it.
    structural_return_loss_db, structural_at_hz
        The smallest structural return loss, and where it is.
    capacitance_nf_per_100m
        Mutual capacitance; None without a delay.
    """

    end: End
    pair: str
    velocity_fraction: float | None
    mean_impedance_ohm: float
    fitted_impedance_ohm: float
    structural_return_loss_db: float
    structural_at_hz: float
    capacitance_nf_per_100m: float | None


@dataclass(frozen=True, slots=True)
class ReelResult:
    """What one record says of one reel against the requirement of its lot; the reel is the unit.

    Parameters
    ----------
    length_m, temperature_degc
        Of the length that was tested; the temperature is None where the requirement needs none.
    outcome
        Of the whole. Pass and conditional pass conform, fail and conditional fail do not.
    margins
        For each parameter and end the worst of all pairs.
    failing
        What does not conform, in words, one sentence each.
    doubts, notes
        Of the verdict, in words.
    constants
        Of each whole pair at each end; empty where the length cannot be right.
    skew_ns_per_100m
        Largest difference between the delays of two pairs at any frequency; None where it was not measured.
    measured_at
        ISO 8601 time in UTC.
    """

    length_m: float
    temperature_degc: float | None
    outcome: Outcome
    margins: tuple[ReelMargin, ...]
    failing: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    constants: tuple[ReelConstants, ...] = ()
    skew_ns_per_100m: float | None = None
    measured_at: str = ""

    @property
    def conforms(self) -> bool | None:
        """Whether the reel conforms; None: undecided."""
        if self.outcome is Outcome.UNDECIDED:
            return None
        return self.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS)

    def margin_of(self, parameter: Parameter, end: End | None = None) -> ReelMargin | None:
        """Return the worst margin of a parameter, at one end or (None) of both; None where there is none."""
        found = [
            each
            for each in self.margins
            if each.parameter is parameter and (end is None or each.end in (None, end))
        ]
        known = [each for each in found if each.margin is not None]
        return min(known, key=lambda each: each.margin or 0.0) if known and len(known) == len(found) else None
