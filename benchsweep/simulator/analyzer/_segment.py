"""One segment of a segmented sweep."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Segment", "segment_fault", "segment_grid"]

Real = NDArray[np.float64]


@dataclass(slots=True)
class Segment:
    """One segment: evenly spaced points with a bandwidth of their own.

    Parameters
    ----------
    on
        Whether it takes part in the sweep.
    """

    start_hz: float
    stop_hz: float
    points: int
    if_bandwidth_hz: float
    on: bool = True


def segment_grid(segments: Sequence[Segment]) -> Real:
    """Return the points of all segments, one segment after the other."""
    parts = [np.linspace(one.start_hz, one.stop_hz, one.points) for one in segments]
    return np.concatenate(parts) if parts else np.zeros(0)


def segment_fault(segments: Sequence[Segment], most_points: int) -> str:
    """Return why these segments cannot be swept, or an empty string.

    Neighbours may share a frequency, which is then measured twice.
    """
    if not segments:
        return "no segment is on"
    points = sum(one.points for one in segments)
    if points > most_points:
        return f"{points} points in all segments, there are at most {most_points}"
    if any(one.stop_hz < one.start_hz for one in segments):
        return "a segment stops below its start"
    if any(b.start_hz < a.stop_hz for a, b in itertools.pairwise(segments)):
        return "segments overlap or fall"
    return ""
