"""How a product does over its lots: capability, control charts, what they signal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchsweep.records import ChartSignal, ControlChart, ProcessView, ToleranceLimits
from benchsweep.report.terminal._english import number, parameter_words, signed
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, wrapped
from benchsweep.report.terminal._lot_plan import percent_words
from benchsweep.report.terminal._process_chart import CHART_NAMES, control_chart, signal_words

__all__ = ["process_list", "process_table"]

_NO_SIGNAL = "none: no point is beyond a control limit"


def process_list(views: Sequence[ProcessView], *, width: int = 80) -> str:
    """Return a line for each parameter: its margins, capability with its bound, and how many signals.

    Below the table the signals that decide in words. Plain text of at most `width` columns, at least 40.
    """
    width = max(width, NARROWEST)
    told = []
    for requirement in dict.fromkeys(view.requirement for view in views):
        told.append(_listed([view for view in views if view.requirement == requirement], width))
    return "\n".join(told)


def _listed(views: Sequence[ProcessView], width: int) -> str:
    """Return the lines of the views against one requirement."""
    lines: list[str] = []
    for label, texts in _of(views[0]):
        lines += entry(label, texts, width)
    rows, decisive = [], []
    for view in views:
        found = [(chart, signal) for chart in view.charts for signal in chart.signals if signal.decisive]
        decisive += [(view, *each) for each in found]
        rows.append(_row(view, len(found)))
    known = next((view.capability for view in views if view.capability is not None), None)
    index = "Cpk" if known is not None and known.within else "Ppk"
    heads = ["parameter", "end", "reels", "mean", "least", index, "at least", "signals"]
    lines += ["", *tabled(heads, rows, width, figures=heads[2:])]
    lines += wrapped("margins in dB, of delay and skew in ns", width)
    if known is not None:
        sure = f"{100.0 * known.confidence:g} % confidence"
        lines += wrapped(f"{index} = mean / 3 s; that of the process is at least so much with {sure}", width)
    lines.append("")
    lines += entry("weakest", [_weakest(views)], width)
    lines += entry("drift", [_drift(views)], width)
    for view, chart, signal in decisive:
        lines += entry("signal", [_signal(view, chart, signal)], width)
    if not decisive:
        lines += entry("signal", [_NO_SIGNAL], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _weakest(views: Sequence[ProcessView]) -> str:
    """Return the margin that is least capable, by the bound of its index."""
    known = [(view, view.capability) for view in views if view.capability is not None]
    if not known:
        return "too few reels to tell"
    view, found = min(known, key=lambda each: each[1].lower_bound)
    end = "" if view.end is None else f", end {view.end}"
    index, bound = number(found.index), number(found.lower_bound)
    name = "Cpk" if found.within else "Ppk"
    sure = f"with {100.0 * found.confidence:g} % confidence"
    return f"{parameter_words(view.parameter)}{end}: {name} {index}, at least {bound} {sure}"


def _drift(views: Sequence[ProcessView]) -> str:
    """Return in words whether the process drifts: an EWMA chart is what sees it."""
    charts = [(view, chart) for view in views for chart in view.charts]
    drifting = dict.fromkeys(
        parameter_words(view.parameter) + ("" if view.end is None else f", end {view.end}")
        for view, chart in charts
        if chart.kind == "ewma" and any(signal.decisive for signal in chart.signals)
    )
    if drifting:
        return f"seen by EWMA in: {'; '.join(drifting)}"
    if not any(chart.kind == "ewma" for _, chart in charts):
        return "too few reels to tell"
    if any(signal.decisive for _, chart in charts for signal in chart.signals):
        return "none is seen by EWMA; single points or lots lie beyond their control limits"
    return "no signal: nothing is seen to drift"


def _row(view: ProcessView, signals: int) -> list[str]:
    known = view.margin.size > 0
    return [
        parameter_words(view.parameter),
        view.end or "worst",
        str(view.margin.size),
        signed(float(np.mean(view.margin))) if known else "-",
        signed(float(np.min(view.margin))) if known else "-",
        "-" if view.capability is None else number(view.capability.index),
        "-" if view.capability is None else number(view.capability.lower_bound),
        str(signals),
    ]


def process_table(
    view: ProcessView, *, width: int = 80, ascii_only: bool = False, signalled_only: bool = False
) -> str:
    """Return one parameter over its lots: signals first, capability, then each control chart.

    Plain text of at most `width` columns, at least 40.

    Parameters
    ----------
    signalled_only
        Draw only charts with a signal that decides.
    """
    width = max(width, NARROWEST)
    lines: list[str] = []
    lines += entry("parameter", [_what(view)], width)
    decisive = [(chart, signal) for chart in view.charts for signal in chart.signals if signal.decisive]
    informing = [(chart, signal) for chart in view.charts for signal in chart.signals if not signal.decisive]
    told = [f"{_name(view, chart)}: {signal_words(chart, signal)}" for chart, signal in decisive]
    lines += entry("signal", told or [_NO_SIGNAL if view.charts else ""], width)
    lines += entry(
        "run rules",
        [f"{_name(view, chart)}: {signal_words(chart, signal)}" for chart, signal in informing],
        width,
    )
    lines += entry("margin", [_margins(view)], width)
    lines += entry("capability", _capability(view), width)
    lines += entry("tolerance", [_tolerance(each, view.unit) for each in view.tolerance], width)
    lines += entry("normal", [view.normality.words if view.normality is not None else ""], width)
    lines += entry("note", view.notes, width)
    for chart in view.charts:
        if signalled_only and not any(signal.decisive for signal in chart.signals):
            continue
        drawn = control_chart(
            chart, name=_name(view, chart), unit=view.unit, width=width, ascii_only=ascii_only
        )
        if drawn:
            lines += ["", *drawn.rstrip("\n").split("\n")]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _of(view: ProcessView) -> Sequence[tuple[str, Sequence[str]]]:
    lots = dict.fromkeys(view.lots)
    times = sorted(filter(None, view.measured_at))
    when = f", {times[0][:10]} to {times[-1][:10]}" if times else ""
    many = f"{len(view.reels)} reels of {len(lots)} lot{'s' if len(lots) != 1 else ''}{when}"
    return (
        ("product", [view.product]),
        ("supplier", [view.supplier or "all taken together"]),
        ("requirement", [view.requirement]),
        ("reels", [many]),
    )


def _what(view: ProcessView) -> str:
    where = "worst of both ends" if view.end is None else f"end {view.end}"
    return f"{parameter_words(view.parameter)}, {where}: worst margin of each reel in {view.unit}"


def _signal(view: ProcessView, chart: ControlChart, signal: ChartSignal) -> str:
    end = "" if view.end is None else f" at end {view.end}"
    return f"{parameter_words(view.parameter)}{end}, {_name(view, chart)}: {signal_words(chart, signal)}"


def _name(view: ProcessView, chart: ControlChart) -> str:
    """Return what a chart is called: of reels, or of lots where each of its points is one."""
    of_lots = not set(chart.labels) - set(view.lots) and set(chart.labels) != set(view.reels)
    if not of_lots:
        return CHART_NAMES[chart.kind]
    means = chart.kind in ("individuals", "moving-range", "ewma")
    return f"{CHART_NAMES[chart.kind]} of {'the means of ' if means else ''}lots"


def _margins(view: ProcessView) -> str:
    if not view.margin.size:
        return ""
    least = int(np.argmin(view.margin))
    deviation = f", s {number(float(np.std(view.margin, ddof=1)), 3)}" if view.margin.size > 1 else ""
    return (
        f"{view.margin.size} reels: mean {signed(float(np.mean(view.margin)))} {view.unit}{deviation}; least "
        f"{signed(float(view.margin[least]))} {view.unit}, reel {view.reels[least]} of lot {view.lots[least]}"
    )


def _capability(view: ProcessView) -> Sequence[str]:
    found = view.capability
    if found is None:
        return ["too few reels to tell"]
    index, of = ("Cpk", "within lots") if found.within else ("Ppk", "of all reels")
    return [
        f"{index} {number(found.index)} (mean / 3 s, s {of}); the process is above "
        f"{number(found.lower_bound)} with {100.0 * found.confidence:g} % confidence",
        f"estimated {percent_words(found.percent_below)} % of reels below the limit",
    ]


def _tolerance(found: ToleranceLimits, unit: str) -> str:
    sides = []
    if found.lower is not None:
        sides.append(f"above {signed(found.lower)} {unit}")
    if found.upper is not None:
        sides.append(f"below {signed(found.upper)} {unit}")
    if not sides:
        return ""
    how = (
        "distribution-free" if found.method == "distribution-free" else f"normal, k {number(found.factor, 3)}"
    )
    return (
        f"at least {100.0 * found.content:g} % of reels {' and '.join(sides)}, with "
        f"{100.0 * found.confidence:g} % confidence ({how})"
    )
