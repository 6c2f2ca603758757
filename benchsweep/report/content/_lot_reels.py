"""Every reel of the sample: outcome, worst margins, what was measured besides, and what does not conform."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import LotState, Outcome, Parameter, ReelAdded, ReelConstants, ReelResult
from benchsweep.report.content._lot_words import OUTCOME_LETTERS
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.content._verdict import emphasis_of
from benchsweep.report.document import (
    Block,
    Column,
    Emphasis,
    Given,
    Items,
    Line,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
    line,
)
from benchsweep.report.text import ORDER, Texts, megahertz, number, outcome_words, parameter_words, signed

__all__ = ["failing_section", "reels_section"]

_ABREAST = 7
"""So many parameters stand side by side in one table; of more there are several."""


def reels_section(state: LotState, texts: Texts) -> Section:
    """Return a row for each reel of the sample, in the order of the draw."""
    results = [added.result for added in state.counting.values()]
    graded = {each.parameter for result in results for each in result.margins}
    parameters = [parameter for parameter in Parameter if parameter in graded]
    blocks: list[Block] = []
    count = -(-len(parameters) // _ABREAST)
    each = -(-len(parameters) // max(count, 1))  # as many in one table as in the next
    groups = [parameters[at : at + each] for at in range(0, len(parameters), each or 1)] or [[]]
    for place, group in enumerate(groups, start=1):
        caption = texts("lot_reels.caption")
        if len(groups) > 1:
            caption = texts("lot_reels.caption_part", caption=caption, part=place, parts=len(groups))
        blocks.append(_margins(state, group, texts, caption))
    blocks.append(Paragraph((_legend(state, texts),), legend=True))
    if results:
        blocks.append(_besides(state, texts))
        told: Line = (texts("lot_reels.besides_legend"),)
        stations = _stations(state)
        if len(stations) == 1 and stations[0]:
            told = line(told, " ", texts.line("lot_reels.all_at", station=Given(stations[0])))
        blocks.append(Paragraph(told, legend=True))
    return Section((texts("lot_reels.title"),), tuple(blocks), anchor="reels")


def _margins(state: LotState, parameters: Sequence[Parameter], texts: Texts, caption: str) -> Table:
    columns = (
        Column(texts("lot_reels.number"), number=True),
        Column(texts("lot_reels.reel"), kept=True),
        Column(texts("lot_reels.outcome"), kept=True),
        *(
            Column(texts("lot_reels.head", parameter=parameter_words(p, texts), unit=p.unit), number=True)
            for p in parameters
        ),
    )
    rows = []
    gone = {each.reel for each in state.excluded}
    for place, reel in state.drawn:
        added = state.counting.get(reel)
        if reel in gone:
            head = cells(str(place), given(reel), texts("lot_reels.excluded"))
            rows.append(Row((*head, *cells(*[""] * len(parameters)))))
            continue
        if added is None:
            empty = [""] * len(parameters)
            head = cells(str(place), given(reel), texts("lot_reels.to_be_tested"))
            rows.append(Row((*head, *cells(*empty)), "undecided"))
            continue
        margins = [_margin(added.result, parameter, texts) for parameter in parameters]
        head = cells(str(place), given(reel), _outcome(added, texts))
        rows.append(Row((*head, *margins), _emphasis(added.result)))
    return Table(columns, tuple(rows), (caption,))


def _outcome(added: ReelAdded, texts: Texts) -> Line:
    told = outcome_words(added.result.outcome, texts)
    return (texts("lot_reels.tested_again", outcome=told),) if added.retest_reason else (told,)


def _emphasis(result: ReelResult) -> Emphasis:
    return emphasis_of(Outcome.FAIL if result.conforms is False else result.outcome)


def _margin(result: ReelResult, parameter: Parameter, texts: Texts) -> Line:
    """Return the worst margin over both ends, the end, and a letter where it is no plain pass."""
    found = [each for each in result.margins if each.parameter is parameter]
    if not found:
        return ()
    outcome = min((each.outcome for each in found), key=ORDER.index)
    known = [each for each in found if each.margin is not None]
    if known:
        worst = min(known, key=lambda each: each.margin or 0.0)
        told = " ".join(part for part in (signed(worst.margin, texts), worst.end or "") if part)
    else:
        told = number(None, texts)
    key = OUTCOME_LETTERS.get(outcome)
    return (told,) if key is None else (Strong(f"{told} {texts(key)}"),)


def _legend(state: LotState, texts: Texts) -> str:
    seen = {each.outcome for added in state.counting.values() for each in added.result.margins}
    marks = [
        texts("matrix.mark", letter=texts(key), outcome=outcome_words(outcome, texts))
        for outcome, key in OUTCOME_LETTERS.items()
        if outcome in seen
    ]
    told = [texts("lot_reels.legend"), *marks]
    if any(added.retest_reason for added in state.counting.values()):
        told.append(texts("lot_reels.again_legend"))
    unknown = [
        each for added in state.counting.values() for each in added.result.margins if each.margin is not None
    ]
    if unknown and all(each.expanded_uncertainty is None for each in unknown):
        told.append(texts("uncertainty.not_evaluated"))
    return " ".join(told)


def _besides(state: LotState, texts: Texts) -> Table:
    """Return length, temperature and constants of each reel, and when it was measured and by whom."""
    several = len(_stations(state)) > 1
    columns = (
        Column(texts("lot_reels.number"), number=True),
        Column(texts("lot_reels.reel"), kept=True),
        Column(texts("lot_reels.length"), number=True),
        Column(texts("lot_reels.temperature"), number=True),
        Column(texts("lot_reels.velocity"), number=True),
        Column(texts("lot_reels.skew"), number=True),
        Column(texts("lot_reels.impedance"), number=True),
        Column(texts("lot_reels.structural"), number=True),
        Column(texts("lot_reels.measured_on"), kept=True),
        Column(texts("lot_reels.by")),
        *((Column(texts("lot_reels.station")),) if several else ()),
    )
    rows = []
    for place, reel in state.drawn:
        added = state.counting.get(reel)
        if added is None:
            continue
        result = added.result
        degc = result.temperature_degc
        rows.append(
            Row(
                cells(
                    str(place),
                    given(reel),
                    f"{result.length_m:g}",
                    number(None, texts) if degc is None else f"{degc:g}",
                    _velocity(result.constants, texts),
                    number(result.skew_ns_per_100m, texts),
                    _impedance(result.constants, texts),
                    _structural(result.constants, texts),
                    given((result.measured_at or added.at)[:10]),
                    given(added.by),
                    *((given(added.station),) if several else ()),
                )
            )
        )
    return Table(columns, tuple(rows), (texts("lot_reels.besides_caption"),))


def _range(values: Sequence[float], decimals: int, texts: Texts) -> str:
    if not values:
        return number(None, texts)
    low, high = (number(value, texts, decimals) for value in (min(values), max(values)))
    return low if low == high else texts("lot_reels.range", low=low, high=high)


def _stations(state: LotState) -> list[str]:
    return sorted({added.station for added in state.counting.values()})


def _velocity(constants: Sequence[ReelConstants], texts: Texts) -> str:
    known = [each.velocity_fraction for each in constants if each.velocity_fraction is not None]
    return _range(known, 3, texts)


def _impedance(constants: Sequence[ReelConstants], texts: Texts) -> str:
    return _range([each.fitted_impedance_ohm for each in constants], 1, texts)


def _structural(constants: Sequence[ReelConstants], texts: Texts) -> str:
    """Return the smallest structural return loss, with end, pair and frequency."""
    if not constants:
        return number(None, texts)
    least = min(constants, key=lambda each: each.structural_return_loss_db)
    return texts(
        "lot_reels.structural_at",
        value=number(least.structural_return_loss_db, texts, 1),
        end=least.end,
        pair=least.pair,
        frequency=megahertz(least.structural_at_hz),
    )


def failing_section(state: LotState, texts: Texts) -> Section:
    """Return what does not conform, reel by reel, as the verdicts said it; and what is undecided."""
    blocks: list[Block] = list(_failing(state.nonconforming, state, texts))
    if not blocks and state.counting:
        key = "lot_failing.none_so_far" if state.missing else "lot_failing.none"
        blocks.append(Paragraph((texts(key, count=len(state.counting)),)))
    elif not blocks:
        blocks.append(Paragraph((texts("lot_failing.nothing_tested"),)))
    blocks += _failing(state.undecided, state, texts)
    return Section((texts("lot_failing.title"),), tuple(blocks), anchor="nonconforming")


def _failing(reels: Sequence[str], state: LotState, texts: Texts) -> Iterator[Block]:
    for reel in reels:
        result = state.counting[reel].result
        outcome = outcome_words(result.outcome, texts)
        title = texts.line("lot_failing.reel", reel=Given(reel), outcome=outcome)
        told = result.failing or result.notes
        if told:
            yield Section(title, (Items(tuple(map(given, told))),))
        else:
            yield Section(title, (Paragraph((texts("lot_failing.no_words"),)),))
