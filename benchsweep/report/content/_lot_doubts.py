"""What a reader must know before the decision on a lot is trusted."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.records import LotState, ReelAdded
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_words import plan_line, some_reels
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Given, Line, Strong, line
from benchsweep.report.text import Texts, outcome_words

__all__ = ["lot_doubts", "lot_events", "rests_on", "simulated_line"]

_FROM_MEMORY = "from-memory"


def lot_doubts(item: LotItem, texts: Texts) -> tuple[Line, ...]:
    """Return what makes a lot doubtful, each once, what touches the most first.

    Practice on the simulated bench; what is wrong with history and requirement; what the verdicts of reels
    doubt; reels nearer to a limit than their uncertainty; a seed that a person chose.
    """
    return tuple(dict.fromkeys(_doubts(item, texts)))


def lot_events(item: LotItem, texts: Texts) -> tuple[Line, ...]:
    """Return what happened to the sample and was decided by people, each with its reason; no doubt by itself.

    Retests, exclusions, another plan, what was corrected of records, a resubmission, a severity that departs
    from the switching rules.
    """
    return tuple(dict.fromkeys((*_decided_by_people(item.state, texts), *_corrected(item, texts))))


def rests_on(item: LotItem, texts: Texts) -> tuple[Line, ...]:
    """Return which of the figures that the decision rests on are from memory."""
    told: list[Line] = []
    from_memory = sum(curve.standing == _FROM_MEMORY for curve in item.limits.values())
    if from_memory:
        told.append(texts.line("limits_used.from_memory", count=from_memory))
    plan = item.state.plan
    if plan.standing == _FROM_MEMORY:
        told.append(texts.line("lot_doubts.table_from_memory", source=Given(plan.source)))
    return tuple(told)


def simulated_line(item: LotItem, texts: Texts) -> Line:
    """Return that some or all of it is practice; empty where nothing is."""
    tested = item.state.counting
    count = sum(reel in item.simulated for reel in tested)
    if not count:
        return ()
    if count == len(tested):
        return (Strong(texts("simulated.told")),)
    return (Strong(texts("simulated.some", count=count, whole=len(tested))),)


def _doubts(item: LotItem, texts: Texts) -> Iterator[Line]:
    state = item.state
    simulated = simulated_line(item, texts)
    if simulated:
        yield simulated
    yield from map(given, item.doubts)
    yield from _of_reels(state, texts)
    near = [reel for reel, added in state.counting.items() if _nearer_than_known(added)]
    if near:
        yield texts.line("lot_doubts.near", count=len(near), reels=some_reels(near, texts))
    if state.opened.seed_given:
        yield texts.line("lot_doubts.seed", by=Given(state.opened.by))


def _of_reels(state: LotState, texts: Texts) -> Iterator[Line]:
    """Yield what verdicts doubt, each with the reels that it is about."""
    found: dict[str, list[str]] = {}
    for reel, added in state.counting.items():
        for doubt in added.result.doubts:
            found.setdefault(doubt, []).append(reel)
    for doubt, reels in found.items():
        if len(reels) == len(state.counting) > 1:
            yield texts.line("lot_doubts.of_all", words=Given(doubt))
        else:
            yield texts.line("lot_doubts.of_some", reels=some_reels(reels, texts), words=Given(doubt))


def _nearer_than_known(added: ReelAdded) -> bool:
    """Tell whether the true value of a margin may lie on the other side of its limit."""
    return any(
        each.margin is not None
        and each.expanded_uncertainty is not None
        and abs(each.margin) < each.expanded_uncertainty
        for each in added.result.margins
    )


def _decided_by_people(state: LotState, texts: Texts) -> Iterator[Line]:
    before: dict[str, ReelAdded] = {}
    for added in state.added:
        earlier = before.get(added.reel)
        if earlier is not None:
            yield texts.line(
                "lot_doubts.retest_of_pass" if earlier.result.conforms else "lot_doubts.retest",
                reel=Given(added.reel),
                before=outcome_words(earlier.result.outcome, texts),
                now=outcome_words(added.result.outcome, texts),
                reason=Given(added.retest_reason),
            )
        before[added.reel] = added
    for gone in state.excluded:
        yield texts.line("lot_doubts.excluded", reel=Given(gone.reel), reason=Given(gone.reason))
    for change in state.replanned:
        told = plan_line(change.plan, texts)
        yield texts.line("lot_doubts.replanned", plan=told, reason=Given(change.reason))
    opened = state.opened
    if opened.resubmission_of:
        yield texts.line("lot_doubts.again", lot=Given(opened.resubmission_of))
    if opened.reason:
        yield line(texts.line("lot_doubts.reason", reason=Given(opened.reason)))


def _corrected(item: LotItem, texts: Texts) -> Iterator[Line]:
    """Yield what was corrected of records, once with all reels of which it says the same."""
    found: dict[str, list[str]] = {}
    for reel, told in item.corrections.items():
        for words in told:
            found.setdefault(words, []).append(reel)
    for words, reels in found.items():
        yield texts.line("lot_doubts.corrected", reels=some_reels(reels, texts), words=Given(words))
