"""Traces of simulated channels as the bench would have them, and testers that are made up from them.

A made-up tester is the bench's trace on its own grid plus an error for each parameter and each trace:
offset, tilt over the logarithm of the frequency, ripple and noise, together never beyond 1.5 dB, and up to
3 dB more in nulls. Delays are off by up to 4 % in common and 4 ns each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from benchsweep.cabling import compute_traces
from benchsweep.limits import limit_curve, load_requirement
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import FieldResult, FieldTrace, LimitCurve, Parameter, SMatrix, Trace
from benchsweep.simulator.specimen import load_specimen

__all__ = ["CHANNELS", "PARAMETERS", "bench", "limits", "made_tester", "renamed", "short_channel"]

CHANNELS = ("channel-100m", "link-90m", "short-channel", "cord-5m")
PARAMETERS = (
    Parameter.INSERTION_LOSS,
    Parameter.RETURN_LOSS,
    Parameter.NEXT,
    Parameter.PS_NEXT,
    Parameter.ACR_F,
    Parameter.DELAY,
    Parameter.SKEW,
)
LIMITED = tuple(parameter for parameter in PARAMETERS if parameter is not Parameter.SKEW)
_PAIR = {1: "12", 2: "12", 3: "36", 4: "45", 5: "45", 6: "36", 7: "78", 8: "78"}
_LENGTH_M = {"channel-100m": 100.0, "link-90m": 90.0, "short-channel": 24.0, "cord-5m": 5.0}

_SHORT = """
schema = 1
name = "short-channel"
description = "Channel of 24 m with three mated connections"
source = "Invented for these tests"
standing = "common-practice"
kind = "channel"
category = "6a"
seed = 7

[[piece]]
length_m = 3.0
stranded = true

[[piece]]
length_m = 16.0

[[piece]]
length_m = 5.0
stranded = true
"""


def short_channel(folder: Path) -> str:
    """Write the description of a short channel, and return its path."""
    path = folder / "short-channel.toml"
    path.write_text(_SHORT, encoding="utf-8")
    return str(path)


@lru_cache
def bench(name: str, points: int = 180, seed: int = 1, highest_hz: float = 500e6) -> tuple[Trace, ...]:
    """Return what a bench without errors measures, evenly over the logarithm of the frequency from 1 MHz."""
    grid = np.geomspace(1e6, highest_hz, points)
    with TemporaryDirectory() as folder:
        which = short_channel(Path(folder)) if name == "short-channel" else name
        s = load_specimen(which, seed=seed).scatter(grid)
    legs = tuple(f"{end}:{pair}.{contact}" for end in "AB" for contact, pair in _PAIR.items())
    mixed = to_mixed_mode(SMatrix(grid, s, legs, (50.0,) * len(legs)))
    return compute_traces(mixed, length_m=_LENGTH_M[name], parameters=PARAMETERS)


@lru_cache
def limits(requirement: str = "iso-ea-channel", points: int = 400) -> tuple[LimitCurve, ...]:
    """Return the limits of a channel."""
    grid = np.geomspace(1e6, 500e6, points)
    loaded = load_requirement(requirement)
    return tuple(
        limit_curve(loaded, parameter, grid) for parameter in LIMITED if loaded.line_of(parameter) is not None
    )


def made_tester(
    traces: Iterable[Trace], seed: int, *, grid_hz: np.ndarray | None = None, worst_db: float = 1.5
) -> FieldResult:
    """Return what a tester within its accuracy tells of a channel."""
    chance = np.random.default_rng(seed)
    common: dict[Parameter, tuple[float, float]] = {}
    faster = chance.uniform(-0.04, 0.04)
    told = []
    for trace in traces:
        grid = trace.frequency_hz if grid_hz is None else grid_hz
        value = np.interp(np.log(grid), np.log(trace.frequency_hz), trace.value)
        x = np.log(grid / grid[0]) / np.log(grid[-1] / grid[0] + 1e-12)
        if trace.parameter.unit == "ns":
            scale = 1.0 + faster
            error = value * (scale - 1.0) + chance.uniform(-4.0, 4.0)
        else:
            offset, tilt = common.setdefault(trace.parameter, tuple(chance.uniform(-0.5, 0.5, 2)))
            error = offset + tilt * x + chance.uniform(-0.4, 0.4) + chance.uniform(-0.4, 0.4) * x
            error = error + chance.uniform(0.1, 0.6) * np.sin(
                chance.uniform(5.0, 60.0) * x + chance.uniform(0, 6.3)
            )
            error = np.clip(error + chance.normal(0.0, 0.15, grid.size), -1.0, 1.0) * worst_db
            error = error + chance.uniform(-1.0, 1.0, grid.size) * 3.0 * nulls(value)
        told.append(FieldTrace(trace.parameter, trace.end, trace.pairs, "value", grid, value + error))
    return FieldResult(tuple(told))


def nulls(value: np.ndarray) -> np.ndarray:
    """Return 1 in the nulls of a loss, where it stands 5 dB above the median around it, 0 elsewhere."""
    half = max(2, value.size // 16)
    padded = np.pad(value, half, mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    return (value > around + 5.0).astype(float)


def renamed(result: FieldResult, change: Callable[[FieldTrace], FieldTrace]) -> FieldResult:
    """Return a result with every trace changed."""
    return replace(result, traces=tuple(change(trace) for trace in result.traces))
