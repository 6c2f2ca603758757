"""A chart as SVG and as what can be read off it."""

from __future__ import annotations

from benchsweep.report.chart._axes import axes_over, axes_under, legend
from benchsweep.report.chart._curves import curve_rows, curves
from benchsweep.report.chart._labels import Places
from benchsweep.report.chart._layout import WIDTH, Frame, laid_out, views
from benchsweep.report.chart._lettering import BASE, escaped, number
from benchsweep.report.chart._limits import limit_lines, limit_numbers, limit_rows, shading
from benchsweep.report.chart._marks import band_rows, bands, levels, marks, note, spans
from benchsweep.report.chart._model import Chart, Picture
from benchsweep.report.chart._names import named
from benchsweep.report.chart._packing import COARSE_PER_UNIT, PER_UNIT
from benchsweep.report.chart._readout import readout as told
from benchsweep.report.chart._thinning import COARSE, FINE, Thinning
from benchsweep.report.chart._traces import Traces

__all__ = ["FONT", "picture"]

FONT = "Helvetica Neue, Arial, Liberation Sans, sans-serif"


def picture(chart: Chart, *, readout: bool = True, font: str = FONT, coarse: bool = False) -> Picture:
    """Draw a chart.

    Parameters
    ----------
    chart
        What to draw. The same chart gives the same letters.
    readout
        Whether what can be read off it is told as well (only a page with a script needs it).
    font
        Families, separated by commas; the first that there is writes all words.
    coarse
        In fewer letters, for one chart among thousands: curves with the extremes of each 1/100 of the width,
        values to be read off in steps of 0.001 instead of 0.0001.

    Returns
    -------
    Picture
        An ``<svg>`` element, 547 units wide (7.6 inches), of presentation attributes alone, and the JSON told
        in `_readout`. Curves are drawn with the least and the greatest value of each 1/250 of the panel's
        width, and with each point that a mark stands at. ``data-view`` of a panel is the part of the drawing
        (x, y, width, height) that it and its words take: each can be shown by itself.
    """
    layout = laid_out(chart)
    hatch = f"{escaped(chart.name)}-hatch"
    thinning = COARSE if coarse else FINE
    hatched = any(not span.faint for panel in chart.panels for span in panel.spans)
    clips = "".join(
        f'<clipPath id="{escaped(frame.clip)}"><rect x="{number(frame.left)}" y="{number(frame.top)}" '
        f'width="{number(frame.width)}" height="{number(frame.height)}"/></clipPath>'
        for frame in layout.frames
    )
    pattern = (
        f'<pattern id="{hatch}" width="4" height="4" patternUnits="userSpaceOnUse">'
        '<path d="M-1 1l2-2M0 4l4-4M3 5l2-2" fill="none" stroke="#8a8a8a" stroke-width=".6"/></pattern>'
        if hatched
        else ""
    )
    panels = "".join(
        f'<g class="panel" data-view="{" ".join(map(number, view))}" '
        f'aria-label="{escaped(" ".join(frame.panel.title.split()))}">{_panel(frame, hatch, thinning)}</g>'
        for frame, view in zip(layout.frames, views(layout), strict=True)
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {layout.height:g}" role="img" '
        f'aria-label="{escaped(chart.words)}" class="chart" font-family="{escaped(font)}" '
        f'font-size="{BASE:g}" fill="#111" stroke-linejoin="round">'
        f"<defs>{clips}{pattern}</defs>{legend(layout.legend)}{panels}</svg>"
    )
    values = told(layout.frames, COARSE_PER_UNIT if coarse else PER_UNIT) if readout else ""
    return Picture(chart.name, chart.words, svg, values)


def _panel(frame: Frame, hatch: str, thinning: Thinning) -> str:
    rows = Traces(frame, thinning)
    of_curves, of_limits, of_bands = curve_rows(frame, rows), limit_rows(frame, rows), band_rows(frame, rows)
    traces = rows.made()
    names = named(frame)
    places = Places(frame.left, frame.top, frame.right, frame.bottom)
    told_marks = marks(frame, places)
    return "".join(
        (
            shading(frame, of_limits, traces),
            spans(frame, hatch),
            axes_under(frame),
            levels(frame),
            bands(of_bands, traces),
            curves(frame, of_curves, traces, names),
            limit_lines(of_limits, traces, names.get(-1, "")),
            axes_over(frame),
            limit_numbers(frame, places),
            told_marks,
            note(frame, places),
        )
    )
