from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import Self

from pydantic import Field, model_validator

from benchsweep.acquisition import ChosenGrid, choose_grid
from benchsweep.definitions import Definition
from benchsweep.qualification._requirements import frequency_range, load_requirements
from benchsweep.records import Spacing, SweepSegment, SweepSettings

__all__ = ["SegmentKeys", "SweepKeys"]

_MOST_POINTS = 100_001
_GRID_KEYS = ("start_mhz", "stop_mhz", "points")
_RULE_KEYS = ("longest_m", "velocity_factor", "most_points", "lowest_mhz")


class SegmentKeys(Definition):
    """``[[sweep.segments]]``: one stretch of a sweep in segments, both ends included."""

    start_mhz: float = Field(gt=0)
    stop_mhz: float = Field(gt=0)
    points: int = Field(ge=2, le=_MOST_POINTS)
    if_bandwidth_hz: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.start_mhz >= self.stop_mhz:
            raise ValueError("start_mhz must be below stop_mhz")
        return self

    def segment(self) -> SweepSegment:
        """Return the stretch in hertz."""
        return SweepSegment(self.start_mhz * 1e6, self.stop_mhz * 1e6, self.points, self.if_bandwidth_hz)


class SweepKeys(Definition):
    """``[sweep]``: grid and receiver settings.

    The grid is given in one of four ways: ``start_mhz``, ``stop_mhz`` and ``points``; ``[[sweep.segments]]``;
    ``requirements`` and ``longest_m``, from which it is chosen; or not at all, which is the analyzer's own
    after a preset. ``calibrate`` and ``qualify`` use the same grid, because a calibration is bound to one.

    Parameters
    ----------
    spacing
        ``linear``, ``logarithmic`` or ``segments``; None: linear, and with `requirements` segments when
        linear takes more points than the analyzer has.
    requirements, longest_m
        What the grid must cover, and the longest specimen for which it must be fine enough.
    velocity_factor
        Nominal velocity on the specimen over that of light.
    most_points, lowest_mhz
        What the analyzer can, where it does not say so itself.
    """

    start_mhz: float | None = Field(default=None, gt=0)
    stop_mhz: float | None = Field(default=None, gt=0)
    points: int | None = Field(default=None, ge=2, le=_MOST_POINTS)
    spacing: Spacing | None = None
    segments: tuple[SegmentKeys, ...] = ()
    requirements: tuple[str, ...] = ()
    longest_m: float | None = Field(default=None, gt=0, le=10_000)
    velocity_factor: float | None = Field(default=None, ge=0.4, le=1.0)
    most_points: int | None = Field(default=None, ge=11, le=_MOST_POINTS)
    lowest_mhz: float | None = Field(default=None, gt=0)
    if_bandwidth_hz: float = Field(gt=0)
    averages: int = Field(default=1, ge=1, le=1000)
    power_dbm: float = Field(default=-5.0, ge=-90, le=20)

    @model_validator(mode="after")
    def _one_grid(self) -> Self:
        given = [key for key in _GRID_KEYS if getattr(self, key) is not None]
        ways = [", ".join(given)] if given else []
        ways += ["segments"] if self.segments else []
        ways += ["requirements"] if self.requirements else []
        if len(ways) > 1:
            raise ValueError(f"{' and '.join(ways)} exclude each other: the grid is given in one way")
        if given and len(given) < len(_GRID_KEYS):
            raise ValueError("start_mhz, stop_mhz and points belong together: give all three or none")
        if self.start_mhz is not None and self.stop_mhz is not None and self.start_mhz >= self.stop_mhz:
            raise ValueError("start_mhz must be below stop_mhz")
        if self.requirements:
            if self.longest_m is None:
                raise ValueError("requirements needs longest_m, the length of the longest specimen")
            return self
        lone = [key for key in _RULE_KEYS if getattr(self, key) is not None]
        if lone:
            raise ValueError(f"{lone[0]} belongs to requirements, which is not given")
        return self

    @model_validator(mode="after")
    def _spacing_fits(self) -> Self:
        if self.segments:
            if self.spacing not in (None, "segments"):
                raise ValueError(f'segments and spacing = "{self.spacing}" exclude each other')
            for number, (lower, upper) in enumerate(pairwise(self.segments), start=2):
                if upper.start_mhz <= lower.stop_mhz:
                    raise ValueError(
                        f"segments[{number - 1}]: start_mhz {upper.start_mhz:g} must be above stop_mhz "
                        f"{lower.stop_mhz:g} of the segment before: no frequency twice"
                    )
            if sum(part.points for part in self.segments) > _MOST_POINTS:
                raise ValueError(f"segments: more than {_MOST_POINTS} points in all")
        elif self.spacing == "segments" and not self.requirements:
            raise ValueError('spacing = "segments" needs segments or requirements')
        elif self.spacing == "logarithmic" and self.points is None and not self.requirements:
            raise ValueError('spacing = "logarithmic" needs start_mhz, stop_mhz and points, or requirements')
        return self

    def chosen(
        self, limits: Mapping[str, float] | None = None, *, can_segments: bool = True
    ) -> ChosenGrid | None:
        """Return the grid chosen from `requirements` with its warnings; None when they do not decide it.

        Parameters
        ----------
        limits
            What the analyzer says of its own range, as in `AnalyzerIdentity`; the keys narrow it further.
        can_segments
            False: none are made, unless the station asks for them.

        Raises
        ------
        UnknownName, DefinitionError, UsageError
        """
        if not self.requirements or self.longest_m is None:
            return None
        start_hz, stop_hz = frequency_range(load_requirements(self.requirements))
        return self.chosen_for(start_hz, stop_hz, self.longest_m, limits, can_segments=can_segments)

    def chosen_for(
        self,
        start_hz: float,
        stop_hz: float,
        length_m: float,
        limits: Mapping[str, float] | None = None,
        *,
        can_segments: bool = True,
    ) -> ChosenGrid:
        """Return the grid that would be chosen for another range and length, in Hz and m.

        Raises
        ------
        UsageError
            The analyzer does not reach the range.
        """
        spacing = self.spacing if self.requirements else None
        if spacing is None and not can_segments:
            spacing = "linear"
        can = dict(limits or {})
        points = [can["max_points"]] if "max_points" in can else []
        points += [] if self.most_points is None else [self.most_points]
        extra = {} if self.velocity_factor is None else {"velocity_factor": self.velocity_factor}
        return choose_grid(
            start_hz,
            stop_hz,
            length_m,
            spacing=spacing,
            most_points=int(min(points)) if points else None,
            lowest_hz=max(can.get("min_frequency_hz", 0.0), (self.lowest_mhz or 0.0) * 1e6),
            highest_hz=can.get("max_frequency_hz", math.inf),
            **extra,
        )

    def settings(
        self, limits: Mapping[str, float] | None = None, *, can_segments: bool = True
    ) -> SweepSettings:
        """Return the settings to ask for; arguments as in `chosen`.

        Raises
        ------
        UnknownName, DefinitionError, UsageError
        """
        chosen = self.chosen(limits, can_segments=can_segments)
        if chosen is not None:
            return chosen.settings(
                if_bandwidth_hz=self.if_bandwidth_hz, averages=self.averages, power_dbm=self.power_dbm
            )
        return SweepSettings(
            start_hz=None if self.start_mhz is None else self.start_mhz * 1e6,
            stop_hz=None if self.stop_mhz is None else self.stop_mhz * 1e6,
            points=self.points,
            if_bandwidth_hz=self.if_bandwidth_hz,
            averages=self.averages,
            power_dbm=self.power_dbm,
            spacing="segments" if self.segments else self.spacing or "linear",
            segments=tuple(part.segment() for part in self.segments),
        )
