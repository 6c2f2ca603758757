"""Charts of the constants of a cable over frequency: impedance and its fit, structural return loss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from benchsweep.records import CableConstants, End
from benchsweep.report.chart import Axis, Chart, Curve, Look, Panel
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content.charts._frame import Captioned, Grids, frequency_axis, named, over_frequency
from benchsweep.report.content.charts._looks import lightened, trace_look
from benchsweep.report.text import Texts, number, pairs_words

__all__ = ["cable_charts"]

Constant = Literal["impedance", "structural_return_loss"]

_CAPTIONS: dict[Constant, str] = {
    "impedance": "chart.characteristic_impedance",
    "structural_return_loss": "chart.structural_return_loss",
}
_WIDEST_OHM = 60.0
_MEASURED, _FITTED = 0.4, 1.6
_PANEL_HEIGHT = 190.0


def cable_charts(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return the charts of the cable constants, a panel for each end; none where there are none.

    The impedance as measured is thin, the function fitted to it heavy.
    """
    constants = findings_of(group).constants
    if not constants:
        return []
    return [
        (_chart(named(prefix, f"cable-{what.replace('_', '-')}"), what, constants, texts), (texts(key),))
        for what, key in _CAPTIONS.items()
    ]


def _chart(name: str, what: Constant, constants: Sequence[CableConstants], texts: Texts) -> Chart:
    ends: list[End] = sorted({item.end for item in constants})
    grids = Grids()
    low, high = _reach(what, constants)
    words = texts("chart.impedance") if what == "impedance" else texts("chart.structural_return_loss")
    y = Axis(words, "ohm" if what == "impedance" else "dB", low=low, high=high)
    panels = []
    for end in ends:
        seen = [item for item in constants if item.end == end]
        # What was fitted lies over all that was measured.
        both = [_curves(what, item, texts, grids) for item in seen]
        curves = [curve for layer in zip(*both, strict=True) for curve in layer]
        panels.append(
            Panel(
                title=texts("where.end", end=end),
                x=frequency_axis(texts, [curve.x for curve in curves]),
                y=y,
                curves=tuple(curves),
            )
        )
    told = texts(
        "chart.told_cable",
        what=over_frequency(texts(_CAPTIONS[what]), ends, texts),
        curves=texts("chart.curves", count=sum(len(panel.curves) for panel in panels)),
        extreme=_extreme(what, constants, texts),
    )
    return Chart(name, told, tuple(panels), panel_height=_PANEL_HEIGHT)


def _curves(what: Constant, item: CableConstants, texts: Texts, grids: Grids) -> list[Curve]:
    x, pairs = grids(item.frequency_hz), (item.pair,)
    name = pairs_words(pairs, texts)
    look = trace_look(pairs)
    if what == "structural_return_loss":
        return [Curve(name, x, item.structural_return_loss_db, look, pairs)]
    measured = Look(lightened(look.colour), width=_MEASURED)
    return [
        Curve(texts("chart.measured", pair=name), x, item.impedance_ohm, measured, pairs),
        Curve(
            texts("chart.fitted", pair=name),
            x,
            item.fitted_impedance_ohm,
            replace(look, width=_FITTED),
            pairs,
        ),
    ]


def _reach(what: Constant, constants: Sequence[CableConstants]) -> tuple[float, float]:
    """Return from where to where the axis runs; impedances far from the mean are those of no cable."""
    if what == "impedance":
        values = np.concatenate([item.impedance_ohm for item in constants])
        middle = float(np.mean([item.mean_impedance_ohm for item in constants]))
        values = np.clip(values[np.isfinite(values)], middle - _WIDEST_OHM, middle + _WIDEST_OHM)
        values = np.append(values, middle)
    else:
        values = np.concatenate([item.structural_return_loss_db for item in constants])
        values = values[np.isfinite(values)]
        values = values if values.size else np.array([0.0, 1.0])
    low, high = float(values.min()), float(values.max())
    margin = 0.06 * (high - low) or 0.5
    return low - margin, high + margin


def _extreme(what: Constant, constants: Sequence[CableConstants], texts: Texts) -> str:
    if what == "impedance":
        means = [item.mean_impedance_ohm for item in constants]
        low, high = number(min(means), texts, 1), number(max(means), texts, 1)
        return texts("chart.mean_from_to", low=low, high=high)
    least = [(float(item.structural_return_loss_db.min()), item) for item in constants]
    value, item = min(least, key=lambda found: found[0])
    return texts("chart.least_of", value=number(value, texts, 1), pair=item.pair, end=item.end)
