from __future__ import annotations

from dataclasses import dataclass

from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["AlienShare", "DisturberSufficiency"]


@dataclass(frozen=True, slots=True)
class AlienShare:
    """What one disturbing cable, or one pair of it, gives to an alien power sum of one pair.

    Parameters
    ----------
    parameter, end, pair
        Which power sum: ``ps_anext`` or ``ps_aacr_f`` of the disturbed `pair` received at `end`.
    cable
        Number of the disturbing cable, from 1.
    disturbing_pair
        The pair of that cable; None: all its pairs together.
    frequency_hz
        Where `share` and `value` hold: the worst point of the power sum.
    share
        Its part of the disturbing power there, 0 to 1.
    value
        What the parameter would be there with this disturber alone, in dB; infinite for a silent one.
    band_share
        The mean of its part of the disturbing power over all points, 0 to 1.
    """

    parameter: Parameter
    end: End
    pair: str
    cable: int
    disturbing_pair: str | None
    frequency_hz: float
    share: float
    value: float
    band_share: float


@dataclass(frozen=True, slots=True)
class DisturberSufficiency:
    """Whether disturbing cables that were not measured could change what the alien rows of a verdict say.

    Parameters
    ----------
    enough
        They could not.
    measured
        How many disturbing cables were measured.
    added_db
        By how much the power sum of the deciding row could be worse with further cables, at most, in dB.
    parameter, end, pairs
        The deciding row: the one that further cables come nearest to changing. None and empty where none can
        be changed, for all fail already.
    words
        One sentence that says it with its figures.
    """

    enough: bool
    measured: int
    added_db: float
    parameter: Parameter | None
    end: End | None
    pairs: tuple[str, ...]
    words: str
