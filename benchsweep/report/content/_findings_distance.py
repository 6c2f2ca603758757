"""A specimen over the distance: lengths, what distances rest on, and what is seen where."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from benchsweep.records import DistanceKind, DistanceTrace
from benchsweep.report.content._findings import Findings
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content._pieces import Fact, cells, fact, facts, given
from benchsweep.report.document import (
    Block,
    Column,
    Drawn,
    Given,
    Line,
    Paragraph,
    Row,
    Section,
    Table,
    line,
)
from benchsweep.report.text import Texts, length_words, number, pairs_words, standing_words

__all__ = ["distance_section", "strongest_rows"]

_KINDS: tuple[DistanceKind, ...] = ("reflection", "crosstalk", "impedance")
_LISTED: tuple[DistanceKind, ...] = ("reflection", "crosstalk")
_VELOCITIES: Mapping[str, str] = {
    "measured": "distance.velocity_measured",
    "given": "distance.velocity_given",
    "common-practice": "distance.velocity_usual",
}
_NAMES: Mapping[str, str] = {
    "reflection": "distance.reflection",
    "crosstalk": "distance.crosstalk",
    "impedance": "distance.impedance",
}


def distance_section(
    group: Sequence[ReportItem], texts: Texts, *, drawings: Sequence[Drawn] = ()
) -> Section | None:
    """Return what is known over the distance; None when nothing is. Faults are told with the outcome.

    Parameters
    ----------
    drawings
        The charts over the distance.
    """
    findings = findings_of(group)
    rules = _rules_table(findings, texts)
    if not (drawings or findings.why_no_profiles or rules):
        return None
    blocks: list[Block] = []
    blocks.append(facts(_facts(group[0].measurement.specimen.length_m, findings, texts)))
    if rules is not None:
        blocks += [rules, Paragraph((texts("distance.rule_legend"),), legend=True)]
    if drawings:
        blocks.append(Paragraph((_legend(group, findings, texts),), legend=True))
        blocks += drawings
    blocks += _strongest_tables(findings, texts)
    return Section((texts("distance.title"),), tuple(blocks))


def _legend(group: Sequence[ReportItem], findings: Findings, texts: Texts) -> str:
    told = group[0].measurement.specimen.length_m if findings.length_m is None else findings.length_m
    parts = [texts("distance.legend_own") if told is None else texts("distance.legend_one")]
    parts.append(texts("distance.legend_scales"))
    if findings.faults:
        parts.append(texts("distance.legend_faults"))
    return " ".join(parts)


def _facts(told_m: float | None, findings: Findings, texts: Texts) -> Iterator[Fact]:
    if told_m is not None:
        yield fact(texts("distance.length"), texts("distance.as_told", length=length_words(told_m, texts)))
    electrical = findings.electrical_length_m
    if electrical is not None:
        length = number(electrical, texts)
        yield fact(texts("distance.electrical"), texts("distance.electrical_told", length=length))
    yield fact(texts("distance.not_drawn"), given(findings.why_no_profiles))
    profiles = findings.profiles
    yield fact(texts("distance.velocity"), *_velocity_lines(profiles, texts))
    yield fact(texts("distance.loss"), *_loss_lines(profiles, texts))
    yield fact(texts("distance.resolution"), *_resolution_lines(profiles, texts))
    yield fact(texts("distance.note"), *_note_lines(profiles, texts))


def _velocity_lines(profiles: Sequence[DistanceTrace], texts: Texts) -> Iterator[Line]:
    found: dict[str, dict[str, float]] = {}
    for trace in profiles:
        if len(trace.pairs) == 1:
            found.setdefault(trace.velocity_standing, {})[trace.pairs[0]] = trace.velocity_fraction
    for standing, velocities in found.items():
        told = ", ".join(
            f"{pairs_words((pair,), texts)} {number(fraction, texts, 4)}"
            for pair, fraction in velocities.items()
        )
        key = _VELOCITIES.get(standing)
        yield line(told, "; ", Given(standing) if key is None else texts(key))


def _loss_lines(profiles: Sequence[DistanceTrace], texts: Texts) -> Iterator[Line]:
    for kind in _KINDS:
        freed = [t.loss_corrected_m for t in profiles if t.kind == kind and t.loss_corrected_m > 0.0]
        if freed:
            length = length_words(round(min(freed), 1), texts)
            yield (texts("distance.loss_out", kind=texts(_NAMES[kind]), length=length),)


def _resolution_lines(profiles: Sequence[DistanceTrace], texts: Texts) -> Iterator[Line]:
    kinds: dict[Line, list[str]] = {}
    for kind in _KINDS:
        seen = [trace for trace in profiles if trace.kind == kind]
        if seen:
            windows: Line = ()
            for window in dict.fromkeys(trace.window for trace in seen):
                windows = line(windows, ", " if windows else "", Given(window))
            length = number(max(trace.resolution_m for trace in seen), texts)
            words = texts.line("distance.window", length=length, window=windows)
            kinds.setdefault(words, []).append(texts(_NAMES[kind]))
    for words, names in kinds.items():
        yield words if len(kinds) == 1 else line(", ".join(names), ": ", words)


def _note_lines(profiles: Sequence[DistanceTrace], texts: Texts) -> Iterator[Line]:
    """Yield each note once, with the traces that it is about unless it is about all of its kind."""
    for kind in _KINDS:
        seen = [trace for trace in profiles if trace.kind == kind]
        name = texts(_NAMES[kind])
        for note in dict.fromkeys(trace.note for trace in seen if trace.note):
            about = [
                texts("distance.seen_from", pairs=pairs_words(trace.pairs, texts), end=trace.end)
                for trace in seen
                if trace.note == note
            ]
            named = name if len(about) == len(seen) else f"{name} {', '.join(about)}"
            yield line(named, ": ", Given(note))


def _rules_table(findings: Findings, texts: Texts) -> Table | None:
    """Return how long a specimen may be, and how it compares; None without any rule."""
    if not findings.length_rules:
        return None
    measured = findings.length_m
    rows = []
    for rule in findings.length_rules:
        if measured is None:
            words = texts("distance.length_unknown")
        elif measured > rule.maximum_m:
            words = texts("distance.longer", length=number(measured - rule.maximum_m, texts, 1))
        else:
            words = texts("distance.shorter", length=number(rule.maximum_m - measured, texts, 1))
        known = f"standing.{rule.standing}" in texts
        standing = (standing_words(rule.standing, texts),) if known else given(rule.standing)
        longest = length_words(rule.maximum_m, texts)
        rows.append(Row(cells(given(rule.requirement), longest, words, standing)))
    columns = (
        Column(texts("distance.requirement")),
        Column(texts("distance.at_most"), number=True),
        Column(texts("distance.specimen_is")),
        Column(texts("distance.standing")),
    )
    return Table(columns, tuple(rows), (texts("distance.rule_caption"),))


def _strongest_tables(findings: Findings, texts: Texts) -> Iterator[Table]:
    for kind in _LISTED:
        rows = strongest_rows(findings.profiles, kind, findings.length_m, texts)
        if not rows:
            continue
        alone = kind == "reflection"
        columns = (
            Column(texts("distance.pair") if alone else texts("distance.pairs"), kept=True),
            Column(texts("distance.from_a_db"), number=True),
            Column(texts("distance.from_a_m"), number=True),
            Column(texts("distance.from_b_db"), number=True),
            Column(texts("distance.from_b_m"), number=True),
        )
        caption = texts("distance.strongest_reflection" if alone else "distance.strongest_crosstalk")
        yield Table(columns, tuple(Row(cells(*row)) for row in rows), (caption,))


def strongest_rows(
    profiles: Sequence[DistanceTrace], kind: DistanceKind, length_m: float | None, texts: Texts
) -> list[tuple[str, ...]]:
    """Return a row for each pair or combination: for each end the strongest value seen from there, and where.

    Its cells: the pairs, then for each end the value in dB and how far it is: within the length, where it is
    known. What comes back from the very end is seen around it, as wide as the resolution; its place is the
    end. What is farther away is no part of the specimen.
    """
    seen = {(trace.pairs, trace.end): trace for trace in profiles if trace.kind == kind}
    rows = []
    for pairs in dict.fromkeys(pairs for pairs, _ in seen):
        told = [pairs_words(pairs, texts)]
        for end in ("A", "B"):
            trace = seen.get((pairs, end))
            told += ["-", "-"] if trace is None else _strongest(trace, length_m, texts)
        rows.append(tuple(told))
    return rows


def _strongest(trace: DistanceTrace, length_m: float | None, texts: Texts) -> list[str]:
    length_m = float(trace.distance_m[-1]) if length_m is None else length_m
    size = np.where(trace.distance_m <= length_m + trace.resolution_m, np.abs(trace.value), -1.0)
    at = int(np.argmax(size))
    place = min(float(trace.distance_m[at]), length_m)
    return [_loss_words(float(trace.value[at]), trace.kind, texts), number(place, texts)]


def _loss_words(value: float, kind: DistanceKind, texts: Texts) -> str:
    if value == 0.0:
        return number(np.inf, texts)
    loss = number(-20.0 * float(np.log10(abs(value))), texts, 1)
    if kind == "crosstalk":
        return loss
    return texts("distance.higher", loss=loss) if value > 0.0 else texts("distance.lower", loss=loss)
