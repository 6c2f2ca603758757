"""The report on a process: a product over its lots, every chart."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import ProcessView
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import short_digest
from benchsweep.report.content._printed import printed
from benchsweep.report.content._process import process_blocks, signals_of
from benchsweep.report.document import Block, Box, Document, Given, Line
from benchsweep.report.text import Texts

__all__ = ["process_report_document"]


def process_report_document(
    views: Sequence[ProcessView], texts: Texts, *, title: str = "", particulars: Particulars | None = None
) -> Document:
    """Return the report on a product over its lots. The same views give the same document.

    Parameters
    ----------
    views
        One or more, of one product.
    texts
        The words.
    title
        Heading; empty: that of the texts, with the name of the product.
    particulars
        Laboratory and number of the report are taken from it; None: nothing is stated.
    """
    if not views:
        raise ValueError("there is nothing to report")
    stated = Particulars() if particulars is None else particulars
    number = stated.number or _derived(views)
    product = Given(views[0].product)
    blocks: list[Block] = [_box(views, texts), *process_blocks(views, texts, prefix="process-", whole=True)]
    return printed(
        (Given(title),) if title else texts.line("process.document", product=product),
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
    )


def _box(views: Sequence[ProcessView], texts: Texts) -> Box:
    """Return whether there is a signal; a signal asks for a look, it is no failure."""
    decisive = signals_of(views, decisive=True)
    reels = max(view.margin.size for view in views)
    lots = len({lot for view in views for lot in view.lots})
    lines: list[Line] = [
        texts.line("process.box", product=Given(views[0].product), count=lots, reels=reels),
        (texts("process.box_signals", count=len(decisive), parameters=len(views)),),
    ]
    if decisive:
        lines.append((texts("process.box_look"),))
    word = texts("process.signal_word" if decisive else "process.quiet_word")
    return Box(word, tuple(lines), (), "undecided" if decisive else "")


def _derived(views: Sequence[ProcessView]) -> str:
    told = [
        [view.product, view.supplier, view.requirement, view.parameter.value, view.end,
         list(view.lots), list(view.reels), [f"{margin:.6g}" for margin in view.margin.tolist()]]
        for view in views
    ]  # fmt: skip
    return short_digest(told)
