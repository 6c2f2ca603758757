"""What a command family changes in the instrument behind its commands: spelling, preset, completion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["FamilyStyle"]


@dataclass(frozen=True, slots=True)
class FamilyStyle:
    """How the instrument of one command family spells and behaves.

    Parameters
    ----------
    plus_signs
        Whether numbers in answers carry a plus sign.
    identity_separator
        What stands between the fields of ``*IDN?``.
    channels
        How many measurement channels there are.
    first_measurement
        Name of the measurement of S11 that channel 1 has after a preset.
    selects_first
        Whether that measurement is selected after a preset.
    continuous
        Whether channels sweep continuously after a preset.
    completion
        What ``*OPC?`` does while a channel sweeps continuously: answer at once, at the end of a sweep, or
        not before the continuous sweep is ended.
    trigger_source
        The source after a preset, in its short form.
    average_mode
        How readings are averaged after a preset, in its short form.
    extension_s
        Delay of port 1 that the port extension corrects after a preset, and it is on; every further port
        has a tenth more. 0: this family has no port extension.
    if_bandwidths_hz
        Legal bandwidths where they are fewer than the hardware's.
    first_segments
        How many segments a channel has after a preset.
    segments_start_on
        Whether a segment that is added takes part at once.
    segment_bandwidths
        Whether the bandwidth of each segment is used after a preset, and not the channel's.
    sweep_time_knows_segments
        Whether ``SWEep:TIME?`` counts segments with their bandwidths.
    """

    plus_signs: bool = True
    identity_separator: str = ","
    channels: int = 4
    first_measurement: str = "CH1_S11_1"
    selects_first: bool = False
    continuous: bool = True
    completion: Literal["at-once", "sweep-end", "never"] = "at-once"
    trigger_source: str = "IMM"
    average_mode: str = "SWE"
    extension_s: float = 0.0
    if_bandwidths_hz: tuple[float, ...] = ()
    first_segments: int = 0
    segments_start_on: bool = True
    segment_bandwidths: bool = False
    sweep_time_knows_segments: bool = True
