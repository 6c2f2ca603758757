"""What a run of a study measured: the worst margin of each trace, from a record or from a tester's file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive, comparison, limits
from benchsweep.archive.references import ReferenceFile
from benchsweep.errors import ReferenceRefused, UnknownName, UsageError
from benchsweep.qualification._records import grade_record
from benchsweep.qualification.comparisons._study_summary import step_of
from benchsweep.records import ChannelRegistered, End, FieldResult, LimitCurve, Parameter, Trace
from benchsweep.testers import load_mapping, read_results

__all__ = ["RunValues", "margins_of_file", "margins_of_record", "quantity_name"]

_SIMULATED = "simulated"
_HINT = "Draw up the study with --against, or give the numbers with --value."


def quantity_name(parameter: Parameter, end: End | None, pairs: tuple[str, ...]) -> str:
    """Return the name of the worst margin of a trace.

    Examples
    --------
    >>> quantity_name(Parameter.NEXT, "A", ("36", "45"))
    'next A 36-45'
    """
    return " ".join(word for word in (parameter.value, end or "", "-".join(pairs)) if word)


@dataclass(frozen=True, slots=True)
class RunValues:
    """What a run of a study measured.

    Parameters
    ----------
    values
        Worst margins (or what was typed in), dB or ns, by quantity.
    simulated
        It is practice, as far as it says so.
    steps
        By parameter the steps in which a file tells its numbers.
    channel
        What a file says that it measured; empty: it does not.
    """

    values: Mapping[str, float]
    simulated: bool = False
    steps: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    channel: str = ""


def margins_of_record(source: Path, requirement: str, part: str) -> tuple[RunValues, str]:
    """Return the worst margins of a record, and the hash of its content.

    Raises
    ------
    ReferenceRefused
        It is of another specimen than the run.
    UsageError
        The study names no requirement, or nothing of the record can be graded against it.
    ArchiveError
    """
    if not requirement:
        raise UsageError(f"{source}: the study names no requirement to count margins against", hint=_HINT)
    graded = grade_record(source, [limits.load_requirement(requirement)])
    specimen = graded.evaluation.measurement.specimen.identifier
    if specimen != part:
        raise ReferenceRefused(
            f"{source}: a record of {specimen}, and the run measures {part}",
            hint="Name the record of this run; `benchsweep compare study show` lists what comes next.",
        )
    (found,) = graded.graded
    values = {
        quantity_name(row.parameter, row.end, row.pairs): float(row.worst_margin_db)
        for row in found.verdict.rows
        if row.worst_margin_db is not None and np.isfinite(row.worst_margin_db)
    }
    if not values:
        raise UsageError(f"{source}: no margin to {requirement} is known of it", hint="Look with `grade`.")
    analyzer = graded.evaluation.measurement.analyzer
    simulated = analyzer is not None and analyzer.simulated
    return RunValues(values, simulated), archive.content_hash(source)


def margins_of_file(
    source: Path, content: bytes, mapping: str | None, requirement: str, folder: Path, part: str
) -> RunValues:
    """Return the worst margins that a tester's file tells, or that follow from its values and the limits.

    A simulated tester names itself where others name the operator.

    Raises
    ------
    UsageError
        No mapping is named, or the file tells no margin and the study names no requirement.
    DataFileError
        The file cannot be read with the mapping.
    """
    if mapping is None:
        raise UsageError(
            f"{source}: what its columns mean is not known",
            hint="Name a mapping with --mapping, see `benchsweep compare mappings`.",
        )
    result = read_results(source, load_mapping(mapping), content=content)
    chosen = limits.load_requirement(requirement) if requirement else None
    values = dict(_margins(result, chosen, _length_of(folder, part)))
    if not values:
        raise UsageError(f"{source}: no margin is told, and none follows from it", hint=_HINT)
    return RunValues(values, result.by == _SIMULATED, _steps(result), result.channel)


def _steps(result: FieldResult) -> dict[str, float]:
    """Return in which steps the numbers of each parameter come, where any are seen."""
    told: dict[Parameter, list[NDArray[np.float64]]] = {}
    for trace in result.traces:
        told.setdefault(trace.parameter, []).append(trace.value)
    for point in result.points:
        numbers = [each for each in (point.margin, point.value) if each is not None]
        told.setdefault(point.parameter, []).append(np.array(numbers))
    found = {parameter.value: step_of(np.concatenate(each)) for parameter, each in told.items()}
    return {parameter: step for parameter, step in found.items() if step is not None}


def _margins(
    result: FieldResult, requirement: limits.Requirement | None, length_m: float | None
) -> Iterator[tuple[str, float]]:
    for trace in result.traces:
        name = quantity_name(trace.parameter, trace.end, trace.pairs)
        if trace.quantity == "margin":
            yield name, float(trace.value.min())
            continue
        curve = _curve(requirement, trace.parameter, trace.frequency_hz, length_m)
        if curve is None:
            continue
        told = Trace(trace.parameter, trace.end, trace.pairs, trace.frequency_hz, trace.value)
        worst = comparison.worst_margin(told, [curve])
        if worst is not None:
            yield name, worst.margin
    for point in result.points:
        if point.margin is not None:
            yield quantity_name(point.parameter, point.end, point.pairs), point.margin


def _curve(
    requirement: limits.Requirement | None,
    parameter: Parameter,
    frequency_hz: NDArray[np.float64],
    length_m: float | None,
) -> LimitCurve | None:
    if requirement is None:
        return None
    line = requirement.line_of(parameter)
    if line is None or (line.needs_length and length_m is None):
        return None
    return limits.limit_curve(requirement, parameter, frequency_hz, length_m=length_m)


def _length_of(folder: Path, part: str) -> float | None:
    """Return the length of a part that is a registered channel."""
    try:
        first = ReferenceFile(folder, "channel", part).history().events[0]
    except UnknownName:
        return None
    return first.length_m if isinstance(first, ChannelRegistered) else None
