"""How the worst margins of the reels of a sample are spread, and the worst traces against the limit."""

from __future__ import annotations

from statistics import fmean, median, stdev

from benchsweep.records import Parameter, ReelMargin
from benchsweep.report.content import charts
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import (
    Block,
    Column,
    Given,
    Line,
    Paragraph,
    Row,
    Section,
    Table,
    clean,
    line,
)
from benchsweep.report.text import Texts, megahertz, number, pairs_words, parameter_words, signed

__all__ = ["spread_section", "traces_section"]


def spread_section(item: LotItem, texts: Texts) -> Section | None:
    """Return least, mean and greatest worst margin of each parameter, and a dot for each reel; None: none."""
    found = _worst(item)
    if not found:
        return None
    columns = (
        Column(texts("lot_spread.parameter")),
        Column(texts("lot_spread.reels"), number=True),
        Column(texts("lot_spread.least"), number=True),
        Column(texts("lot_spread.median"), number=True),
        Column(texts("lot_spread.mean"), number=True),
        Column(texts("lot_spread.deviation"), number=True),
        Column(texts("lot_spread.greatest"), number=True),
        Column(texts("lot_spread.unit")),
        Column(texts("lot_spread.least_in"), kept=True),
        Column(texts("lot_spread.where"), kept=True),
        Column(texts("lot_spread.at"), number=True),
    )
    rows = []
    for parameter, worst in found.items():
        reel, least = min(worst.items(), key=lambda each: each[1].margin or 0.0)
        margins = [each.margin or 0.0 for each in worst.values()]
        rows.append(
            Row(
                cells(
                    parameter_words(parameter, texts),
                    str(len(margins)),
                    signed(min(margins), texts),
                    signed(median(margins), texts),
                    signed(fmean(margins), texts),
                    number(stdev(margins) if len(margins) > 1 else None, texts),
                    signed(max(margins), texts),
                    parameter.unit,
                    given(reel),
                    " ".join(part for part in (least.end or "", pairs_words(least.pairs, texts)) if part),
                    megahertz(least.frequency_hz),
                ),
                "fail" if min(margins) < 0.0 else "",
            )
        )
    blocks: list[Block] = [Table(columns, tuple(rows), (texts("lot_spread.caption"),))]
    blocks += charts.lot_margin_drawings(item, texts, prefix="lot-")
    blocks.append(Paragraph((texts("lot_spread.legend"),), legend=True))
    return Section((texts("lot_spread.title"),), tuple(blocks), anchor="margins")


def _worst(item: LotItem) -> dict[Parameter, dict[str, ReelMargin]]:
    """Return parameter -> reel -> its worst margin of both ends; without what has no finite one."""
    found: dict[Parameter, dict[str, ReelMargin]] = {}
    for parameter in Parameter:
        for reel, added in item.state.counting.items():
            worst = added.result.margin_of(parameter)
            if worst is not None and worst.margin is not None and abs(worst.margin) != float("inf"):
                found.setdefault(parameter, {})[reel] = worst
    return found


def traces_section(item: LotItem, texts: Texts) -> Section | None:
    """Return the worst trace of every reel over the limit, a chart for each parameter; None: no traces."""
    drawings = charts.lot_trace_drawings(item, texts, prefix="lot-")
    if not drawings:
        return None
    told: Line = (texts("lot_traces.legend"),)
    beginning = charts.shared_beginning([clean(reel) for reel in item.state.counting])
    if beginning:
        told = line(told, " ", texts.line("lot_traces.beginning", beginning=Given(beginning)))
    legend = Paragraph(told, legend=True)
    return Section((texts("lot_traces.title"),), (legend, *drawings), anchor="traces")
