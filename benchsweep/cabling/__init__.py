"""Cabling parameters from a mixed-mode matrix, and the wiring check.

Conventions. `end` is where the receiver is. Losses are positive dB; no signal at all is ``+inf``. Pairs stand
in the order 12, 36, 45, 78; where a parameter has two pairs the first is the disturbed (receiving) one. NEXT
and skew belong to a combination and are listed once. Delay and skew are in ns and have no end. Ports are
found by label, and what the data do not hold gives no trace.
"""

from benchsweep.cabling._acr import attenuation_to_crosstalk_far, attenuation_to_crosstalk_near
from benchsweep.cabling._alien import alien_average, alien_gaps, compute_alien
from benchsweep.cabling._alien_enough import enough_disturbers
from benchsweep.cabling._alien_shares import alien_shares
from benchsweep.cabling._balance import equal_level_tctl, transverse_conversion_loss
from benchsweep.cabling._delay import delay_skew, length_doubt, propagation_delay, why_no_delay
from benchsweep.cabling._fext import far_end_crosstalk
from benchsweep.cabling._insertion_loss import insertion_loss
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._next import near_end_crosstalk
from benchsweep.cabling._power_sums import power_sum_acr_far, power_sum_acr_near, power_sum_next
from benchsweep.cabling._return_loss import return_loss
from benchsweep.cabling._traces import compute_traces
from benchsweep.cabling._wiring import check_wiring
from benchsweep.cabling.distance import (
    cable_constants,
    crosstalk_profile,
    electrical_length,
    impedance_profile,
    nominal_velocity,
    reflection_profile,
    trace_origins,
    why_no_time_domain,
)
from benchsweep.cabling.faults import locate_faults

__all__ = [
    "ModeLosses",
    "alien_average",
    "alien_gaps",
    "alien_shares",
    "attenuation_to_crosstalk_far",
    "attenuation_to_crosstalk_near",
    "cable_constants",
    "check_wiring",
    "compute_alien",
    "compute_traces",
    "crosstalk_profile",
    "delay_skew",
    "electrical_length",
    "enough_disturbers",
    "equal_level_tctl",
    "far_end_crosstalk",
    "impedance_profile",
    "insertion_loss",
    "length_doubt",
    "locate_faults",
    "near_end_crosstalk",
    "nominal_velocity",
    "power_sum_acr_far",
    "power_sum_acr_near",
    "power_sum_next",
    "propagation_delay",
    "reflection_profile",
    "return_loss",
    "trace_origins",
    "transverse_conversion_loss",
    "why_no_delay",
    "why_no_time_domain",
]
