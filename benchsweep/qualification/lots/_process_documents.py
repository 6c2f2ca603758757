"""``benchsweep.process/1``: what ``--json`` prints of a product over its lots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from benchsweep.qualification._json import json_number
from benchsweep.records import ControlChart, ProcessView

__all__ = ["process_document"]


def process_document(views: Sequence[ProcessView]) -> dict[str, Any]:
    """Return ``benchsweep.process/1``; infinity and NaN become null."""
    return {"schema": "benchsweep.process/1", "views": [_view(view) for view in views]}


def _view(view: ProcessView) -> dict[str, Any]:
    ability, normal = view.capability, view.normality
    return {
        "product": view.product,
        "supplier": view.supplier or None,
        "requirement": view.requirement,
        "parameter": str(view.parameter),
        "end": view.end,
        "unit": view.unit,
        "count": len(view.reels),
        "values": [
            {"lot": lot, "reel": reel, "measured_at": at, "margin": json_number(float(margin))}
            for lot, reel, at, margin in zip(
                view.lots, view.reels, view.measured_at, view.margin, strict=True
            )
        ],
        "charts": [_chart(chart) for chart in view.charts],
        "capability": None
        if ability is None
        else {
            "count": ability.count,
            "mean": json_number(ability.mean),
            "deviation": json_number(ability.deviation),
            "index": json_number(ability.index),
            "lower_bound": json_number(ability.lower_bound),
            "confidence": ability.confidence,
            "percent_below": json_number(ability.percent_below),
            "within": ability.within,
        },
        "tolerance": [
            {
                "count": each.count,
                "content": each.content,
                "confidence": each.confidence,
                "lower": json_number(each.lower),
                "upper": json_number(each.upper),
                "factor": json_number(each.factor),
                "method": each.method,
            }
            for each in view.tolerance
        ],
        "normality": None
        if normal is None
        else {
            "count": normal.count,
            "statistic": json_number(normal.statistic),
            "p_value": json_number(normal.p_value),
            "doubtful": normal.doubtful,
            "words": normal.words,
        },
        "notes": list(view.notes),
    }


def _chart(chart: ControlChart) -> dict[str, Any]:
    columns = {
        name: [json_number(float(value)) for value in getattr(chart, name)]
        for name in ("value", "centre", "lower", "upper", "deviation")
    }
    return {
        "kind": chart.kind,
        "labels": list(chart.labels),
        **columns,
        "baseline": chart.baseline,
        "signals": [
            {
                "rule": signal.rule,
                "words": signal.words,
                "points": list(signal.points),
                "labels": [chart.labels[point] for point in signal.points],
                "noticed": signal.noticed,
                "decisive": signal.decisive,
            }
            for signal in chart.signals
        ],
        "constants": chart.constants,
    }
