"""Drawings of the constants of a cable over frequency: impedance and its fit, structural return loss."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from matplotlib.axes import Axes

from benchsweep.records import CableConstants, End
from benchsweep.report._drawing import drawing, label_traces, pair_style, quiet, thinned, write_svg
from benchsweep.report._figures import draw_frequency_axis
from benchsweep.report._words import clean

__all__ = ["CABLE_WORDS", "draw_cable"]

Constant = Literal["impedance", "structural_return_loss"]

CABLE_WORDS: Mapping[Constant, str] = {
    "impedance": "characteristic impedance, measured and fitted",
    "structural_return_loss": "structural return loss",
}
_WIDTH_IN, _HEIGHT_IN = 7.6, 2.8
_WIDEST_OHM = 60.0


def draw_cable(what: Constant, constants: Sequence[CableConstants]) -> str:
    """Return the SVG element, one panel for each end.

    Parameters
    ----------
    what
        ``impedance``: its magnitude thin and light, the fitted function heavy; ``structural_return_loss``.
    """
    ends: list[End] = sorted({item.end for item in constants})
    with drawing(f"cable {what}", _WIDTH_IN, _HEIGHT_IN) as figure:
        for place, end in enumerate(ends):
            axes = figure.add_axes((place * 0.5 + 0.070, 0.145, 0.37, 0.775))
            axes.set_xscale("log")
            seen = [item for item in constants if item.end == end]
            for item in seen:
                _draw(axes, what, item)
            draw_frequency_axis(axes, [item.frequency_hz for item in seen])
            axes.set_xlabel("frequency / MHz", labelpad=1.5)
            axes.set_ylabel("impedance / ohm" if what == "impedance" else "structural return loss / dB")
            axes.yaxis.set_label_coords(-0.14, 0.5)
            axes.set_title(f"end {end}", loc="left", pad=4)
            quiet(axes)
        low, high = _range(what, constants)
        for axes in figure.axes:
            axes.set_ylim(low, high)
            label_traces(axes)
        return write_svg(figure, f"{CABLE_WORDS[what]} over frequency")


def _draw(axes: Axes, what: Constant, item: CableConstants) -> None:
    colour, dashes = pair_style(item.pair)
    at = item.frequency_hz / 1e6
    main = item.fitted_impedance_ohm if what == "impedance" else item.structural_return_loss_db
    if what == "impedance":
        index = thinned(item.frequency_hz, item.impedance_ohm, None)
        axes.plot(
            at[index], item.impedance_ohm[index], color=colour, linewidth=0.4, alpha=0.55, gid="measured"
        )
    index = thinned(item.frequency_hz, main, None)
    axes.plot(
        at[index],
        np.where(np.isfinite(main), main, np.nan)[index],
        color=colour,
        linestyle=dashes,
        linewidth=1.6 if what == "impedance" else 0.8,
        label=clean(item.pair),
        gid="trace",
    )


def _range(what: Constant, constants: Sequence[CableConstants]) -> tuple[float, float]:
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
