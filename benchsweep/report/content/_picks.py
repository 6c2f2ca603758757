"""What is taken to the store: which reels to fetch, what to cut from each, and how not to get hurt."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.records import LotState
from benchsweep.report.content._lot_words import plan_line
from benchsweep.report.content._overview_pieces import short_time
from benchsweep.report.content._pieces import Fact, cells, fact, facts, given, short_digest
from benchsweep.report.content._printed import printed
from benchsweep.report.document import (
    Block,
    Column,
    Document,
    Given,
    Items,
    Paragraph,
    Row,
    Section,
    Table,
    line,
)
from benchsweep.report.text import Texts, outcome_words

__all__ = ["pick_list_document"]

_SPARES = 5
_LENGTH_M = 100.0
_CAUTIONS = (
    "picks.caution_weight",
    "picks.caution_roll",
    "picks.caution_stored",
    "picks.caution_knife",
    "picks.caution_ends",
    "picks.caution_live",
    "picks.caution_rest",
)


def pick_list_document(
    state: LotState, texts: Texts, *, length_m: float = _LENGTH_M, spares: int = _SPARES
) -> Document:
    """Return the pick list of a lot: a line to tick for each reel of the sample, in the order of the draw.

    Parameters
    ----------
    state
        The lot.
    texts
        The words.
    length_m
        Length to take from each reel.
    spares
        How many of the reels that come next are listed, for one that has to be excluded.
    """
    opened = state.opened
    blocks: list[Block] = [
        facts(_facts(state, texts)),
        _reels(state, texts, length_m),
        Paragraph((texts("picks.legend"),), legend=True),
        _spares(state, texts, spares),
        Section((texts("picks.how"),), (Items((
            (texts("picks.take", length=f"{length_m:g}"),),
            (texts("picks.mark"),),
            (texts("picks.rest"),),
            (texts("picks.not_another"),),
        ), numbered=True),)),
        Section((texts("picks.cautions"),), (Items(tuple((texts(key),) for key in _CAUTIONS)),)),
    ]  # fmt: skip
    number = _derived(state)
    title = texts.line("picks.title", lot=Given(opened.lot))
    return printed(title, blocks, texts, number=number, end=texts("picks.end", number=number))


def _facts(state: LotState, texts: Texts) -> Iterator[Fact]:
    opened = state.opened
    yield fact(texts("lot_head.lot"), given(opened.lot))
    yield fact(texts("lot_head.supplier"), given(opened.supplier))
    yield fact(texts("lot_head.product"), given(opened.product))
    yield fact(texts("lot_plan.plan"), plan_line(state.plan, texts))
    by = texts("lot_draw.by_person" if opened.seed_given else "lot_draw.by_chance")
    yield fact(texts("picks.draw"), texts.line("picks.drawn", seed=Given(opened.seed), origin=by))
    yield fact(texts("picks.opened"), line(given(short_time(opened.at)), ", ", given(opened.by)))


def _reels(state: LotState, texts: Texts, length_m: float) -> Table:
    columns = (
        Column(texts("picks.tick"), kept=True),
        Column(texts("picks.number"), number=True),
        Column(texts("picks.reel"), kept=True),
        Column(texts("picks.length"), number=True),
        Column(texts("picks.found"), kept=True),
        Column(texts("picks.taken"), kept=True),
        Column(texts("picks.state")),
    )
    rows = []
    gone = {each.reel for each in state.excluded}
    for place, reel in state.drawn:
        if reel in gone:
            rows.append(Row(cells("", str(place), given(reel), "", "", "", texts("picks.excluded"))))
            continue
        added = state.counting.get(reel)
        tested = "" if added is None else texts(
            "picks.tested", outcome=outcome_words(added.result.outcome, texts)
        )  # fmt: skip
        length = f"{length_m:g} m" if added is None else f"{added.result.length_m:g} m"
        box = texts("picks.box" if added is None else "picks.box_ticked")
        blank = texts("picks.blank") if added is None else ""
        rows.append(Row(cells(box, str(place), given(reel), length, blank, blank, tested)))
    return Table(columns, tuple(rows), (texts("picks.caption", count=len(state.sample)),))


def _spares(state: LotState, texts: Texts, spares: int) -> Section:
    gone = {each.reel for each in state.excluded}
    rest = [reel for reel in state.order if reel not in {*state.sample, *gone}]
    if not rest:
        return Section((texts("picks.spares"),), (Paragraph((texts("picks.no_spares"),)),))
    numbers = {reel: number for number, reel in enumerate(state.order, start=1)}
    columns = (
        Column(texts("picks.tick"), kept=True),
        Column(texts("picks.number"), number=True),
        Column(texts("picks.reel"), kept=True),
        Column(texts("picks.instead"), kept=True),
        Column(texts("picks.reason"), kept=True),
    )
    blank = texts("picks.blank")
    rows = tuple(
        Row(cells(texts("picks.box"), str(numbers[reel]), given(reel), blank, blank))
        for reel in rest[:spares]
    )
    told = Paragraph((texts("picks.spares_legend", count=len(rest)),), legend=True)
    return Section((texts("picks.spares"),), (Table(columns, rows), told))


def _derived(state: LotState) -> str:
    told = [state.opened.lot, state.opened.seed, list(state.sample)]
    return short_digest(told)
