"""One measurement on the page, with everything it was graded against."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from benchsweep.records import (
    End,
    Outcome,
    Parameter,
    Trace,
    VerdictRow,
)
from benchsweep.report._findings import (
    Findings,
    alien_tables,
    cable_rows,
    distance_facts,
    length_rows,
    strongest_places,
)
from benchsweep.report._select import ORDER, bad_rows, severity, standings, worst_row, worst_rows
from benchsweep.report._stopping import nearest_words
from benchsweep.report._tables import budget_name, definition_lines, fixture_name
from benchsweep.report._words import (
    CONDITIONAL_WORDS,
    PARAMETER_WORDS,
    clean,
    count_words,
    origins_words,
    signed,
    wiring_words,
)
from benchsweep.report.content._item import ReportItem, TraceKey

if TYPE_CHECKING:
    from benchsweep.report._limits import Bar

__all__ = ["ReportItem", "TraceKey", "subjects"]

_ALIEN = (
    Parameter.PS_ANEXT,
    Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F,
    Parameter.PS_AACR_F_AVERAGE,
)
_FAILING = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)


def subjects(items: Sequence[ReportItem]) -> list[dict[str, Any]]:
    """Return what the page needs of each measurement, in order."""
    groups: list[list[ReportItem]] = []
    for item in items:
        last = groups[-1][-1] if groups else None
        if last is not None and last.measurement is item.measurement and last.sweep == item.sweep:
            groups[-1].append(item)
        else:
            groups.append([item])
    found = []
    place = 1
    for group in groups:
        found.append(_subject(place, group))
        place += len(group)
    return found


def _subject(place: int, group: Sequence[ReportItem]) -> dict[str, Any]:
    first = group[0]
    measurement = first.measurement
    findings = next((item.findings for item in group if item.findings is not None), None) or Findings()
    length_m = measurement.specimen.length_m if findings.length_m is None else findings.length_m
    worst = min(group, key=lambda item: ORDER.index(item.verdict.outcome))
    counts = Counter(item.verdict.outcome for item in group)
    doubts = list(dict.fromkeys(doubt for item in group for doubt in item.verdict.doubts))
    common = set.intersection(*(set(item.verdict.notes) for item in group)) if len(group) > 1 else set()
    budget = {
        (row.parameter, row.end, row.pairs, row.frequency_hz): row for item in group for row in item.budget
    }
    return {
        "place": place,
        "standings": standings([row for item in group for row in item.verdict.rows]),
        "conditional": [
            (outcome.value, words)
            for outcome, words in CONDITIONAL_WORDS.items()
            if any(row.outcome is outcome for item in group for row in item.verdict.rows)
        ],
        "notes": [note for note in first.verdict.notes if note in common and note not in doubts],
        "doubts": doubts,
        "comments": first.comments,
        "budget": list(budget.values()),
        "margins": _margins(group) if len(group) > 1 else [],
        "outcome": worst.verdict.outcome.value,
        "outcomes": ", ".join(f"{counts[outcome]} {outcome.value}" for outcome in ORDER if counts[outcome])
        if len(group) > 1
        else worst.verdict.outcome.value,
        "told": (f"{worst.verdict.requirement}: " if len(group) > 1 else "") + nearest_words(worst.verdict),
        "measurement": measurement,
        "specimen": first.verdict.specimen,
        "record": first.verdict.record,
        "content_hash": first.content_hash,
        "sweep": first.sweep,
        "verdicts": [_verdict(place + number, number + 1, item, common) for number, item in enumerate(group)],
        "wiring": wiring_words(first.verdict.wiring),
        "findings": findings,
        "faults": list(enumerate(findings.faults, start=1)),
        "origins": origins_words(findings.origins),
        "failing": any(item.verdict.outcome in _FAILING for item in group),
        "distance_facts": distance_facts(findings.profiles),
        "strongest": strongest_places(findings.profiles, findings.length_m),
        "length_rows": length_rows(findings),
        "cable_rows": cable_rows(findings.constants),
        "aliens": alien_tables(findings.shares),
        "figures": _figures(group, [item for item in Parameter if item not in _ALIEN]),
        "alien_figures": _figures(group, _ALIEN),
        "graded": any(item.graded for item in group),
        "idle": any(mask.any() for item in group for mask in item.not_counting.values()),
        "held": any(
            curve.held is not None and curve.held.any() for item in group for curve in item.limits.values()
        ),
        "distance_figures": _distance_figures(findings, length_m),
        "length_m": length_m,
        "cable_figures": _cable_figures(findings),
        "fixture_name": fixture_name(measurement.fixture_toml),
        "budget_name": budget_name(measurement.budget_toml),
        "fixture_lines": [clean(line) for line in definition_lines(measurement.fixture_toml)],
        "grid": measurement.corrected.frequency_hz,
    }


def _verdict(place: int, number: int, item: ReportItem, common: Collection[str]) -> dict[str, Any]:
    verdict = item.verdict
    order = list(Parameter)
    return {
        "place": place,
        "number": number,
        "verdict": verdict,
        "notes": [note for note in verdict.notes if note not in common and note not in verdict.doubts],
        "counts": count_words(verdict),
        "told": nearest_words(verdict),
        "bad": bad_rows(verdict),
        "closest": worst_row(verdict),
        "worst_rows": worst_rows(verdict),
        "all_rows": sorted(
            verdict.rows, key=lambda row: (order.index(row.parameter), row.end or "", severity(row))
        ),
        "uncertain": any(row.expanded_uncertainty is not None for row in verdict.rows),
        "guarded": any(row.guard_band is not None for row in verdict.rows),
        "standings": standings(verdict.rows),
        "limits": sorted(item.limits.items(), key=lambda entry: order.index(entry[0])),
    }


def _margins(group: Sequence[ReportItem]) -> list[tuple[Parameter, str, tuple[str, ...], list[str]]]:
    """Return for each graded trace its worst margin to every requirement, in words where it does not pass."""
    found: dict[TraceKey, list[str]] = {}
    for place, item in enumerate(group):
        for row in item.verdict.rows:
            cells = found.setdefault((row.parameter, row.end, row.pairs), [""] * len(group))
            margin = "" if row.worst_margin_db is None else signed(row.worst_margin_db)
            words = "" if row.outcome is Outcome.PASS and margin else row.outcome.value
            cells[place] = f"{margin} {words}".strip()
    order = list(Parameter)
    keys = sorted(found, key=lambda key: (order.index(key[0]), key[1] or "", key[2]))
    return [(parameter, end or "", pairs, found[parameter, end, pairs]) for parameter, end, pairs in keys]


def _figures(group: Sequence[ReportItem], parameters: Sequence[Parameter]) -> list[dict[str, Any]]:
    from markupsafe import Markup

    from benchsweep.report._figures import draw_parameter
    from benchsweep.report._limits import left_out

    figures = []
    # One requirement: its values are drawn. Several: what was measured, and of each its worst trace.
    graded = {_key(trace): trace for trace in (group[0].graded if len(group) == 1 else ())}
    drawn = [graded.get(_key(trace), trace) for trace in group[0].traces]
    for parameter in parameters:
        traces = [trace for trace in drawn if trace.parameter is parameter]
        if not traces:
            continue
        bars = _bars(parameter, group)
        # Drawn by us from numbers and from labels that the SVG writer escapes.
        svg = Markup(draw_parameter(parameter, traces, bars))
        figures.append({"name": PARAMETER_WORDS[parameter], "svg": svg, "left_out": left_out(bars)})
    return figures


def _bars(parameter: Parameter, group: Sequence[ReportItem]) -> list[Bar]:
    from benchsweep.report._limits import Bar

    bars = []
    for number, item in enumerate(group, start=1):
        worst: dict[End | None, VerdictRow] = {}
        for row in worst_rows(item.verdict):
            if row.parameter is parameter:
                worst.setdefault(row.end, row)
        curve = item.limits.get(parameter)
        if curve is None and not worst:
            continue
        name = "limit" if len(group) == 1 else f"limit {number}"
        graded = {_key(trace): trace for trace in (item.graded if len(group) > 1 else ())}
        bars.append(Bar(name, curve, worst, item.not_counting, graded))
    return bars


def _key(trace: Trace) -> TraceKey:
    return trace.parameter, trace.end, trace.pairs


def _distance_figures(findings: Findings, length_m: float | None) -> list[dict[str, Any]]:
    from markupsafe import Markup

    from benchsweep.report._distance_figures import DISTANCE_WORDS, draw_distance

    figures = []
    for kind, words in DISTANCE_WORDS.items():
        traces = [trace for trace in findings.profiles if trace.kind == kind]
        if traces:
            svg = draw_distance(kind, traces, findings.faults, length_m)
            figures.append({"name": words, "svg": Markup(svg), "left_out": ""})
    return figures


def _cable_figures(findings: Findings) -> list[dict[str, Any]]:
    from markupsafe import Markup

    from benchsweep.report._cable_figures import CABLE_WORDS, draw_cable

    if not findings.constants:
        return []
    return [
        {"name": words, "svg": Markup(draw_cable(what, findings.constants)), "left_out": ""}
        for what, words in CABLE_WORDS.items()
    ]
