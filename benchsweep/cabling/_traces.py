from __future__ import annotations

from benchsweep.cabling._acr import attenuation_to_crosstalk_far, attenuation_to_crosstalk_near
from benchsweep.cabling._balance import equal_level_tctl, transverse_conversion_loss
from benchsweep.cabling._delay import delay_skew, propagation_delay
from benchsweep.cabling._fext import far_end_crosstalk
from benchsweep.cabling._insertion_loss import insertion_loss
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._next import near_end_crosstalk
from benchsweep.cabling._power_sums import power_sum_acr_far, power_sum_acr_near, power_sum_next
from benchsweep.cabling._return_loss import return_loss
from benchsweep.records import SMatrix, Trace

__all__ = ["compute_traces"]


def compute_traces(mixed: SMatrix, *, length_m: float | None = None) -> tuple[Trace, ...]:
    """Return every parameter trace that the data allow, parameter by parameter, end A before end B.

    Parameters
    ----------
    mixed
        Mixed-mode matrix, ports ``A:12/d`` … ``B:78/c``. Ports that were not measured give no traces.
    length_m
        Nominal length, for a safe delay; see `propagation_delay`.
    """
    losses = ModeLosses(mixed)
    delays = propagation_delay(losses, length_m=length_m)
    return (
        *insertion_loss(losses),
        *return_loss(losses),
        *near_end_crosstalk(losses),
        *power_sum_next(losses),
        *far_end_crosstalk(losses),
        *attenuation_to_crosstalk_near(losses),
        *power_sum_acr_near(losses),
        *attenuation_to_crosstalk_far(losses),
        *power_sum_acr_far(losses),
        *transverse_conversion_loss(losses),
        *equal_level_tctl(losses),
        *delays,
        *delay_skew(delays),
    )
