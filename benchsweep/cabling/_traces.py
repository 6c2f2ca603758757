from __future__ import annotations

from collections.abc import Callable, Collection

from benchsweep.cabling._acr import attenuation_to_crosstalk_far, attenuation_to_crosstalk_near
from benchsweep.cabling._balance import equal_level_tctl, transverse_conversion_loss
from benchsweep.cabling._delay import delay_skew, propagation_delay
from benchsweep.cabling._fext import far_end_crosstalk
from benchsweep.cabling._insertion_loss import insertion_loss
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._next import near_end_crosstalk
from benchsweep.cabling._power_sums import power_sum_acr_far, power_sum_acr_near, power_sum_next
from benchsweep.cabling._return_loss import return_loss
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["compute_traces"]


_IN_ORDER: tuple[tuple[Parameter, Callable[[ModeLosses], tuple[Trace, ...]]], ...] = (
    (Parameter.INSERTION_LOSS, insertion_loss),
    (Parameter.RETURN_LOSS, return_loss),
    (Parameter.NEXT, near_end_crosstalk),
    (Parameter.PS_NEXT, power_sum_next),
    (Parameter.FEXT, far_end_crosstalk),
    (Parameter.ACR_N, attenuation_to_crosstalk_near),
    (Parameter.PS_ACR_N, power_sum_acr_near),
    (Parameter.ACR_F, attenuation_to_crosstalk_far),
    (Parameter.PS_ACR_F, power_sum_acr_far),
    (Parameter.TCL, transverse_conversion_loss),
    (Parameter.ELTCTL, equal_level_tctl),
)


def compute_traces(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    parameters: Collection[Parameter] | None = None,
) -> tuple[Trace, ...]:
    """Return every parameter trace that the data allow, parameter by parameter, end A before end B.

    Parameters
    ----------
    mixed
        Mixed-mode matrix, ports ``A:12/d`` … ``B:78/c``. Ports that were not measured give no traces.
    length_m
        Nominal length, for a safe delay; see `propagation_delay`.
    parameters
        Only these; None: all. What is left out changes nothing of what is not.
    """
    losses = ModeLosses.of(mixed)
    found: list[Trace] = []
    for parameter, derive in _IN_ORDER:
        if parameters is None or parameter in parameters:
            found += derive(losses)
    delay, skew = (parameters is None or one in parameters for one in (Parameter.DELAY, Parameter.SKEW))
    if delay or skew:
        delays = propagation_delay(losses, length_m=length_m)
        found += delays if delay else ()
        found += delay_skew(delays) if skew else ()
    return tuple(found)
