"""What is done with a series: show it, follow its change, grade one of its sweeps."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from benchsweep import archive, limits
from benchsweep.errors import UsageError
from benchsweep.qualification._graded import Qualified, grade_all
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification._reduction import evaluate
from benchsweep.qualification._series_change import FOLLOWED, corrected_matrix, summarise
from benchsweep.qualification._series_end import Recorded
from benchsweep.qualification._uncertainty import with_budget
from benchsweep.records import (
    Extreme,
    LineFit,
    Measurement,
    Parameter,
    RawHookup,
    SeriesChange,
    SeriesEvent,
    SeriesHead,
    SeriesSummary,
    SeriesSweep,
)

__all__ = [
    "SeriesShown",
    "followed_parameters",
    "grade_series",
    "is_series",
    "read_series_measurement",
    "recorded_document",
    "series_change",
    "series_document",
    "series_sweep",
    "series_sweep_document",
]

_MOST_LISTED = 200


@dataclass(frozen=True, slots=True, eq=False)
class SeriesShown:
    """A series as it is shown: what all sweeps share, and how they changed."""

    path: archive.Source
    head: SeriesHead
    summary: SeriesSummary
    content_hash: str


def is_series(path: archive.Source) -> bool:
    """Tell whether `path` is a series: a finished one, or the folder of one that is not."""
    return archive.is_series(path)


def followed_parameters(names: Sequence[str]) -> tuple[Parameter, ...]:
    """Return the parameters of those names whose change can be followed.

    Raises
    ------
    UsageError
    """
    unknown = [name for name in names if name not in FOLLOWED]
    if unknown:
        raise UsageError(
            f"the change of {unknown[0]!r} cannot be followed", hint=f"Choose among {', '.join(FOLLOWED)}."
        )
    return tuple(Parameter(name) for name in names)


def series_change(
    path: archive.Source,
    *,
    parameters: Sequence[Parameter] = (),
    reading: str | None = None,
    leave_out_damaged: bool = False,
    progress: Callable[[int, int], None] = lambda _, __: None,
) -> SeriesShown:
    """Read a series sweep by sweep and say how it changed; see `summarise`.

    Raises
    ------
    ArchiveError, UsageError, CalibrationMismatch, FixtureError
    """
    with archive.open_series(path) as reader:
        summary = summarise(
            reader,
            parameters=parameters,
            reading=reading,
            leave_out_damaged=leave_out_damaged,
            progress=progress,
        )
        return SeriesShown(path, reader.head, summary, reader.content_hash)


def series_sweep(path: archive.Source, number: int) -> SeriesSweep:
    """Read one sweep of a series.

    Raises
    ------
    ArchiveError
    """
    return archive.read_series_sweep(path, number)


def read_series_measurement(
    path: archive.Source, number: int | None = None
) -> tuple[Measurement, SeriesSweep]:
    """Return one sweep of a series as a measurement of the legs that were attached; None: the last sweep.

    Raises
    ------
    UsageError
        The series has no calibration.
    ArchiveError, CalibrationMismatch, FixtureError
    """
    with archive.open_series(path) as reader:
        head = reader.head
        if head.calibration is None:
            raise UsageError(
                f"{path}: recorded without a calibration, so no sweep of it can be corrected or graded",
                hint="`benchsweep show` tells how the uncorrected readings changed.",
            )
        wanted = number if number is not None else (reader.numbers[-1] if reader.numbers else 1)
        sweep = reader.sweep(wanted)
    measurement = Measurement(
        specimen=head.specimen,
        created_at=sweep.sweep.taken_at,
        origin="bench",
        station=head.station,
        operator=head.operator,
        corrected=corrected_matrix(head, sweep.sweep),
        hookups=(RawHookup(head.hookup, sweep.sweep),),
        calibration=head.calibration,
        analyzer=head.analyzer,
        settings=head.settings,
        fixture_toml=head.fixture_toml,
        ambient=sweep.ambient,
        software=head.software,
        safety=head.safety,
        incidents=tuple(event.words for event in sweep.events),
    )
    return measurement, sweep


def grade_series(
    path: archive.Source,
    requirements: Sequence[limits.Requirement],
    *,
    number: int | None = None,
    length_m: float | None = None,
    decision_rule: str = "simple",
    budget: str | None = None,
    conditions: limits.Conditions | None = None,
    by_pattern: Collection[str] = (),
) -> tuple[Qualified, int]:
    """Grade one sweep of a series, the last by default; the series is not changed (see `grade_record`).

    Returns
    -------
    The graded sweep, whose verdicts name the series and the sweep as their record, and its number.

    Raises
    ------
    ArchiveError, UsageError, CalibrationMismatch, FixtureError, LimitNotDefined
    """
    measurement, sweep = read_series_measurement(path, number)
    evaluation = evaluate(with_budget(measurement, budget), length_m=length_m, notes=notes_about(path))
    record = f"{path}, sweep {sweep.number}"
    doubts = _calibration_doubts(path, sweep.number)
    graded = grade_all(
        evaluation,
        requirements,
        record=record,
        decision_rule=decision_rule,
        conditions=conditions,
        by_pattern=by_pattern,
    )
    graded = tuple(
        replace(item, verdict=replace(item.verdict, notes=(*doubts, *item.verdict.notes))) for item in graded
    )
    return Qualified(path, evaluation, graded), sweep.number


def _calibration_doubts(path: archive.Source, number: int) -> tuple[str, ...]:
    """Return a note when the analyzer was away or off between the beginning and the sweep of that number."""
    with archive.open_series(path) as reader:
        found = [
            (before, event)
            for before, event in reader.events_until(number)
            if event.kind in ("gap", "power", "resumed")
        ]
    if not found:
        return ()
    before, last = found[-1]
    times = "once" if len(found) == 1 else f"{len(found)} times"
    return (
        f"since the series began the analyzer was away {times} before this sweep, the last time before sweep "
        f"{before} ({last.at}: {last.words}); the calibration is that of the beginning",
    )


def recorded_document(recorded: Recorded) -> dict[str, Any]:
    """Return ``benchsweep.series/1`` of a recording that has just ended."""
    return {
        "schema": "benchsweep.series/1",
        "record": str(recorded.record),
        "specimen": recorded.specimen,
        "sweeps": recorded.sweeps,
        "began_at": recorded.began_at,
        "ended_at": recorded.ended_at,
        "ending": recorded.reason,
        "gaps": [_event(event) for event in recorded.gaps],
        "events": _listed(recorded.events),
        "packing_seconds": round(recorded.packing_s, 3),
    }


def series_document(shown: SeriesShown) -> dict[str, Any]:
    """Return ``benchsweep.series/1`` of a stored series, with its change over time."""
    head, summary = shown.head, shown.summary
    grid, calibration = head.frequency_hz, head.calibration
    gaps = [event for event in summary.events if event.kind in ("gap", "resumed")]
    return {
        "schema": "benchsweep.series/1",
        "record": str(shown.path),
        "specimen": head.specimen.identifier,
        "lot": head.specimen.lot,
        "product": head.specimen.product,
        "length_m": head.specimen.length_m,
        "description": head.description,
        "station": head.station,
        "operator": head.operator,
        "analyzer": head.analyzer.idn,
        "family": head.analyzer.family,
        "points": int(grid.size),
        "start_hz": float(grid[0]),
        "stop_hz": float(grid[-1]),
        "connections": {str(port): leg for port, leg in head.hookup.connections.items()},
        "calibration": None if calibration is None else calibration.identifier,
        "calibrated_at": None if calibration is None else calibration.created_at,
        "sweeps": summary.sweeps,
        "first_sweep": summary.first_number,
        "last_sweep": summary.last_number,
        "missing": list(summary.missing),
        "began_at": head.started_at,
        "ended_at": summary.last_at,
        "ending": summary.ended or None,
        "gaps": [_event(event) for event in gaps],
        "event_counts": dict(summary.event_counts),
        "events": _listed(summary.events),
        "ambient": {
            name: {"least": low, "greatest": high, "mean": mean}
            for name, (low, high, mean) in summary.ambient.items()
        },
        "corrected": summary.corrected,
        "reading": summary.course.reading_name or None,
        "changes": [_change(change) for change in summary.changes],
        "content_sha256": shown.content_hash or None,
        "notes": list(summary.notes),
    }


def series_sweep_document(path: archive.Source, sweep: SeriesSweep) -> dict[str, Any]:
    """Return ``benchsweep.series-sweep/1``: what belongs to one sweep, without its matrix."""
    raw = sweep.sweep
    return {
        "schema": "benchsweep.series-sweep/1",
        "record": str(path),
        "sweep": sweep.number,
        "taken_at": raw.taken_at,
        "seconds": raw.seconds,
        "ambient": dict(sweep.ambient),
        "events": [_event(event) for event in sweep.events],
        "state": dict(raw.state),
    }


def _event(event: SeriesEvent) -> dict[str, Any]:
    return {"at": event.at, "kind": event.kind, "words": event.words, "seconds": event.seconds}


def _listed(events: Sequence[SeriesEvent]) -> list[dict[str, Any]]:
    return [_event(event) for event in events[:_MOST_LISTED]]


def _change(change: SeriesChange) -> dict[str, Any]:
    """Positive changes of loss are more loss, of delay more delay; null where there is too much noise."""
    return {
        "parameter": str(change.parameter),
        "end": change.end,
        "pairs": list(change.pairs),
        "largest_loss_increase_db": _extreme(change.largest_loss_db),
        "largest_phase_increase_deg": _extreme(change.largest_deg),
        "largest_delay_increase_ps": _as_delay_ps(change),
        "largest_difference_db": _extreme(change.largest_difference_db),
        "loss_increase_db_per_hour": _line(change.loss_per_hour),
        "delay_increase_ps_per_hour": _line(change.delay_per_hour),
        "worst_frequency_loss_increase_db_per_hour": _line(change.worst_per_hour),
        "loss_increase_db_per_unit": _line(change.loss_per_unit),
        "delay_increase_ps_per_unit": _line(change.delay_per_unit),
        "points_clear_of_noise": change.clear_points,
        "noise_db": change.noise_db,
    }


def _as_delay_ps(change: SeriesChange) -> float | None:
    """Return the delay that turns the phase by that much at its frequency; of paths through only."""
    phase = change.largest_deg
    if phase is None or change.parameter is not Parameter.INSERTION_LOSS:
        return None
    return -phase.value / 360.0 / phase.frequency_hz * 1e12


def _extreme(found: Extreme | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"value": found.value, "frequency_hz": found.frequency_hz, "sweep": found.sweep}


def _line(fit: LineFit | None) -> dict[str, Any] | None:
    if fit is None:
        return None
    return {
        "slope": fit.slope,
        "standard_error": fit.standard_error,
        "count": fit.count,
        "scatter": fit.scatter,
        "successive_scatter": fit.step_scatter,
        "wanders": fit.wanders,
    }
