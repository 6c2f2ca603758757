"""The report on a process: a product over its lots, every chart."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import ProcessView
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import short_digest
from benchsweep.report.content._printed import printed
from benchsweep.report.content._process import parameter_what, process_blocks, signals_of
from benchsweep.report.content._process_tables import index_words
from benchsweep.report.document import Block, Box, Document, Given, Line, Strong
from benchsweep.report.text import Texts

__all__ = ["process_report_document"]


def process_report_document(
    views: Sequence[ProcessView],
    texts: Texts,
    *,
    title: str = "",
    particulars: Particulars | None = None,
    practice: tuple[int, int, int] = (0, 0, 0),
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
    practice
        Reels measured on the simulated bench, those of which that is not known, and all of them; it stands at
        the head of every page where there are any.
    """
    if not views:
        raise ValueError("there is nothing to report")
    stated = Particulars() if particulars is None else particulars
    number = stated.number or _derived(views)
    product = Given(views[0].product)
    told = _practice_words(practice, texts)
    blocks: list[Block] = [
        _box(views, told, texts),
        *process_blocks(views, texts, prefix="process-", whole=True),
    ]
    return printed(
        (Given(title),) if title else texts.line("process.document", product=product),
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
        simulated=told,
    )


def _practice_words(practice: tuple[int, int, int], texts: Texts) -> str:
    simulated, unknown, whole = practice
    told = []
    if simulated:
        told.append(
            texts("simulated.told")
            if simulated == whole
            else texts("simulated.some", count=simulated, whole=whole)
        )
    if unknown:
        told.append(texts("simulated.unknown", count=unknown, whole=whole))
    return "; ".join(told)


def _box(views: Sequence[ProcessView], practice: str, texts: Texts) -> Box:
    """Return whether there is a signal; a signal asks for a look, it is no failure."""
    decisive = signals_of(views, decisive=True)
    reels = max(view.margin.size for view in views)
    lots = len({lot for view in views for lot in view.lots})
    lines: list[Line] = [
        texts.line("process.box", product=Given(views[0].product), count=lots, reels=reels),
        (texts("process.box_signals", count=len(decisive), parameters=len(views)),),
    ]
    lines.append((_drift(views, texts),))
    lines.append((_weakest(views, texts),))
    if decisive:
        lines.append((texts("process.box_look"),))
    if practice:
        lines.append((Strong(practice),))
    word = texts("process.signal_word" if decisive else "process.quiet_word")
    return Box(word, tuple(lines), (), "undecided" if decisive else "")


def _drift(views: Sequence[ProcessView], texts: Texts) -> str:
    """Return in words whether the process drifts: an EWMA chart is what sees it."""
    drifting = [
        parameter_what(view, texts)
        for view in views
        if any(chart.kind == "ewma" and any(each.decisive for each in chart.signals) for chart in view.charts)
    ]
    if drifting:
        return texts("process.drift_seen", names="; ".join(drifting))
    if not any(chart.kind == "ewma" for view in views for chart in view.charts):
        return texts("process.drift_unknown")
    return texts("process.drift_points" if signals_of(views, decisive=True) else "process.drift_none")


def _weakest(views: Sequence[ProcessView], texts: Texts) -> str:
    """Return the margin that is least capable, by the bound of its index."""
    known = [(view, view.capability) for view in views if view.capability is not None]
    if not known:
        return texts("process.box_unknown")
    view, found = min(known, key=lambda each: each[1].lower_bound)
    name = texts("process.within" if found.within else "process.overall")
    return texts(
        "process.box_weakest",
        what=parameter_what(view, texts),
        index=texts("process.index_of", name=name, value=index_words(found.index, texts)),
        bound=index_words(found.lower_bound, texts),
        confidence=f"{100.0 * found.confidence:g}",
    )


def _derived(views: Sequence[ProcessView]) -> str:
    told = [
        [view.product, view.supplier, view.requirement, view.parameter.value, view.end,
         list(view.lots), list(view.reels), [f"{margin:.6g}" for margin in view.margin.tolist()]]
        for view in views
    ]  # fmt: skip
    return short_digest(told)
