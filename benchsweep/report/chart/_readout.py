"""What a person can read off a chart, as JSON.

One object for a chart, in its order of panels::

    {"panels": [{"title": ..., "name": ..., "box": [x, y, width, height],
      "x": {"words": ..., "unit": ..., "log": true, "low": 1.0, "high": 500.0}, "y": {the same},
      "grids": [{"first": 1.0, "step": 0.5, "count": 1001} or {"values": [...]}],
      "limits": [{"name": ..., "sense": "min", "grid": 0, "data": PACKED}],
      "curves": [{"name": ..., "pairs": [...], "grid": 0, "data": PACKED, "limit": 0 or null,
                  "idle": [[start, stop], ...], "low": PACKED, "high": PACKED}],
      "bands": [{"name": ..., "grid": 0, "low": PACKED, "high": PACKED}],
      "marks": [{"x": ..., "y": ..., "words": ..., "pairs": [...]}]}],
     "scale": 1000}

``scale`` is how many steps a value of 1 has in ``PACKED``; where it is not there, 10 000.
``name`` is the short title of a panel, there only if its title says more. ``box`` is where the panel stands
in the SVG element's own units. ``PACKED`` is told in `_packing.packed`;
stretches begin at ``start`` and end before ``stop``. ``low`` and ``high`` of a curve (how far the true value
may lie below and above it) are there only if they are known. Points of a curve without a line are told in the
order of x.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from benchsweep.report.chart._layout import Frame
from benchsweep.report.chart._lettering import clean
from benchsweep.report.chart._model import Axis, Curve, Floats
from benchsweep.report.chart._packing import PER_UNIT, Packed, packed, stretches
from benchsweep.report.chart._scale import Scale

__all__ = ["readout"]

_NEAR = 1e-9


def readout(frames: list[Frame], per_unit: int = PER_UNIT) -> str:
    """Return the JSON; it holds no ``<``, ``>`` or ``&``, so that it may stand in a page.

    Parameters
    ----------
    per_unit
        How many steps a value of 1 has.
    """
    holder: dict[str, Any] = {"panels": [_panel(frame, per_unit) for frame in frames]}
    if per_unit != PER_UNIT:
        holder["scale"] = per_unit
    told = json.dumps(holder, separators=(",", ":"))
    for sign in "<>&":
        told = told.replace(sign, f"\\u{ord(sign):04x}")
    return told


def _panel(frame: Frame, per_unit: int) -> dict[str, Any]:
    panel = frame.panel
    grids = _Grids()
    curves = [_curve(curve, grids, loss=panel.y.loss) for curve in map(_rising, panel.curves)]
    limits = [
        {
            "name": clean(line.name),
            "sense": line.sense,
            "grid": grids.place(line.x),
            "data": grids.pack(line.x, line.y),
        }
        for line in panel.limits
    ]
    bands = [
        {"name": clean(band.name), "grid": grids.place(band.x)}
        | {"low": grids.pack(band.x, band.low), "high": grids.pack(band.x, band.high)}
        for band in panel.bands
    ]
    grids.finish(per_unit)
    box = [round(value, 1) for value in (frame.left, frame.top, frame.width, frame.height)]
    return {
        "title": " ".join(clean(panel.title).split()),
        **({"name": clean(panel.name)} if panel.name else {}),
        "box": box,
        "x": _axis(panel.x, frame.x),
        "y": _axis(panel.y, frame.y),
        "grids": grids.told,
        "limits": limits,
        "curves": curves,
        **({"bands": bands} if bands else {}),
        "marks": [
            {
                "x": mark.x,
                "y": mark.y,
                "words": clean(mark.words),
                "pairs": [clean(pair) for pair in mark.pairs],
            }
            for mark in panel.marks
            if mark.kind != "acceptance" and np.isfinite(mark.x) and np.isfinite(mark.y)
        ],
    }


def _axis(axis: Axis, scale: Scale) -> dict[str, Any]:
    told = {"words": clean(axis.words), "unit": clean(axis.unit), "log": axis.log}
    return told | {"low": scale.low, "high": scale.high}


def _rising(curve: Curve) -> Curve:
    """Return a curve of dots in the order of x, without the points that have no place."""
    if curve.look.width > 0.0:
        return curve
    order = np.argsort(curve.x, kind="stable")
    order = order[np.isfinite(curve.x[order])]
    return Curve(curve.name, curve.x[order], curve.y[order], curve.look, curve.pairs, curve.limit)


def _loss(values: Floats) -> Floats:
    """Return the loss in dB that magnitudes are; infinite of 0."""
    with np.errstate(divide="ignore"):
        told: Floats = -20.0 * np.log10(np.abs(values))
    return told


def _curve(curve: Curve, grids: _Grids, *, loss: bool) -> dict[str, Any]:
    told: dict[str, Any] = {
        "name": clean(curve.name),
        "pairs": [clean(pair) for pair in curve.pairs],
        "grid": grids.place(curve.x),
        "data": grids.pack(curve.x, _loss(curve.y) if loss else curve.y),
        "limit": curve.limit,
        "idle": [] if curve.idle is None else stretches(curve.idle),
    }
    if curve.low is not None and curve.high is not None:
        told |= {"low": grids.pack(curve.x, curve.low), "high": grids.pack(curve.x, curve.high)}
    return told


class _Grids:
    """The different x of a panel; values over the same x are packed together, at the end."""

    def __init__(self) -> None:
        self.told: list[dict[str, Any]] = []
        self._places: dict[bytes, int] = {}
        self._waiting: dict[int, list[tuple[Floats, dict[str, Any]]]] = {}

    def place(self, x: Floats) -> int:
        key = x.tobytes()
        if key not in self._places:
            self._places[key] = len(self.told)
            self.told.append(_grid(x))
        return self._places[key]

    def pack(self, x: Floats, y: Floats) -> dict[str, Any]:
        """Return what will hold `y`, packed, after `finish`."""
        holder: dict[str, Any] = {}
        self._waiting.setdefault(x.size, []).append((y, holder))
        return holder

    def finish(self, per_unit: int) -> None:
        for waiting in self._waiting.values():
            told: list[Packed] = packed(np.array([values for values, _ in waiting]), per_unit)
            for (_, holder), values in zip(waiting, told, strict=True):
                holder.update(values)


def _grid(x: Floats) -> dict[str, Any]:
    if x.size > 1 and np.isfinite(x).all():
        step = float(x[-1] - x[0]) / (x.size - 1)
        first = float(x[0])
        # Far from rounding errors of a sum the shortest number that does is the one that was meant.
        for digits in (6, 9, 17):
            near = float(f"{step:.{digits}g}")
            even = first + near * np.arange(x.size)
            if np.all(np.abs(even - x) <= _NEAR * np.abs(x)):
                return {"first": first, "step": near, "count": int(x.size)}
    return {"values": [float(f"{value:.10g}") if np.isfinite(value) else None for value in x.tolist()]}
