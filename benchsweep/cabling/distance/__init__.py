"""Where along the specimen: velocity and length, reflection, crosstalk and impedance over the distance.

The sweep is turned into time, and time into distance by the velocity of the pair. Distances are one way, in
metres, from the end where the signal is sent. Only sweeps fit for it are turned (`why_no_time_domain`).
"""

from benchsweep.cabling.distance._constants import (
    cable_constants,
    fit_impedance,
    structural_return_loss,
)
from benchsweep.cabling.distance._gate import TimeGrid, time_grid, why_no_time_domain
from benchsweep.cabling.distance._impedance import impedance_profile
from benchsweep.cabling.distance._loss import PairLoss, pair_losses
from benchsweep.cabling.distance._origin import LOCATED, trace_origins
from benchsweep.cabling.distance._profiles import crosstalk_profile, reflection_profile
from benchsweep.cabling.distance._transform import WINDOWS, TimeResponse, resolution_s, time_response
from benchsweep.cabling.distance._two_port import TwoPort
from benchsweep.cabling.distance._velocity import (
    COMMON_VELOCITY,
    LIGHT_M_PER_S,
    PairVelocity,
    electrical_length,
    nominal_velocity,
    pair_velocities,
)

__all__ = [
    "COMMON_VELOCITY",
    "LIGHT_M_PER_S",
    "LOCATED",
    "WINDOWS",
    "PairLoss",
    "PairVelocity",
    "TimeGrid",
    "TimeResponse",
    "TwoPort",
    "cable_constants",
    "crosstalk_profile",
    "electrical_length",
    "fit_impedance",
    "impedance_profile",
    "nominal_velocity",
    "pair_losses",
    "pair_velocities",
    "reflection_profile",
    "resolution_s",
    "structural_return_loss",
    "time_grid",
    "time_response",
    "trace_origins",
    "why_no_time_domain",
]
