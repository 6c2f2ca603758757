from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np

from benchsweep import cabling
from benchsweep.cabling.distance import COMMON_VELOCITY, PairVelocity, pair_velocities
from benchsweep.qualification._json import json_number
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import CableConstants, DistanceTrace, Fault, Parameter

__all__ = [
    "NOTHING_PLACED",
    "Location",
    "exit_code_of_location",
    "fault_document",
    "locate",
    "location_document",
    "worst_structural_return_loss",
]

NOTHING_PLACED = "nothing can be placed until the length fits"
"""What is said instead of places while the length cannot be right."""

# What looks like one pair at its two ends is then not one, or does not reach the other end.
_NO_FIT = "no delay that fits"
_NO_PAIR = {
    "open": "open",
    "short": "shorted",
    "crossed": "crossed: its two ends are not of one pair",
    "miswired": "miswired: its conductors are not of one pair",
}


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
    def doubt(self) -> str:
        """Why the length that was given cannot be right, in words; empty when it can, or none was given."""
        evaluation = self.evaluation
        given = evaluation.measurement.specimen.length_m
        doubt = cabling.length_doubt(evaluation.traces, given)
        if doubt or given is None or any(each.kind in _NO_PAIR for each in evaluation.wiring.findings):
            return doubt
        # All pairs lead to the other end, and their phase fits no delay that such a length can have.
        reasons = cabling.why_no_delay(evaluation.mixed, length_m=given)
        pairs = {trace.pairs for trace in evaluation.traces if trace.parameter is Parameter.INSERTION_LOSS}
        if not reasons or len(reasons) < len(pairs) or not all(_NO_FIT in each for each in reasons.values()):
            return ""
        return f"{next(iter(reasons.values()))}: check the length"

    @property
    def nothing_placed(self) -> bool:
        """True when no distance is told: the length cannot be right, and no velocity was given instead."""
        return bool(self.doubt) and self.velocity is None

    @property
    def _trusted_m(self) -> float | None:
        return None if self.doubt else self.evaluation.measurement.specimen.length_m

    @cached_property
    def electrical_length_m(self) -> float | None:
        """Length from the shortest delay, at the given velocity or at 0.67; None without a delay."""
        fraction = COMMON_VELOCITY if self.velocity is None else self.velocity
        return cabling.electrical_length(self.evaluation.traces, fraction)

    @property
    def length_m(self) -> float | None:
        """The length that was given, if the delay does not contradict it, else the electrical length."""
        return self.electrical_length_m if self._trusted_m is None else self._trusted_m

    @cached_property
    def velocities(self) -> Mapping[str, PairVelocity]:
        """Pair -> the velocity that makes distances of delays, and where it comes from."""
        return pair_velocities(self.evaluation.mixed, self._trusted_m, self.velocity)

    @cached_property
    def left_out(self) -> Mapping[str, str]:
        """Pair -> why it has no velocity of its own and no constants: no whole pair, or no delay."""
        told: dict[str, str] = {}
        for fault in self.faults:
            if fault.kind in _NO_PAIR:
                told |= {pair: _NO_PAIR[fault.kind] for pair in fault.pairs if pair not in told}
        reasons = cabling.why_no_delay(self.evaluation.mixed, length_m=self.length_m)
        return MappingProxyType({**reasons, **told})

    @property
    def own_velocities(self) -> Mapping[str, PairVelocity]:
        """Pair -> velocity, without what was not measured on that pair itself."""
        return {
            pair: each
            for pair, each in self.velocities.items()
            if each.standing == "given"
            or (not self.nothing_placed and not (each.standing == "measured" and pair in self.left_out))
        }

    @cached_property
    def why_no_time_domain(self) -> str:
        """Why the sweep was not turned into time, in words; empty when it was."""
        if self.nothing_placed:
            return NOTHING_PLACED
        slowest = min((each.fraction for each in self.velocities.values()), default=COMMON_VELOCITY)
        grid = self.evaluation.mixed.frequency_hz
        return cabling.why_no_time_domain(grid, self.length_m, velocity_fraction=slowest)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong, faults of wiring first; empty for a good specimen.

        Only those of wiring, without distances, when the length cannot be right.
        """
        return cabling.locate_faults(
            self.evaluation.measurement.corrected,
            self.evaluation.mixed,
            length_m=self._trusted_m,
            velocity=self.velocity,
            # The wiring check of the evaluation went by the length as told.
            wiring=None if self.doubt else self.evaluation.wiring,
            places=not self.nothing_placed,
        )

    @cached_property
    def profiles(self) -> tuple[DistanceTrace, ...]:
        """Reflection, crosstalk and impedance over the distance; empty when the sweep is not fit for it."""
        if self.nothing_placed:
            return ()
        mixed, length = self.evaluation.mixed, self._trusted_m
        return (
            *cabling.reflection_profile(mixed, length_m=length, velocity=self.velocity),
            *cabling.crosstalk_profile(mixed, length_m=length, velocity=self.velocity),
            *cabling.impedance_profile(mixed, length_m=length, velocity=self.velocity),
        )

    @cached_property
    def constants(self) -> tuple[CableConstants, ...]:
        """Constants of the cable of every whole pair at every end; empty without a length to trust.

        Which pairs are left out and why: `left_out`.
        """
        if self.nothing_placed or self.length_m is None or self.length_m <= 0.0:
            return ()
        found = cabling.cable_constants(self.evaluation.mixed, length_m=self.length_m)
        return tuple(each for each in found if each.pair not in self.left_out)


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
        "withdrawn": location.evaluation.noted.withdrawn or None,
        "corrections": list(location.evaluation.noted.words),
        "doubt": location.doubt,
        "specimen": measurement.specimen.identifier,
        "length_m": measurement.specimen.length_m,
        "electrical_length_m": json_number(location.electrical_length_m),
        "velocity": {
            pair: {"fraction": each.fraction, "standing": each.standing}
            for pair, each in location.own_velocities.items()
        },
        "why_no_time_domain": location.why_no_time_domain,
        "faults": [fault_document(fault) for fault in location.faults],
        "cable_constants": [_constants(each) for each in location.constants],
        "left_out": dict(location.left_out),
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
    worst_db, worst_hz = worst_structural_return_loss(each)
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
        "worst_structural_return_loss_db": json_number(worst_db),
        "worst_structural_return_loss_hz": json_number(worst_hz),
        "structural_return_loss_band_hz": [float(each.frequency_hz[0]), float(each.frequency_hz[-1])],
    }


def worst_structural_return_loss(each: CableConstants) -> tuple[float, float]:
    """Return the smallest structural return loss in dB and where it is in Hz."""
    at = int(np.argmin(each.structural_return_loss_db))
    return float(each.structural_return_loss_db[at]), float(each.frequency_hz[at])


def exit_code_of_location(location: Location) -> int:
    """Return 1 when something is wrong, 3 when nothing was found but not all could be looked at, else 0.

    Of a record that was withdrawn nothing is said: 3.
    """
    if location.evaluation.noted.withdrawn:
        return 3
    if any(fault.kind != "unclear" for fault in location.faults):
        return 1
    return 3 if location.faults or location.doubt or location.why_no_time_domain else 0
