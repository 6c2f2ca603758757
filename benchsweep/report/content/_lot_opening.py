"""The decision on a lot as a word, and beside it what it stands on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import LotState, VariablesDecision
from benchsweep.report.content._lot_doubts import rests_on, simulated_line
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_words import (
    characteristic_line,
    judged,
    margin_words,
    some_reels,
    worst_margin,
)
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Box, Emphasis, Given, Line, Strong, line
from benchsweep.report.text import Texts, outcome_words

__all__ = ["decision_box", "decision_word"]

_MOST_NAMED = 8


def decision_word(state: LotState, texts: Texts) -> str:
    """Return the decision in a word or two; that it is open where there is none yet."""
    if state.closed is None:
        return texts("lot.open")
    return texts("lot.accepted" if state.closed.accepted else "lot.not_accepted")


def decision_box(item: LotItem, doubts: Sequence[Line], events: Sequence[Line], texts: Texts) -> Box:
    """Return the decision; of an open lot what is missing for it."""
    state = item.state
    emphasis: Emphasis = ""
    if state.closed is None:
        emphasis = "undecided"
    elif not state.closed.accepted:
        emphasis = "fail"
    lines = [each for each in _lines(item, texts) if each]
    lines += rests_on(item, texts)
    if events:
        lines.append((texts("lot.happened", count=len(events)),))
    if doubts:
        lines.append((Strong(texts("lot.doubtful", count=len(doubts))),))
    return Box(decision_word(state, texts), tuple(lines), tuple(_reels(state, texts)), emphasis)


def _lines(item: LotItem, texts: Texts) -> Iterator[Line]:
    state = item.state
    opened, closed = state.opened, state.closed
    yield texts.line(
        "lot.of", lot=Given(opened.lot), product=Given(opened.product), supplier=Given(opened.supplier)
    )
    if opened.resubmission_of:
        yield texts.line("lot.again", lot=Given(opened.resubmission_of))
    yield simulated_line(item, texts)
    yield texts.line("box.against", requirement=Given(opened.requirement), rule=Given(opened.decision_rule))
    tested = len(state.sample) - len(state.missing)
    told = texts("lot.tested", tested=tested, sample=len(state.sample), count=len(state.nonconforming))
    if state.plan.method == "variables":
        yield (told,)
        yield from (_judged_line(each, texts) for each in judged(item))
    else:
        yield (texts("lot.numbers", told=told, accept=state.plan.accept, reject=state.plan.reject),)
    if closed is not None:
        if closed.ends_reduced:
            yield (texts("lot.ends_reduced"),)
        yield texts.line("lot.closed", by=Given(closed.by), at=Given(closed.at[:10]))
        return
    if state.missing:
        yield texts.line("lot.missing", count=len(state.missing), reels=some_reels(state.missing, texts))
    if state.undecided:
        reels = some_reels(state.undecided, texts)
        yield texts.line("lot.undecided", count=len(state.undecided), reels=reels)
    if not state.missing and not state.undecided:
        yield (texts("lot.can_be_closed"),)
    if state.plan.method != "variables" and len(state.nonconforming) >= state.plan.reject:
        yield (Strong(texts("lot.certain", reject=state.plan.reject)),)


def _judged_line(found: VariablesDecision, texts: Texts) -> Line:
    told = {True: "lot.passes", False: "lot.refused", None: "lot.not_judged"}[found.accepted]
    name = characteristic_line(found.characteristic, texts)
    return texts.line("lot.characteristic", name=name, told=texts(told), words=Given(found.reason))


def _reels(state: LotState, texts: Texts) -> Iterator[Line]:
    """Yield the reels that do not conform, each with the worst that is wrong."""
    for reel in state.nonconforming[:_MOST_NAMED]:
        result = state.counting[reel].result
        worst = worst_margin(result)
        beyond = worst is not None and worst.margin is not None and worst.margin < 0.0
        if worst is not None and beyond:
            told: Line = (margin_words(worst, texts),)
        else:
            told = given(result.failing[0]) if result.failing else ()
        outcome = outcome_words(result.outcome, texts)
        yield line(Given(reel), ": ", outcome, "; " if told else "", told)
    if len(state.nonconforming) > _MOST_NAMED:
        yield (texts("lot.more_below", count=len(state.nonconforming) - _MOST_NAMED),)
