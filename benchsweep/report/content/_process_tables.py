"""Capability and tolerance limits of the margins of a product, a row for each parameter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchsweep.records import ProcessView, ToleranceLimits
from benchsweep.report.content._lot_words import percent_words
from benchsweep.report.content._pieces import cells
from benchsweep.report.document import Column, Row, Table
from benchsweep.report.text import Texts, number, parameter_words, signed

__all__ = ["capability_table", "index_words", "tolerance_table"]

_LARGEST_INDEX = 10.0
_LEAST_PERCENT = 0.001
"""Smaller percentages rest on the far tail of a distribution that nobody knows so well."""


def capability_table(views: Sequence[ProcessView], texts: Texts) -> Table:
    """Return mean, deviation and index of each view, with the bound of the index and a test of normality."""
    columns = (
        Column(texts("process.parameter")),
        Column(texts("process.end"), kept=True),
        Column(texts("process.reels"), number=True),
        Column(texts("process.mean"), number=True),
        Column(texts("process.deviation"), number=True),
        Column(texts("process.least"), number=True),
        Column(texts("process.unit")),
        Column(texts("process.index"), number=True),
        Column(texts("process.bound"), number=True),
        Column(texts("process.below"), number=True),
        Column(texts("process.normal"), kept=True),
        Column(texts("process.signal_count"), number=True),
    )
    known = next((view.capability for view in views if view.capability is not None), None)
    confidence = "95" if known is None else f"{100.0 * known.confidence:g}"
    rows = tuple(_capability(view, texts) for view in views)
    return Table(columns, rows, (texts("process.capability_caption", confidence=confidence),))


def _capability(view: ProcessView, texts: Texts) -> Row:
    found, margin = view.capability, view.margin
    signals = sum(signal.decisive for chart in view.charts for signal in chart.signals)
    mean = float(np.mean(margin)) if margin.size else None
    deviation = float(np.std(margin, ddof=1)) if margin.size > 1 else None
    least = float(np.min(margin)) if margin.size else None
    index = number(None, texts)
    if found is not None:
        name = texts("process.within" if found.within else "process.overall")
        index = texts("process.index_of", name=name, value=index_words(found.index, texts))
    return Row(
        cells(
            parameter_words(view.parameter, texts),
            view.end or texts("process.worst_end"),
            str(margin.size),
            signed(mean, texts),
            number(deviation, texts, 3),
            signed(least, texts),
            view.unit,
            index,
            index_words(None if found is None else found.lower_bound, texts),
            _below(None if found is None else found.percent_below, texts),
            _normal(view, texts),
            str(signals),
        ),
        "fail" if least is not None and least < 0.0 else "",
    )


def index_words(value: float | None, texts: Texts) -> str:
    """Return a capability index; of a very large one no more than that: its digits are those of chance."""
    if value is not None and value > _LARGEST_INDEX:
        return texts("process.above", value=f"{_LARGEST_INDEX:g}")
    return number(value, texts)


def _below(percent: float | None, texts: Texts) -> str:
    if percent is None or percent >= _LEAST_PERCENT:
        return percent_words(percent, texts)
    return texts("process.least_percent", percent=f"{_LEAST_PERCENT:g}")


def _normal(view: ProcessView, texts: Texts) -> str:
    found = view.normality
    if found is None or found.doubtful is None:
        return texts("process.too_few")
    key = "process.not_normal" if found.doubtful else "process.may_be_normal"
    return texts(key, p=number(found.p_value, texts, 3))


def tolerance_table(views: Sequence[ProcessView], texts: Texts) -> Table:
    """Return the tolerance limits of each view."""
    columns = (
        Column(texts("process.parameter")),
        Column(texts("process.end"), kept=True),
        Column(texts("process.limit"), kept=True),
        Column(texts("process.unit")),
        Column(texts("process.content"), number=True),
        Column(texts("process.confidence"), number=True),
        Column(texts("process.method")),
    )
    rows = tuple(
        Row(
            cells(
                parameter_words(view.parameter, texts),
                view.end or texts("process.worst_end"),
                _sides(each, texts),
                view.unit,
                f"{100.0 * each.content:g}",
                f"{100.0 * each.confidence:g}",
                _method(each, texts),
            )
        )
        for view in views
        for each in view.tolerance
    )
    return Table(columns, rows, (texts("process.tolerance_caption"),))


def _sides(found: ToleranceLimits, texts: Texts) -> str:
    if found.lower is None and found.upper is None:
        return number(None, texts)
    if found.upper is None:
        return texts("process.above", value=signed(found.lower, texts))
    if found.lower is None:
        return texts("process.below_value", value=signed(found.upper, texts))
    return texts("head.between", low=signed(found.lower, texts), high=signed(found.upper, texts))


def _method(found: ToleranceLimits, texts: Texts) -> str:
    if found.method == "distribution-free":
        return texts("process.distribution_free")
    return texts("process.normal_factor", factor=number(found.factor, texts, 3))
