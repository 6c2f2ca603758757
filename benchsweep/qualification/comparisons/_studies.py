"""Studies of repeatability: drawn up before anybody measures, filled run by run, evaluated from all runs."""

from __future__ import annotations

import hashlib
import math
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive
from benchsweep.archive.references import ReferenceFile, create, keep_file
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._study_values import margins_of_file, margins_of_record
from benchsweep.records import (
    GaugeStudy,
    InterlaboratoryStudy,
    NestedStudy,
    Parameter,
    ReferenceEvent,
    StudyDesign,
    StudyMeasured,
    StudyPlanned,
)
from benchsweep.statistics import repeatability

__all__ = [
    "MatingScatter",
    "StudyResult",
    "StudyView",
    "add_study_result",
    "mating_scatter",
    "plan_study",
    "read_study",
    "study_exists",
]

Values = NDArray[np.float64]
StudyResult = GaugeStudy | NestedStudy | InterlaboratoryStudy

_DESIGNS: Mapping[str, Callable[..., StudyDesign]] = {
    "crossed": repeatability.crossed_design,
    "nested": repeatability.nested_design,
    "interlaboratory": repeatability.interlaboratory_design,
}
_CELL = "part and operator"
_RECORD = ".h5"
_LONGEST = 100


@dataclass(frozen=True, slots=True, eq=False)
class StudyView:
    """A study as it stands.

    Parameters
    ----------
    folder
        Its archive.
    planned
        Who measures what in which order.
    measured
        Results that count, by the number of the run.
    results
        Quantity -> what follows from it; only where every run has a value of it.
    units
        Quantity -> dB or ns.
    digest
        Names the whole history.
    doubts
        In words: runs in another order, results that were replaced, quantities that some runs lack.
    """

    folder: Path
    planned: StudyPlanned
    measured: Mapping[int, StudyMeasured]
    results: Mapping[str, tuple[StudyResult, ...]]
    units: Mapping[str, str]
    digest: str
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MatingScatter:
    """What one fresh mating adds to a result of a parameter, from a study.

    Parameters
    ----------
    expanded
        U (k = 2) in dB or ns: twice the standard deviation of single matings, pooled over the quantities of
        the parameter.
    freedom
        Degrees of freedom of the least known quantity: those of one pair are not independent of the others.
    quantities
        So many were pooled.
    """

    expanded: float
    freedom: int
    quantities: int


def plan_study(  # noqa: PLR0913 - those of a design, all named
    folder: Path,
    study: str,
    *,
    subject: str,
    kind: str,
    parts: Sequence[str],
    operators: Sequence[str],
    matings: int,
    trials: int,
    by: str,
    seed: str | None = None,
    requirement: str = "",
) -> StudyView:
    """Draw up a study: who measures what in which order, kept before the first run.

    Parameters
    ----------
    subject
        What is studied: ``bench``, or the name of a field tester.
    kind
        ``crossed``, ``nested`` or ``interlaboratory``.
    seed
        Text that the order is made from; None: chance.
    requirement
        Worst margins against it are taken from records and files; empty: values are typed in.

    Raises
    ------
    ReferenceRefused
        There is a study of that name.
    UsageError
        Too few parts, operators, matings; names that are empty or there twice; nobody draws it up.
    UnknownName
        There is no such requirement.
    ArchiveError
        It cannot be written.
    """
    from benchsweep.limits import load_requirement

    for text, what in ((study, "the name of the study"), (subject, "--subject"), (by, "--by")):
        _check_name(text, what)
    for name in (*parts, *operators):
        _check_name(name, "a part or operator")
    name = load_requirement(requirement).name if requirement else ""
    chosen = secrets.token_hex(16) if seed is None else check_text(seed, "--seed")
    design = _DESIGNS[kind](parts, operators, matings=matings, trials=trials, seed=chosen)
    create(folder, StudyPlanned(utc_now("microseconds"), by, study, subject, name, design))
    return read_study(folder, study)


def read_study(folder: archive.Source, study: str) -> StudyView:
    """Return a study as it stands.

    Raises
    ------
    UnknownName
        There is none of that name.
    RecordDamaged, RecordNewer, ArchiveError
        Its history cannot be read.
    """
    history = ReferenceFile(folder, "study", study).history()
    planned = history.events[0]
    assert isinstance(planned, StudyPlanned)  # noqa: S101 - the history of a study begins with no other
    runs = [event for event in history.events[1:] if isinstance(event, StudyMeasured)]
    measured = {event.number: event for event in runs}
    results: dict[str, tuple[StudyResult, ...]] = {}
    doubts = [*_order_doubts(planned, runs), *_replaced_doubts(runs)]
    complete = len(measured) == len(planned.design.runs)
    if complete:
        for quantity in _quantities(planned, measured, doubts):
            results |= _evaluated(quantity, planned, measured, doubts)
    units = {name: _unit(name) for name in results}
    return StudyView(
        Path(str(folder)),
        planned,
        MappingProxyType(dict(sorted(measured.items()))),
        MappingProxyType(results),
        MappingProxyType(units),
        history.digest,
        tuple(doubts),
    )


def study_exists(folder: archive.Source, study: str) -> bool:
    """Tell whether there is a study of that name; raises as `read_study` but for `UnknownName`."""
    return ReferenceFile(folder, "study", study).exists()


def add_study_result(
    folder: Path,
    study: str,
    run: int,
    *,
    by: str,
    source: Path | None = None,
    mapping: str | None = None,
    typed: Mapping[str, float] | None = None,
    again_because: str = "",
) -> StudyView:
    """Add what a run measured: worst margins of a record or of a tester's file, or values typed in.

    Parameters
    ----------
    run
        Its number in the design.
    source
        A record (``.h5``) of the part, or a tester's file, which is kept.
    mapping
        Of the file.
    typed
        Quantity -> value in dB or ns, such as ``{"next A 36-45": 3.1}``.
    again_because
        Why an earlier result of the run does not count any more.

    Raises
    ------
    ReferenceRefused
        No such run, it has a result, or the record is of another part.
    UsageError
        Both or none of source and values, a value that is no number, a file without a mapping.
    DataFileError, ArchiveError
        The file or record cannot be read, or the history not written.
    """
    _check_name(by, "--by")
    file = ReferenceFile(folder, "study", study)
    planned = file.history().events[0]
    assert isinstance(planned, StudyPlanned)  # noqa: S101 - as above
    chosen = next((each for each in planned.design.runs if each.number == run), None)
    if chosen is None:
        raise ReferenceRefused(
            f"study {study}: there is no run {run}", hint=f"It has runs 1 to {len(planned.design.runs)}."
        )
    if (source is None) == (not typed):
        raise UsageError(
            f"run {run}: give a record or a file, or values",
            hint="Name a file behind the run, or --value 'next A 36-45=3.1'.",
        )
    if source is None:
        values, told, digest = _typed(typed or {}), "typed", ""
    elif source.suffix == _RECORD:
        values, digest = margins_of_record(source, planned.requirement, chosen.part)
        told = source.name
    else:
        content = _content(source)
        values = margins_of_file(source, content, mapping, planned.requirement, folder, chosen.part)
        told, digest = source.name, hashlib.sha256(content).hexdigest()
        keep_file(folder, content)
    event = StudyMeasured(utc_now("microseconds"), by, run, values, told, digest, again_because)
    file.append(event, lambda events: _check_run(events, event, study))
    return read_study(folder, study)


def mating_scatter(view: StudyView) -> Mapping[Parameter, MatingScatter]:
    """Return what one fresh mating adds to each parameter; nothing where the study cannot tell it.

    The variance of single matings is pooled over the pairs and ends of a parameter.
    """
    found: dict[Parameter, list[tuple[float, int]]] = {}
    for quantity, results in view.results.items():
        parameter = _parameter(quantity)
        for result in results:
            if isinstance(result, NestedStudy) and result.mating_uncertainty is not None and parameter:
                freedom = result.freedom[result.levels.index("mating")]
                found.setdefault(parameter, []).append((result.mating_uncertainty, freedom))
    return MappingProxyType(
        {
            parameter: MatingScatter(
                math.sqrt(sum(value**2 for value, _ in each) / len(each)),
                min(freedom for _, freedom in each),
                len(each),
            )
            for parameter, each in found.items()
        }
    )


def _check_name(text: str, what: str) -> None:
    check_text(text, what)
    if len(text) > _LONGEST:
        raise UsageError(f"{what} has {len(text)} characters", hint=f"At most {_LONGEST}.")


def _content(source: Path) -> bytes:
    try:
        if not source.is_file():
            raise UsageError(f"{source}: not a file", hint="Name the file that the tester wrote.")
        return source.read_bytes()
    except OSError as error:
        raise UsageError(f"{source}: cannot be read: {error}", hint="Look at path and rights.") from error


def _typed(values: Mapping[str, float]) -> dict[str, float]:
    for quantity, value in values.items():
        _check_name(quantity, "a quantity")
        if not math.isfinite(value):
            raise UsageError(f"{quantity}: {value} is no number", hint="Give a number in dB or ns.")
    return dict(values)


def _check_run(events: Sequence[ReferenceEvent], event: StudyMeasured, study: str) -> None:
    before = [each for each in events if isinstance(each, StudyMeasured) and each.number == event.number]
    if before and not event.again_because.strip():
        raise ReferenceRefused(
            f"study {study}: run {event.number} has a result of {before[-1].at[:10]} by {before[-1].by}",
            hint="Say with --again why it does not count any more.",
        )
    if event.again_because and not before:
        raise ReferenceRefused(
            f"study {study}: run {event.number} has no earlier result that could be replaced",
            hint="Leave --again out.",
        )


def _order_doubts(planned: StudyPlanned, runs: Sequence[StudyMeasured]) -> list[str]:
    first = list(dict.fromkeys(event.number for event in runs))
    late = [number for place, number in enumerate(first) if any(other > number for other in first[:place])]
    if not late:
        return []
    named = ", ".join(map(str, late[:8])) + (" …" if len(late) > 8 else "")
    return [
        f"run{'s' if len(late) > 1 else ''} {named} came in after later ones: out of the random order drift "
        "may look like an effect"
    ]


def _replaced_doubts(runs: Sequence[StudyMeasured]) -> list[str]:
    return [
        f"run {event.number} was measured again ({event.by}): {event.again_because}"
        for event in runs
        if event.again_because
    ]


def _quantities(planned: StudyPlanned, measured: Mapping[int, StudyMeasured], doubts: list[str]) -> list[str]:
    """Return the quantities that every run has a value of; others are told."""
    every = dict.fromkeys(name for event in measured.values() for name in event.values)
    whole = [name for name in every if all(name in event.values for event in measured.values())]
    lacking = [name for name in every if name not in whole]
    if lacking:
        named = ", ".join(lacking[:6]) + (f" and {len(lacking) - 6} more" if len(lacking) > 6 else "")
        doubts.append(f"not evaluated, because some runs have no value of it: {named}")
    return whole


def _evaluated(
    quantity: str, planned: StudyPlanned, measured: Mapping[int, StudyMeasured], doubts: list[str]
) -> dict[str, tuple[StudyResult, ...]]:
    """Return the evaluations of a quantity; what cannot be evaluated is told."""
    design = planned.design
    shape = (len(design.parts), len(design.operators), design.matings, design.trials)
    values = np.full(shape, np.nan)
    for run in design.runs:
        cell = design.parts.index(run.part), design.operators.index(run.operator)
        values[(*cell, run.mating - 1, run.trial - 1)] = measured[run.number].values[quantity]
    found: dict[str, list[StudyResult]] = {}
    try:
        if design.kind == "crossed":
            repeats = values.mean(axis=3) if design.matings > 1 else values[:, :, 0, :]
            found.setdefault(quantity, []).append(repeatability.gauge_anova(repeats))
        elif design.kind == "interlaboratory":
            for place, part in enumerate(design.parts):
                samples = values[place].reshape(len(design.operators), -1)
                name = quantity if len(design.parts) == 1 else f"{quantity}, {part}"
                found.setdefault(name, []).append(
                    repeatability.interlaboratory(samples, names=design.operators)
                )
        if design.matings > 1:
            found.setdefault(quantity, []).append(_of_matings(values, design))
    except UsageError as error:
        doubts.append(f"{quantity}: {error.message}")
    return {name: tuple(each) for name, each in found.items()}


def _of_matings(values: Values, design: StudyDesign) -> NestedStudy:
    """Return what trials and matings add, within each part and operator; of a nested study also those."""
    names: tuple[str, ...] = ("part", "operator", "mating", "trial")
    if design.kind != "nested":
        # By what parts and operators differ is told by the other evaluation.
        values, names = values.reshape(-1, design.matings, design.trials), (_CELL, "mating", "trial")
    levels = [name for name, size in zip(names, values.shape, strict=True) if size > 1]
    lean = values.squeeze()
    if lean.ndim > 1:
        return repeatability.nested(lean, levels=levels[::-1])
    scatter = float(lean.std(ddof=1))
    return NestedStudy(
        ("mating",), (scatter,), (scatter,), (lean.size - 1,), 2.0 * scatter, "one operator, one part"
    )


def _parameter(quantity: str) -> Parameter | None:
    word = quantity.split(" ", 1)[0]
    return Parameter(word) if word in set(Parameter) else None


def _unit(quantity: str) -> str:
    parameter = _parameter(quantity)
    return "dB" if parameter is None else parameter.unit
