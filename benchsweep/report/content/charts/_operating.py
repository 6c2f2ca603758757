"""What a sampling plan accepts, and how good what leaves it is on average."""

from __future__ import annotations

import numpy as np

from benchsweep.records import OperatingCurve
from benchsweep.report.chart import Axis, Chart, Curve, Look, Mark, Panel
from benchsweep.report.content.charts._frame import Captioned, named
from benchsweep.report.text import Texts, number

__all__ = ["operating_charts"]

_PROCESS = Look("#0072B2", width=1.4)
_SCHEME = Look("#882255", (6.0, 2.0), 1.1)
_LOT = Look("#000000", width=0.0, marker="circle")
_OUTGOING = Look("#555555", (1.5, 1.2), 1.4)
_PANEL_HEIGHT = 210.0
_MOST_LOTS = 60


def operating_charts(curve: OperatingCurve, texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return the operating characteristic of a plan, and beside it the average outgoing quality.

    Marked are the points at which 95, 50 and 10 % of lots are accepted, and by a ring the AQL or the limiting
    quality. Dots: a lot of just this size with a whole number of nonconforming reels.
    """
    if curve.percent.size < 2:
        return []
    x = Axis(texts("lot_curve.process_axis"), "%", low=0.0, high=float(curve.percent[-1]))
    curves = [
        Curve(texts("lot_curve.curve"), curve.percent, 100.0 * curve.accepted, _PROCESS),
    ]
    if curve.scheme_accepted is not None:
        scheme = 100.0 * curve.scheme_accepted
        curves.append(Curve(texts("lot_curve.scheme"), curve.percent, scheme, _SCHEME))
    inside = np.flatnonzero(curve.lot_percent <= curve.percent[-1])[:_MOST_LOTS]
    if inside.size:
        curves.append(
            Curve(
                texts("lot_curve.this_lot"),
                curve.lot_percent[inside],
                100.0 * curve.lot_accepted[inside],
                _LOT,
            )
        )
    accepted = Panel(
        title=texts("lot_curve.panel_accepted"),
        x=x,
        y=Axis(texts("lot_curve.accepted_axis"), "%", low=0.0, high=106.0),
        curves=tuple(curves),
        marks=_marks(curve, texts),
        clear_words=True,
    )
    outgoing = Panel(
        title=texts("lot_curve.panel_outgoing"),
        x=x,
        y=Axis(texts("lot_curve.outgoing_axis"), "%", low=0.0, high=_outgoing_high(curve)),
        curves=(Curve(texts("lot_curve.outgoing_curve"), curve.percent, curve.outgoing_percent, _OUTGOING),),
        marks=_outgoing_marks(curve, texts),
        clear_words=True,
    )
    told = texts(
        "lot_curve.told",
        high=number(curve.producer_percent, texts),
        middle=number(curve.indifferent_percent, texts),
        low=number(curve.consumer_percent, texts),
    )
    chart = Chart(
        named(prefix, "operating"),
        told,
        (accepted, outgoing),
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
        named_curves=False,
    )
    return [(chart, (texts("lot_curve.chart_caption"),))]


def _marks(curve: OperatingCurve, texts: Texts) -> tuple[Mark, ...]:
    found = [
        Mark(percent, share, "dot", f"{share:g} %")
        for percent, share in (
            (curve.producer_percent, 95.0),
            (curve.indifferent_percent, 50.0),
            (curve.consumer_percent, 10.0),
        )
        if np.isfinite(percent)
    ]
    plan = curve.plan
    at = plan.aql_percent if plan.aql_percent is not None else plan.limiting_percent
    if at is not None and at <= curve.percent[-1]:
        words = "lot_curve.aql_mark" if plan.aql_percent is not None else "lot_curve.limiting_mark"
        value = 100.0 * float(np.interp(at, curve.percent, curve.accepted))
        found.insert(0, Mark(at, value, "worst", texts(words, percent=f"{at:g}")))
    return tuple(found)


def _outgoing_high(curve: OperatingCurve) -> float:
    most = float(np.max(curve.outgoing_percent, initial=0.0))
    return 1.15 * most if most > 0.0 else 1.0


def _outgoing_marks(curve: OperatingCurve, texts: Texts) -> tuple[Mark, ...]:
    most, at = curve.outgoing_limit_percent, curve.outgoing_limit_at
    if not (np.isfinite(most) and np.isfinite(at)) or most <= 0.0:
        return ()
    return (Mark(at, most, "dot", texts("lot_curve.aoql_mark", percent=f"{float(f'{most:.3g}'):g}")),)
