"""Studies of repeatability: drawn up before anybody measures, filled run by run, evaluated from all runs."""

from __future__ import annotations

import hashlib
import math
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from benchsweep import archive
from benchsweep.archive.references import ReferenceFile, create, keep_file
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._new_names import check_new_name
from benchsweep.qualification.comparisons._study_results import Evaluated, evaluate
from benchsweep.qualification.comparisons._study_summary import (
    StudyResult,
    alike_words,
    mating_of,
    step_of,
    study_parameter,
    summarised,
    unit_of,
)
from benchsweep.qualification.comparisons._study_values import (
    RunValues,
    margins_of_file,
    margins_of_record,
)
from benchsweep.records import (
    MatingScatter,
    Parameter,
    ReferenceEvent,
    StudyDesign,
    StudyMeasured,
    StudyPlanned,
    StudySummary,
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

_DESIGNS: Mapping[str, Callable[..., StudyDesign]] = {
    "crossed": repeatability.crossed_design,
    "nested": repeatability.nested_design,
    "interlaboratory": repeatability.interlaboratory_design,
}
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
        In words: runs in another order, results that were replaced, quantities that some runs lack or that
        repeat to the last digit.
    summary
        One line for each parameter, the one with the worst trace first.
    """

    folder: Path
    planned: StudyPlanned
    measured: Mapping[int, StudyMeasured]
    results: Mapping[str, tuple[StudyResult, ...]]
    units: Mapping[str, str]
    digest: str
    doubts: tuple[str, ...] = ()
    summary: tuple[StudySummary, ...] = ()


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

    check_new_name(folder, "study", study)
    for text, what in ((subject, "--subject"), (by, "--by")):
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
    doubts = [*_order_doubts(planned, runs), *_replaced_doubts(runs)]
    found = Evaluated()
    if len(measured) == len(planned.design.runs):
        found = evaluate(planned.design, measured)
        doubts += found.doubts
    steps = _steps(measured)
    if found.alike:
        whole = len(set(found.results) | set(found.alike))
        doubts.append(alike_words(found.alike, whole, steps))
    return StudyView(
        Path(str(folder)),
        planned,
        MappingProxyType(dict(sorted(measured.items()))),
        MappingProxyType(found.results),
        MappingProxyType({name: unit_of(name) for name in found.results}),
        history.digest,
        tuple(doubts),
        summarised(found.results, mating_of(found.results, steps)),
    )


def _steps(measured: Mapping[int, StudyMeasured]) -> dict[Parameter, float | None]:
    """Return in which steps the results of each parameter come."""
    told: dict[Parameter, list[float]] = {}
    found: dict[Parameter, float | None] = {}
    for event in measured.values():
        for quantity, value in event.values.items():
            parameter = study_parameter(quantity)
            if parameter is not None:
                told.setdefault(parameter, []).append(value)
    for parameter, values in told.items():
        # Margins that were counted from the values of a file have no steps of their own.
        of_files = [event.steps[parameter] for event in measured.values() if parameter in event.steps]
        found[parameter] = max(of_files, default=None) or step_of(values)
    return found


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
        No such run, it has a result, the record or file is of another part, or the result of another run.
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
        run_values, told, digest = RunValues(_typed(typed or {})), "typed", ""
    elif source.suffix == _RECORD:
        run_values, digest = margins_of_record(source, planned.requirement, chosen.part)
        told = source.name
    else:
        content = _content(source)
        run_values = margins_of_file(source, content, mapping, planned.requirement, folder, chosen.part)
        _refuse_other_part(run_values.channel, chosen.part, planned.design.parts)
        told, digest = source.name, hashlib.sha256(content).hexdigest()
        keep_file(folder, content)
    event = StudyMeasured(
        utc_now("microseconds"),
        by,
        run,
        run_values.values,
        told,
        digest,
        again_because,
        run_values.simulated,
        run_values.steps,
    )
    file.append(event, lambda events: _check_run(events, event, study))
    return read_study(folder, study)


def mating_scatter(view: StudyView) -> Mapping[Parameter, MatingScatter]:
    """Return what one fresh mating adds to each parameter; nothing where the study cannot tell it.

    How it is made from the traces of a parameter is told by `_study_summary.mating_of`.
    """
    return MappingProxyType(
        {row.parameter: row.mating for row in view.summary if row.parameter is not None and row.mating}
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


def _refuse_other_part(told: str, part: str, parts: Sequence[str]) -> None:
    """Refuse a file that says it is of another part of the study; in words of its own it may be this one."""
    named = told.strip().casefold()
    others = {other.casefold() for other in parts if other != part}
    if named != part.casefold() and named in others:
        raise ReferenceRefused(
            f"the file is of {told}, the run of {part}",
            hint="Look which run it belongs to: `benchsweep compare study show` lists them.",
        )


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
    latest = {each.number: each for each in events if isinstance(each, StudyMeasured)}
    for number, other in latest.items():
        if event.digest and other.digest == event.digest and number != event.number:
            raise ReferenceRefused(
                f"study {study}: {event.source} is the result of run {number}",
                hint="Every run is measured by itself.",
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
