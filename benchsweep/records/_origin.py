from __future__ import annotations

from dataclasses import dataclass

from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["Origin"]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where along the specimen a reflection or a crosstalk comes from, in a band about one frequency.

    Parameters
    ----------
    parameter, end, pairs
        Which trace: return loss, NEXT or power sum NEXT.
    frequency_hz
        The frequency that was asked about.
    band_hz
        The band that was looked at: from, to.
    at_end
        The end that it comes from, where it comes from an end.
    from_m, to_m
        Where along the cable, in metres from end A; None where it comes from all of it or cannot be told.
    share
        The part of the received energy that comes from there; None where it cannot be told.
    words
        The place in words, with its share; or why it cannot be told.
    """

    parameter: Parameter
    end: End
    pairs: tuple[str, ...]
    frequency_hz: float
    band_hz: tuple[float, float]
    at_end: End | None
    from_m: float | None
    to_m: float | None
    share: float | None
    words: str
