"""Where a lot stands, and several lots, one line each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchsweep.records import LotState, Parameter, ReelAdded, ReelMargin, VariablesDecision
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import number, parameter_words, signed
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, wrapped
from benchsweep.report.terminal._lot_pick import draw_words
from benchsweep.report.terminal._lot_plan import characteristic_words, percent_words, plan_words
from benchsweep.report.text import megahertz

__all__ = ["decision_words", "lot_list", "lot_table", "worst_margin"]

_MOST_NAMES = 12
_MOST_FAILING = 3


def worst_margin(added: ReelAdded) -> ReelMargin | None:
    """Return the smallest margin in decibels of a reel; in nanoseconds where there is none in decibels."""
    known = [each for each in added.result.margins if each.margin is not None]
    first = [each for each in known if each.parameter.unit == "dB"] or known
    return min(first, key=lambda each: each.margin or 0.0, default=None)


def decision_words(state: LotState) -> tuple[str, ...]:
    """Return the decision, or what is missing for it; the first word of the first sentence is its outcome."""
    closed = state.closed
    if closed is not None:
        word = "accepted" if closed.accepted else "not accepted"
        return (closed.words if closed.words.startswith(word) else f"{word}: {closed.words}",)
    tested = len(state.sample) - len(state.missing)
    bad = len(state.nonconforming)
    conform = f"{bad} {'does' if bad == 1 else 'do'} not conform"
    told = [f"open: {tested} of {len(state.sample)} reels tested, {conform}"]
    if state.undecided:
        told.append(f"undecided, so the lot cannot be closed: {_names(state.undecided)}")
    if state.missing:
        told.append(f"still to be tested: {_names(state.missing)}")
    elif not state.undecided:
        told.append("every reel of the sample is decided: it can be closed")
    if state.plan.method != "variables" and len(state.nonconforming) >= state.plan.reject:
        told.append(
            f"it will not be accepted: {state.plan.reject} or more reels that do not conform refuse it "
            f"(rejection number Re {state.plan.reject})"
        )
    return tuple(told)


def lot_table(
    state: LotState,
    *,
    digest: str = "",
    variables: Sequence[VariablesDecision] = (),
    inspection: Sequence[str] = (),
    doubts: Sequence[str] = (),
    width: int = 80,
) -> str:
    """Return where a lot stands as plain text of at most `width` columns, at least 40.

    The decision first, or what is missing for it; what does not conform; what the lot is and how it is
    inspected; then each reel of the sample with its outcome and worst margin, and what was done by hand.

    Parameters
    ----------
    state
        The lot.
    digest
        Of its whole history.
    variables
        What a plan by variables says so far; of a closed lot its own.
    inspection
        What the lot means for the lots after it, in words.
    doubts
        What is wrong with it, in words.
    """
    width = max(width, NARROWEST)
    opened = state.opened
    decision = "decision" if state.closed is not None else "open"
    first, *more = decision_words(state)
    lines = entry(decision, [first.removeprefix("open: "), *more], width)
    lines += entry("doubtful", doubts, width)
    lines += entry("fails", _failing(state), width)
    judged = state.closed.variables if state.closed is not None and state.closed.variables else variables
    lines += entry("variables", [_variables_words(each) for each in judged], width)
    construction = f", {opened.construction}" if opened.construction else ""
    for label, texts in (
        ("lot", [opened.lot, f"lot {opened.resubmission_of} again" if opened.resubmission_of else ""]),
        ("supplier", [opened.supplier]),
        ("product", [opened.product]),
        ("requirement", [f"{opened.requirement}, decision rule {opened.decision_rule}{construction}"]),
        ("plan", [plan_words(state.plan), *_severity_words(state)]),
        ("draw", [draw_words(state)]),
        ("inspection", inspection),
        ("history", _history(state)),
        ("digest", [digest]),
    ):
        lines += entry(label, texts, width)
    lines += ["", *_reels(state, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def lot_list(states: Iterable[LotState], *, width: int = 80) -> str:
    """Return a line for each lot: where it stands, what it is of, how many reels are tested."""
    width = max(width, NARROWEST)
    rows = []
    for state in states:
        closed, opened = state.closed, state.opened
        stands = "open" if closed is None else "accepted" if closed.accepted else "not accepted"
        tested = len(state.sample) - len(state.missing)
        severity = state.plan.severity.value if state.plan.severity is not None else state.plan.method
        rows.append(
            [
                opened.lot,
                opened.at[:10],
                opened.supplier,
                opened.product,
                severity,
                f"{tested}/{len(state.sample)}",
                str(len(state.nonconforming)),
                stands,
            ]
        )
    heads = ["lot", "opened", "supplier", "product", "inspection", "tested", "nonconf.", "stands"]
    lines = tabled(
        heads, rows, width, figures=("tested", "nonconf."), spare=("opened", "inspection", "supplier")
    )
    return "\n".join(lines) + "\n"


def _names(reels: Sequence[str]) -> str:
    more = f", … ({len(reels)} in all)" if len(reels) > _MOST_NAMES else ""
    return ", ".join(clean(reel) for reel in reels[:_MOST_NAMES]) + more


def _failing(state: LotState) -> Sequence[str]:
    told = []
    for reel in state.nonconforming:
        result = state.counting[reel].result
        sentences = list(result.failing[:_MOST_FAILING])
        if len(result.failing) > _MOST_FAILING:
            sentences.append(f"and {len(result.failing) - _MOST_FAILING} more")
        told.append(f"{reel}: {'; '.join(sentences) or result.outcome.value}")
    return told


def _severity_words(state: LotState) -> Sequence[str]:
    plan, opened = state.plan, state.opened
    if plan.method == "zero-acceptance":
        how = f"zero acceptance, limiting quality {percent_words(plan.limiting_percent)} %"
    else:
        severity = "" if plan.severity is None else f", {plan.severity.value} inspection"
        how = f"{plan.method}, level {plan.level}, AQL {plan.aql_percent:g} %{severity}"
    reason = "" if opened.reason in opened.severity_because else f"reason: {opened.reason}"
    return [how, "" if state.replanned else opened.severity_because, reason]


def _variables_words(found: VariablesDecision) -> str:
    stands = {True: "accepted", False: "not accepted", None: "undecided"}[found.accepted]
    name = characteristic_words(found.characteristic)
    unit = Parameter(found.characteristic).unit if found.characteristic in set(Parameter) else "dB"
    spread = f"mean {signed(found.mean)} {unit}, s {number(found.deviation, 3)} {unit}"
    margins = f"{found.count} worst margins, {spread}"
    return f"{name}, {stands}: {found.reason}; {margins}"


def _history(state: LotState) -> Sequence[str]:
    """Return who did what when; of results only those of retests: the others are in the table."""
    opened = state.opened
    told = [(opened.at, f"{opened.by} opened it with {len(opened.reels)} reels")]
    for change in state.replanned:
        told.append((change.at, f"{change.by} took another plan, {plan_words(change.plan)}: {change.reason}"))
    for gone in state.excluded:
        told.append((gone.at, f"{gone.by} excluded {gone.reel}: {gone.reason}"))
    before: dict[str, ReelAdded] = {}
    for added in state.added:
        earlier = before.get(added.reel)
        if earlier is not None:
            told.append(
                (
                    added.at,
                    f"{added.by} tested {added.reel} again{_replaces(earlier)} "
                    f"({earlier.result.outcome.value} before, {added.result.outcome.value} now): "
                    f"{added.retest_reason}",
                )
            )
        before[added.reel] = added
    if state.closed is not None:
        told.append((state.closed.at, f"{state.closed.by} closed it"))
    return [
        f"{at[:16].replace('T', ' ')} UTC: {words}" for at, words in sorted(told, key=lambda each: each[0])
    ]


def _margin_of(added: ReelAdded, name: str) -> str:
    """Return the worst margin of a reel of one characteristic."""
    worst = added.result.margin_of(Parameter(name)) if name in set(Parameter) else None
    return "-" if worst is None or worst.margin is None else signed(worst.margin)


def _replaces(earlier: ReelAdded) -> str:
    """Return that a test again took the place of a result that was good."""
    return ", which replaces a pass" if earlier.result.conforms else ""


def _reels(state: LotState, width: int) -> list[str]:
    judged = state.plan.characteristics if state.plan.method == "variables" else ()
    names = [characteristic_words(name) for name in judged]
    heads = ["#", "reel", "outcome", *names, "margin", "parameter", "end", "MHz", "tested", "by"]
    rows = []
    gone = {each.reel for each in state.excluded}
    for place, reel in state.drawn:
        added = state.counting.get(reel)
        if reel in gone:
            rows.append([str(place), reel, "excluded", *[""] * (len(heads) - 3)])
            continue
        if added is None:
            rows.append([str(place), reel, "to be tested", *[""] * (len(heads) - 3)])
            continue
        worst = worst_margin(added)
        tested = (added.result.measured_at or added.at)[:10]
        if worst is None:
            cells = ["-", "", "", ""]
        else:
            unit = "" if worst.parameter.unit == "dB" else f" {worst.parameter.unit}"
            cells = [
                f"{signed(worst.margin)}{unit}",
                parameter_words(worst.parameter),
                worst.end or "",
                megahertz(worst.frequency_hz),
            ]
        mark = "*" if added.retest_reason else ""
        of_plan = [_margin_of(added, name) for name in judged]
        outcome = f"{added.result.outcome.value}{mark}"
        rows.append([str(place), reel, outcome, *of_plan, *cells, tested, added.by])
    figures, spare = ("#", *names, "margin", "MHz"), ("by", "tested", "MHz", "end")
    lines = tabled(heads, rows, width, figures=figures, spare=spare)
    if any(added.retest_reason for added in state.counting.values()):
        lines += wrapped("* tested again, see history", width)
    if names:
        lines += wrapped(f"{', '.join(names)}: worst margin of both ends, which the plan judges", width)
    if any(row[3] for row in rows):
        lines += wrapped("margin: the smallest of the reel, in dB, after normalisation", width)
    results = {reel: state.counting[reel].result for reel in state.sample if reel in state.counting}
    doubts = {reel: result.doubts for reel, result in results.items()}
    notes = {reel: result.notes for reel, result in results.items()}
    for label, told in (("doubtful", doubts), ("note", notes)):
        for words in dict.fromkeys(words for each in told.values() for words in each):
            of = [reel for reel, each in told.items() if words in each]
            whose = "all tested" if len(of) == len(results) > 1 else _names(of)
            lines += entry(label, [f"{whose}: {words}"], width)
    return lines
