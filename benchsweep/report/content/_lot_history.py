"""Who did what to a lot, when and why; how anybody can check the draw; which records it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.records import LotState, ReelAdded
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_words import listed, plan_line
from benchsweep.report.content._overview_pieces import short_time
from benchsweep.report.content._pieces import cells, fact, facts, given
from benchsweep.report.content._provenance import software_line
from benchsweep.report.document import (
    Block,
    Column,
    Given,
    Line,
    Listing,
    Paragraph,
    Row,
    Section,
    Table,
    line,
)
from benchsweep.report.text import Texts, outcome_words

__all__ = ["draw_section", "history_section", "provenance_of_lot"]

_CHECK = "printf '%s\\n%s' 'SEED' 'REEL' | sha256sum"


def history_section(state: LotState, texts: Texts) -> Section:
    """Return every entry of the history in the order of time."""
    columns = (
        Column(texts("lot_history.at"), kept=True),
        Column(texts("lot_history.by")),
        Column(texts("lot_history.what")),
        Column(texts("lot_history.why")),
    )
    entries = sorted(_entries(state, texts), key=lambda entry: entry[0])
    rows = tuple(
        Row(cells(given(short_time(at)), given(by), what, given(why))) for at, by, what, why in entries
    )
    legend = Paragraph((texts("lot_history.legend"),), legend=True)
    return Section((texts("lot_history.title"),), (Table(columns, rows), legend), anchor="history")


def _entries(state: LotState, texts: Texts) -> Iterator[tuple[str, str, Line, str]]:
    opened = state.opened
    what = texts.line("lot_history.opened", count=len(opened.reels), plan=plan_line(opened.plan, texts))
    yield opened.at, opened.by, what, opened.reason
    for change in state.replanned:
        told = texts.line("lot_history.replanned", plan=plan_line(change.plan, texts))
        yield change.at, change.by, told, change.reason
    for gone in state.excluded:
        yield gone.at, gone.by, texts.line("lot_history.excluded", reel=Given(gone.reel)), gone.reason
    before: dict[str, ReelAdded] = {}
    for added in state.added:
        again = added.reel in before
        told = texts.line(
            "lot_history.again" if again else "lot_history.added",
            reel=Given(added.reel),
            outcome=outcome_words(added.result.outcome, texts),
        )
        if again:
            earlier = outcome_words(before[added.reel].result.outcome, texts)
            told = line(told, texts("lot_history.before", outcome=earlier))
        before[added.reel] = added
        yield added.at, added.by, told, added.retest_reason
    if state.closed is not None:
        yield state.closed.at, state.closed.by, (texts("lot_history.closed"),), state.closed.words


def draw_section(state: LotState, texts: Texts) -> Section:
    """Return how the reels were drawn, so that anybody can draw them again without this program."""
    opened = state.opened
    by = texts("lot_draw.by_person" if opened.seed_given else "lot_draw.by_chance")
    spare = [reel for reel in state.order if reel not in state.sample]
    entries = [
        fact(texts("lot_draw.seed"), texts.line("lot_draw.seed_from", seed=Given(opened.seed), origin=by)),
        fact(texts("lot_draw.sample"), listed(state.sample)),
        fact(texts("lot_draw.excluded"), listed([gone.reel for gone in state.excluded])),
    ]
    blocks: list[Block] = [Paragraph((texts("lot_draw.rule"),)), Listing((_CHECK,)), facts(entries)]
    if spare:
        folded = (Paragraph(listed(state.order)),)
        blocks.append(Section((texts("lot_draw.order", count=len(state.order)),), folded, folded=True))
    return Section((texts("lot_draw.title"),), tuple(blocks), anchor="draw")


def provenance_of_lot(item: LotItem, texts: Texts) -> Section:
    """Return the digest of the history and the records that count, with their hashes."""
    state = item.state
    entries = [
        fact(texts("lot_provenance.digest"), given(item.digest), texts("lot_provenance.digest_legend")),
        fact(texts("provenance.software"), software_line(item.software)),
    ]
    blocks: list[Block] = [facts(entries)]
    if state.added:
        columns = (
            Column(texts("lot_provenance.reel"), kept=True),
            Column(texts("lot_provenance.record")),
            Column(texts("lot_provenance.hash")),
            Column(texts("lot_provenance.counts"), kept=True),
        )
        rows = tuple(
            Row(
                cells(
                    given(added.reel),
                    given(added.path),
                    given(added.record),
                    texts(
                        "lot_provenance.yes"
                        if state.counting.get(added.reel) is added
                        else "lot_provenance.no"
                    ),
                )
            )
            for added in state.added
        )
        blocks.append(Table(columns, rows, (texts("lot_provenance.caption"),)))
        blocks.append(Paragraph((texts("provenance.hash_legend"),), legend=True))
    return Section((texts("provenance.title"),), tuple(blocks), anchor="provenance")
