from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from benchsweep import cabling
from benchsweep.cabling.distance import COMMON_VELOCITY, PairVelocity, pair_velocities
from benchsweep.qualification._documents import json_number
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import CableConstants, DistanceTrace, Fault

__all__ = ["Location", "exit_code_of_location", "fault_document", "locate", "location_document"]


@dataclass(frozen=True)
class Location:
    """What is wrong with a specimen and where, and what its places rest on; each is computed when asked for.

    Parameters
    ----------
    evaluation
        The reduced measurement.
    velocity
        Velocity over that of light as a person gave it; None: from the measured delay and the length.
    """

    evaluation: Evaluation
    velocity: float | None = None

    @cached_property
    def electrical_length_m(self) -> float | None:
        """Length from the shortest delay, at the given velocity or at 0.67; None without a delay."""
        fraction = COMMON_VELOCITY if self.velocity is None else self.velocity
        return cabling.electrical_length(self.evaluation.traces, fraction)

    @property
    def length_m(self) -> float | None:
        """The length that was given, else the electrical length."""
        given = self.evaluation.measurement.specimen.length_m
        return self.electrical_length_m if given is None else given

    @cached_property
    def velocities(self) -> Mapping[str, PairVelocity]:
        """Pair -> the velocity that makes distances of delays, and where it comes from."""
        given = self.evaluation.measurement.specimen.length_m
        return pair_velocities(self.evaluation.mixed, given, self.velocity)

    @cached_property
    def why_no_time_domain(self) -> str:
        """Why the sweep was not turned into time, in words; empty when it was."""
        slowest = min((each.fraction for each in self.velocities.values()), default=COMMON_VELOCITY)
        grid = self.evaluation.mixed.frequency_hz
        return cabling.why_no_time_domain(grid, self.length_m, velocity_fraction=slowest)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong, faults of wiring first; empty for a good specimen."""
        return cabling.locate_faults(
            self.evaluation.measurement.corrected,
            self.evaluation.mixed,
            length_m=self.evaluation.measurement.specimen.length_m,
            velocity=self.velocity,
            wiring=self.evaluation.wiring,
        )

    @cached_property
    def profiles(self) -> tuple[DistanceTrace, ...]:
        """Reflection, crosstalk and impedance over the distance; empty when the sweep is not fit for it."""
        mixed, length = self.evaluation.mixed, self.evaluation.measurement.specimen.length_m
        return (
            *cabling.reflection_profile(mixed, length_m=length, velocity=self.velocity),
            *cabling.crosstalk_profile(mixed, length_m=length, velocity=self.velocity),
            *cabling.impedance_profile(mixed, length_m=length, velocity=self.velocity),
        )

    @cached_property
    def constants(self) -> tuple[CableConstants, ...]:
        """Constants of the cable of every pair at every end; empty without a length."""
        if self.length_m is None or self.length_m <= 0.0:
            return ()
        return cabling.cable_constants(self.evaluation.mixed, length_m=self.length_m)


def locate(evaluation: Evaluation, *, velocity: float | None = None) -> Location:
    """Look for what is wrong with a specimen and where.

    `velocity`: over that of light, for all pairs; None takes it from the measured delay and the length, or
    0.67 where no length is known.

    Raises
    ------
    UsageError
        A velocity that is none.
    """
    location = Location(evaluation, velocity)
    # A wrong velocity is refused here, not where something is asked for later.
    _ = location.velocities
    return location


def location_document(location: Location, *, record: str = "") -> dict[str, Any]:
    """Return ``benchsweep.location/1``."""
    measurement = location.evaluation.measurement
    return {
        "schema": "benchsweep.location/1",
        "record": record,
        "specimen": measurement.specimen.identifier,
        "length_m": measurement.specimen.length_m,
        "electrical_length_m": json_number(location.electrical_length_m),
        "velocity": {
            pair: {"fraction": each.fraction, "standing": each.standing}
            for pair, each in location.velocities.items()
        },
        "why_no_time_domain": location.why_no_time_domain,
        "faults": [fault_document(fault) for fault in location.faults],
        "cable_constants": [_constants(each) for each in location.constants],
    }


def fault_document(fault: Fault) -> dict[str, Any]:
    """Return a fault as verdict and location documents hold it."""
    return {
        "kind": fault.kind,
        "end": fault.end,
        "pairs": list(fault.pairs),
        "contacts": list(fault.contacts),
        "from_m": json_number(fault.from_m),
        "to_m": json_number(fault.to_m),
        "words": fault.words,
        "evidence": list(fault.evidence),
    }


def _constants(each: CableConstants) -> dict[str, Any]:
    delay = each.delay_ns_per_100m
    return {
        "end": each.end,
        "pair": each.pair,
        "route": each.route,
        "mean_impedance_ohm": json_number(each.mean_impedance_ohm),
        "mean_band_hz": [json_number(value) for value in each.mean_band_hz],
        "fit_coefficients": [json_number(value) for value in each.fit_coefficients],
        "velocity_fraction": json_number(each.velocity_fraction),
        "delay_ns_per_100m": None if delay is None else json_number(float(delay[-1])),
        "capacitance_nf_per_100m": json_number(each.capacitance_nf_per_100m),
        "low_frequency_capacitance_nf_per_100m": json_number(each.low_frequency_capacitance_nf_per_100m),
        "worst_structural_return_loss_db": json_number(float(each.structural_return_loss_db.min())),
    }


def exit_code_of_location(location: Location) -> int:
    """Return 1 when something is wrong, 3 when nothing was found but not all could be looked at, else 0."""
    if any(fault.kind != "unclear" for fault in location.faults):
        return 1
    return 3 if location.faults or location.why_no_time_domain else 0
