"""Which frequencies are swept: from what a requirement asks for and how long the specimen is. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchsweep.acquisition._grid_warnings import grid_warnings, mhz
from benchsweep.acquisition._ripple import VELOCITY_FACTOR, allowed_step_hz, ripple_step_hz
from benchsweep.errors import UsageError
from benchsweep.records import Spacing, SweepSegment, SweepSettings

__all__ = ["ChosenGrid", "choose_grid", "grid_text", "settings_grid"]

_MOST_POINTS = 100_001
_EPS = 1e-9
_ROUND_STEPS = (1.0, 2.0, 2.5, 5.0)
_EDGES = (1.0, 2.0, 5.0)
# In a segment that begins at f the step is at most f/10, so that limit lines, which are drawn over the
# logarithm of the frequency, are followed as well.
_STEPS_TO_EDGE = 10.0
_COARSER = tuple(m * 10.0**e for e in range(4) for m in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0))


@dataclass(frozen=True, slots=True)
class ChosenGrid:
    """A frequency grid and what it is not fit for.

    Parameters
    ----------
    spacing
        ``linear``, ``logarithmic`` or ``segments``.
    start_hz, stop_hz, points
        First and last frequency and how many there are in all.
    segments
        The stretches, each linear; empty unless `spacing` is ``segments``.
    limited
        What the analyzer cannot give of what the range and the rule ask for, in words; mostly empty.
    warnings
        `limited` and what the grid is too coarse for; empty when it is fit for all.
    """

    spacing: Spacing
    start_hz: float
    stop_hz: float
    points: int
    segments: tuple[SweepSegment, ...] = ()
    limited: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def settings(self, *, if_bandwidth_hz: float, averages: int, power_dbm: float) -> SweepSettings:
        """Return the sweep settings with this grid."""
        whole = not self.segments
        return SweepSettings(
            start_hz=self.start_hz if whole else None,
            stop_hz=self.stop_hz if whole else None,
            points=self.points if whole else None,
            if_bandwidth_hz=if_bandwidth_hz,
            averages=averages,
            power_dbm=power_dbm,
            spacing=self.spacing,
            segments=self.segments,
        )


@dataclass(frozen=True, slots=True)
class _Wanted:
    """The range asked for, the specimen, and what the analyzer can."""

    start_hz: float
    stop_hz: float
    length_m: float
    velocity_factor: float
    most_points: int
    lowest_hz: float
    highest_hz: float


def choose_grid(
    start_hz: float,
    stop_hz: float,
    length_m: float,
    *,
    spacing: Spacing | None = None,
    velocity_factor: float = VELOCITY_FACTOR,
    most_points: int | None = None,
    lowest_hz: float = 0.0,
    highest_hz: float = math.inf,
) -> ChosenGrid:
    """Choose a grid that covers a range and is fine enough for a specimen.

    The ripple that reflections at both ends make has a period of 1/(2 tau), with tau the delay of the
    specimen. A step of at most 1/(20 tau), ten points per period, misses no peak of it by more than
    -20 log10 cos(pi/20) = 0.11 dB (`missed_peak_db` has the derivation). The step is rounded down to 1, 2,
    2.5 or 5 times a power of ten.

    A linear grid starts at its own step (harmonic grid, fit for time domain) or, where the analyzer does not
    go so low, at the lowest multiple of it. When that takes more points than the analyzer has, segments are
    made, fine at low frequencies and coarser where the loss of the cable flattens the ripple; when segments
    are not wanted or do not fit either, the grid is coarser than the rule and says so.

    Parameters
    ----------
    start_hz, stop_hz
        The range that must be covered.
    length_m
        Longest specimen.
    spacing
        None: linear, or segments when linear takes too many points. ``linear``: never segments. ``segments``:
        segments at once, the fewest points. ``logarithmic``: no finer than the rule asks at the top.
    velocity_factor
        Nominal velocity over that of light.
    most_points, lowest_hz, highest_hz
        What the analyzer can.

    Raises
    ------
    UsageError
        A range, length or limit that makes no sense.
    """
    wanted = _Wanted(
        start_hz=max(start_hz, lowest_hz),
        stop_hz=min(stop_hz, highest_hz),
        length_m=length_m,
        velocity_factor=velocity_factor,
        most_points=min(most_points or _MOST_POINTS, _MOST_POINTS),
        lowest_hz=lowest_hz,
        highest_hz=highest_hz,
    )
    _check(start_hz, stop_hz, wanted)
    said: list[str] = []
    if start_hz < wanted.start_hz:
        said.append(f"the analyzer starts at {mhz(lowest_hz)}, {mhz(start_hz)} is asked for")
    if stop_hz > wanted.stop_hz:
        said.append(f"the analyzer stops at {mhz(highest_hz)}, {mhz(stop_hz)} is asked for")
    segments: tuple[SweepSegment, ...] = ()
    kind: Spacing = "linear"
    if spacing == "logarithmic":
        kind = "logarithmic"
        frequency_hz, too_many = _logarithmic(wanted)
    else:
        segments, too_many = _stretches(wanted, spacing)
        frequency_hz = segments_grid(segments)
    if len(segments) > 1:
        kind = "segments"
    limited = (*said, *too_many)
    return ChosenGrid(
        spacing=kind,
        start_hz=float(frequency_hz[0]),
        stop_hz=float(frequency_hz[-1]),
        points=frequency_hz.size,
        segments=segments if kind == "segments" else (),
        limited=limited,
        warnings=(*limited, *grid_warnings(frequency_hz, length_m, velocity_factor=velocity_factor)),
    )


def settings_grid(settings: SweepSettings) -> NDArray[np.float64] | None:
    """Return the frequencies that `settings` ask for, ``(n_freq,)``; None: the analyzer's own."""
    if settings.segments:
        return segments_grid(settings.segments)
    if settings.start_hz is None or settings.stop_hz is None or settings.points is None:
        return None
    space = np.geomspace if settings.spacing == "logarithmic" else np.linspace
    return np.asarray(space(settings.start_hz, settings.stop_hz, settings.points), dtype=np.float64)


def segments_grid(segments: Sequence[SweepSegment]) -> NDArray[np.float64]:
    """Return the frequencies of segments, ``(n_freq,)``."""
    return np.concatenate([np.linspace(part.start_hz, part.stop_hz, part.points) for part in segments])


def grid_text(settings: SweepSettings) -> str:
    """Return the grid of `settings` in words.

    Examples
    --------
    >>> grid_text(SweepSettings(1e6, 500e6, 500, 1000.0))
    '1 MHz to 500 MHz in steps of 1 MHz, 500 points'
    """
    grid = settings_grid(settings)
    if grid is None:
        return "the analyzer's own grid after a preset"
    ends = f"{mhz(float(grid[0]))} to {mhz(float(grid[-1]))}"
    if settings.segments:
        parts = [_stretch(part, settings.if_bandwidth_hz) for part in settings.segments]
        return f"{ends} in segments, {grid.size} points: {'; '.join(parts)}"
    if settings.spacing == "logarithmic":
        return f"{ends}, logarithmic, {grid.size} points"
    return f"{ends} in steps of {mhz(float(grid[-1] - grid[0]) / (grid.size - 1))}, {grid.size} points"


def _stretch(part: SweepSegment, bandwidth_hz: float) -> str:
    step = (part.stop_hz - part.start_hz) / (part.points - 1)
    words = f"from {mhz(part.start_hz)} in steps of {mhz(step)}"
    own = part.if_bandwidth_hz
    return words if own is None or own == bandwidth_hz else f"{words} at {own:g} Hz bandwidth"


def _check(start_hz: float, stop_hz: float, wanted: _Wanted) -> None:
    if not (0.0 < start_hz < stop_hz and math.isfinite(stop_hz)):
        raise UsageError(f"a sweep from {mhz(start_hz)} to {mhz(stop_hz)} makes no sense")
    if not (0.0 < wanted.length_m <= 10_000.0):
        raise UsageError(f"a length of {wanted.length_m:g} m makes no sense", hint="Give metres, above 0.")
    if not 0.0 < wanted.velocity_factor <= 1.0:
        raise UsageError(f"a velocity factor of {wanted.velocity_factor:g} makes no sense", hint="E.g. 0.67.")
    if wanted.most_points < 2:
        raise UsageError(f"a grid of at most {wanted.most_points} point(s) makes no sense")
    if not wanted.start_hz < wanted.stop_hz:
        raise UsageError(
            f"{mhz(start_hz)} to {mhz(stop_hz)} is asked for, the analyzer goes from {mhz(wanted.lowest_hz)} "
            f"to {mhz(wanted.highest_hz)}",
            hint="Another analyzer, or another requirement.",
        )


def _stretches(wanted: _Wanted, spacing: Spacing | None) -> tuple[tuple[SweepSegment, ...], list[str]]:
    """Return the stretches of the grid, a linear one being a single stretch, and what has to be said."""
    rule = _round_down(ripple_step_hz(wanted.length_m, wanted.velocity_factor))
    plain = _linear(wanted, min(rule, _round_down(wanted.start_hz)))
    if spacing != "segments" and plain.points <= wanted.most_points:
        return (plain,), []
    if spacing != "linear":
        fine = _segments(wanted, coarser=1.0)
        for coarser in _COARSER:
            made = _segments(wanted, coarser=coarser)
            if _count(made) <= wanted.most_points:
                return made, [] if coarser == 1.0 else [_too_many(_count(fine), wanted)]
    coarse = plain
    for step in _steps_up(rule):
        coarse = _linear(wanted, step)
        if coarse.points <= wanted.most_points:
            break
    return (coarse,), [_too_many(plain.points, wanted)]


def _count(segments: Sequence[SweepSegment]) -> int:
    return sum(part.points for part in segments)


def _too_many(points: int, wanted: _Wanted) -> str:
    return (
        f"{points} points are needed for {wanted.length_m:g} m, the analyzer sweeps at most "
        f"{wanted.most_points}: the grid is coarser than it should be"
    )


def _linear(wanted: _Wanted, step_hz: float) -> SweepSegment:
    """Return a linear grid of about that step: on multiples of it where possible."""
    first = max(1, math.ceil(wanted.lowest_hz / step_hz - _EPS))
    last = math.ceil(wanted.stop_hz / step_hz - _EPS)
    start, stop = first * step_hz, last * step_hz
    if start <= wanted.start_hz * (1.0 + _EPS) and stop <= wanted.highest_hz * (1.0 + _EPS):
        return SweepSegment(start, stop, last - first + 1)
    return _from_to(wanted.start_hz, wanted.stop_hz, step_hz)


def _from_to(start_hz: float, stop_hz: float, step_hz: float) -> SweepSegment:
    points = max(2, math.ceil((stop_hz - start_hz) / step_hz - _EPS) + 1)
    return SweepSegment(start_hz, stop_hz, points)


def _segments(wanted: _Wanted, *, coarser: float) -> tuple[SweepSegment, ...]:
    """Return stretches whose steps follow `allowed_step_hz`, `coarser` times the step that it allows."""
    lowest = wanted.start_hz
    edges = [lowest, *_round_edges(lowest, wanted.stop_hz), wanted.stop_hz]
    stretches: list[tuple[float, float]] = []  # step, upper edge
    for lower, upper in pairwise(edges):
        allowed = allowed_step_hz(lower, wanted.length_m, wanted.velocity_factor)
        step = _round_down(coarser * min(allowed, max(lower / _STEPS_TO_EDGE, lowest)))
        if stretches and step <= stretches[-1][0]:
            stretches[-1] = (stretches[-1][0], upper)
        else:
            stretches.append((step, upper))
    made: list[SweepSegment] = []
    at = lowest
    for step, upper in stretches:
        if made:
            at = made[-1].stop_hz + step
        if upper - at < step * (1.0 - _EPS) and made:
            continue  # too short for two points: the next stretch goes on from there
        intervals = max(1, math.ceil((upper - at) / step - _EPS))
        stop = at + intervals * step
        if stop > wanted.highest_hz:
            stop = wanted.highest_hz
        made.append(SweepSegment(at, stop, intervals + 1))
    return _reach(made, wanted)


def _reach(made: list[SweepSegment], wanted: _Wanted) -> tuple[SweepSegment, ...]:
    """Return the stretches, the last one drawn out to the end of the range where it stops short of it."""
    last = made[-1]
    if last.stop_hz < wanted.stop_hz * (1.0 - _EPS):
        step = (last.stop_hz - last.start_hz) / (last.points - 1)
        made[-1] = _from_to(last.start_hz, wanted.stop_hz, step)
    return tuple(made)


def _round_edges(low_hz: float, high_hz: float) -> list[float]:
    """Return 1, 2 and 5 times powers of ten between two frequencies, both excluded."""
    exponents = range(math.floor(math.log10(low_hz)), math.ceil(math.log10(high_hz)) + 1)
    edges = [m * 10.0**e for e in exponents for m in _EDGES]
    return [edge for edge in edges if low_hz * (1.0 + _EPS) < edge < high_hz * (1.0 - _EPS)]


def _logarithmic(wanted: _Wanted) -> tuple[NDArray[np.float64], list[str]]:
    """Return equal ratios with a last step no larger than the rule allows, and what has to be said."""
    step = ripple_step_hz(wanted.length_m, wanted.velocity_factor)
    ratio = -math.log1p(-min(step / wanted.stop_hz, 0.5))
    points = max(2, math.ceil(math.log(wanted.stop_hz / wanted.start_hz) / ratio) + 1)
    said = [_too_many(points, wanted)] if points > wanted.most_points else []
    return np.geomspace(wanted.start_hz, wanted.stop_hz, min(points, wanted.most_points)), said


def _round_down(value: float) -> float:
    """Return the largest of 1, 2, 2.5 and 5 times a power of ten that is not above `value`."""
    power = 10.0 ** math.floor(math.log10(value * (1.0 + _EPS)))
    return max(step * power for step in _ROUND_STEPS if step * power <= value * (1.0 + _EPS))


def _steps_up(step_hz: float) -> list[float]:
    """Return `step_hz` and the round steps above it, over ten powers of ten."""
    power = math.floor(math.log10(step_hz * (1.0 + _EPS)))
    steps = [m * 10.0**e for e in range(power, power + 11) for m in _ROUND_STEPS]
    return [step for step in steps if step >= step_hz * (1.0 - _EPS)]
