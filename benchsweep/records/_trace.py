from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid
from benchsweep.records._ports import End

__all__ = ["Parameter", "Trace"]


class Parameter(StrEnum):
    """The transmission parameters by the names used in commands and JSON. Losses are positive dB."""

    INSERTION_LOSS = "insertion_loss"
    RETURN_LOSS = "return_loss"
    NEXT = "next"
    PS_NEXT = "ps_next"
    FEXT = "fext"
    ACR_N = "acr_n"
    PS_ACR_N = "ps_acr_n"
    ACR_F = "acr_f"
    PS_ACR_F = "ps_acr_f"
    TCL = "tcl"
    ELTCTL = "eltctl"
    DELAY = "delay"
    SKEW = "skew"
    PS_ANEXT = "ps_anext"
    PS_AACR_F = "ps_aacr_f"
    PS_ANEXT_AVERAGE = "ps_anext_average"
    PS_AACR_F_AVERAGE = "ps_aacr_f_average"

    @property
    def unit(self) -> Literal["dB", "ns"]:
        """The unit of the values."""
        return "ns" if self in (Parameter.DELAY, Parameter.SKEW) else "dB"

    @property
    def term(self) -> str:
        """The field's term for it, in English: ``insertion loss``, ``PS ACR-F``."""
        if self in _PLAIN:
            return self.value.replace("_", " ")
        mean = self.value.endswith("_average")
        words = self.value.removesuffix("_average").upper().split("_")
        # ACR-N and ACR-F end in the end at which the disturber is; PS stands apart.
        term = " ".join(words).replace("ACR N", "ACR-N").replace("ACR F", "ACR-F")
        return f"mean {term}" if mean else term


_PLAIN = frozenset(
    {Parameter.INSERTION_LOSS, Parameter.RETURN_LOSS, Parameter.DELAY, Parameter.SKEW},
)


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One parameter of one pair or pair combination over frequency.

    Parameters
    ----------
    parameter
        Which parameter; it fixes the unit.
    end
        Where the receiver is; None where the ends cannot differ (delay, skew).
    pairs
        ``("12",)``, or the disturbed (receiving) pair and the disturbing one: ``("12", "36")``; all four for
        the mean over the pairs of one end.
    frequency_hz, value
        ``(n_freq,)`` float64. Values may be ``+inf`` (no signal at all) but never NaN.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    frequency_hz: NDArray[np.float64]
    value: NDArray[np.float64]

    def __post_init__(self) -> None:
        grid = frozen_grid(self.frequency_hz)
        value = frozen_array(self.value, np.float64, (grid.size,), "value")
        # The smallest of some values is no number when one of them is none.
        if np.isnan(np.minimum.reduce(value)):
            raise ValueError(f"{self.parameter} {'-'.join(self.pairs)}: a trace may not hold NaN")
        object.__setattr__(self, "frequency_hz", grid)
        object.__setattr__(self, "value", value)
