"""The report on a lot: the decision first, then what it stands on."""

from __future__ import annotations

from benchsweep.report.content._lot_doubts import lot_doubts, lot_events, simulated_line
from benchsweep.report.content._lot_head import derived_lot_number, lot_head
from benchsweep.report.content._lot_history import draw_section, history_section, provenance_of_lot
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_opening import decision_box
from benchsweep.report.content._lot_plan import curve_section, plan_section, requirement_section
from benchsweep.report.content._lot_reels import failing_section, reels_section
from benchsweep.report.content._lot_spread import spread_section, traces_section
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._printed import printed, safety_section
from benchsweep.report.content._process import process_section
from benchsweep.report.document import Block, Document, Given, Items, Section, plain
from benchsweep.report.text import Texts

__all__ = ["lot_document"]


def lot_document(
    item: LotItem, texts: Texts, *, title: str = "", particulars: Particulars | None = None
) -> Document:
    """Return the report on a lot, open or closed. The same item gives the same document.

    Parameters
    ----------
    item
        The lot.
    texts
        The words.
    title
        Heading; empty: that of the texts, with the name of the lot.
    particulars
        What the laboratory says of itself, its customer and the report; None: nothing.
    """
    stated = Particulars() if particulars is None else particulars
    number = stated.number or derived_lot_number(item)
    doubts = lot_doubts(item, texts)
    events = lot_events(item, texts)
    blocks: list[Block] = [decision_box(item, doubts, events, texts)]
    blocks += lot_head(item, number, stated, texts)
    if doubts:
        blocks.append(Section((texts("doubts.title"),), (Items(doubts),), anchor="doubts"))
    if events:
        blocks.append(Section((texts("lot.happened_title"),), (Items(events),), anchor="happened"))
    blocks += [
        plan_section(item, texts),
        requirement_section(item, texts),
        curve_section(item.curve, texts),
        reels_section(item.state, texts),
        failing_section(item.state, texts),
    ]
    for section in (spread_section(item, texts), traces_section(item, texts)):
        blocks += [] if section is None else [section]
    if item.views:
        blocks.append(process_section(item.views, texts))
    blocks += [
        history_section(item.state, texts),
        draw_section(item.state, texts),
        provenance_of_lot(item, texts),
        safety_section(texts),
    ]
    named = texts.line("lot.title", lot=Given(item.state.opened.lot))
    return printed(
        (Given(title),) if title else named,
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
        simulated=plain(simulated_line(item, texts)),
    )
