from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from pathlib import Path

from benchsweep import archive, calibration
from benchsweep.errors import CalibrationError
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._job import archiving_time, begin_job, run_job
from benchsweep.qualification._power import switched_on_at
from benchsweep.qualification._switching import calibration_plan
from benchsweep.records import Calibration, Hookup, Plan, RawHookup

__all__ = ["CalibrationResult", "calibrate", "plan_text"]

# A known thru tells how the ports that are not driven reflect; these methods have none.
_WITH_SWITCH_TERMS: tuple[calibration.Method, ...] = (
    "unknown-thru",
    "line-reflect-match",
    "line-reflect-reflect-match",
    "thru-reflect-line",
    "multiline",
)


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationResult:
    """A stored calibration and where it is.

    Parameters
    ----------
    refused_above_db
        The largest residual of a through connection that its kit takes.
    incidents
        What went wrong while it was measured and was overcome.
    warnings
        What should be looked at though it does not forbid the calibration.
    """

    calibration: Calibration
    path: Path
    refused_above_db: float
    incidents: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def calibrate(
    bench: Bench,
    *,
    kit: str | None = None,
    method: calibration.Method | None = None,
    folder: Path | None = None,
    afresh: bool = False,
    progress: Progress,
) -> CalibrationResult:
    """Measure all standards on an open bench, solve, store.

    An interrupted calibration continues where it stopped. One that cannot be solved is forgotten, so that the
    next call begins anew: a wrong standard must not come back.

    Parameters
    ----------
    kit
        Kit name or path; the station's own when None.
    method
        How to calibrate, see `calibration.METHODS`; when None that of the station, or of `kit` where one is
        given.
    folder
        Where to store it; the station's own folder when None.
    afresh
        Forget an interrupted calibration first.

    Raises
    ------
    CalibrationError, AcquisitionError, InstrumentError, ArchiveError
    """
    station = bench.station
    definition = calibration.load_kit(kit or station.calibration.kit)
    target = folder if folder is not None else station.calibration_folder()
    method = method or (station.calibration.method if kit is None else None)
    plan = calibration_plan(station, bench.places, kit=definition, method=method)
    # Ratios of receivers, where the analyzer has words for them; else the method makes do without.
    switch_terms = (
        method or definition.method
    ) in _WITH_SWITCH_TERMS and bench.analyzer.measures_switch_terms
    job = {
        "job": "calibration",
        "idn": bench.analyzer.identity.idn,
        "kit": definition.model_dump_json(),
        "method": method or "",
        "switch terms": str(switch_terms),
        "settings": repr(bench.used),
        "plan": plan_text(plan.hookups),
        # Standards that were measured before a power cut do not belong to those after it.
        "switched_on": switched_on_at(bench.analyzer.identity.idn) if station.shared else "",
        "reached": bench.reached,
    }
    with archive.Journal(target / "unfinished", job, afresh=afresh) as journal:
        _drop_stale(journal, station.calibration.max_age_hours, progress)
        begin_job(bench, journal, len(plan.hookups), progress)
        try:
            hookups = run_job(
                bench,
                plan,
                journal,
                progress=progress,
                review=_judge_early(definition, method, plan),
                wants_switch_terms=_joins_ports if switch_terms else None,
            )
            created_at = archiving_time(journal, hookups, timespec="milliseconds")
            written = archive.find_calibration_file(target, created_at=created_at, identifier=station.name)
            if written is None:
                solved = calibration.solve(
                    definition,
                    hookups,
                    method=method,
                    identifier=station.name,
                    created_at=created_at,
                    idn=bench.analyzer.identity.idn,
                    settings=bench.used,
                    reached=bench.reached,
                )
                written = solved, archive.write_calibration(solved, target)
            found = calibration.quality(definition, hookups, written[0], method=method)
        except CalibrationError:
            journal.discard()
            raise
        incidents = journal.notes.incidents
        journal.discard()
    for words in found.warnings:
        progress(f"note: {words}")
    refused_above_db = definition.acceptance.largest_thru_residual_db
    return CalibrationResult(*written, refused_above_db, incidents, found.warnings)


def _judge_early(
    kit: calibration.Kit, method: calibration.Method | None, plan: Plan
) -> Callable[[Sequence[RawHookup]], None]:
    """Return what judges open, short and load before anybody connects the throughs, and when one changes."""
    judged: list[RawHookup] = []
    # Open, short and load come first in a calibration plan.
    planned = sum(not _joins_ports(hookup) for hookup in plan.hookups)

    def judge(measured: Sequence[RawHookup]) -> None:
        reflections = [raw for raw in measured if not _joins_ports(raw.hookup)]
        if len(reflections) == planned and any(
            one is not other for one, other in zip_longest(reflections, judged)
        ):
            calibration.check_reflections(kit, reflections, method=method)
            judged[:] = reflections

    return judge


def _joins_ports(hookup: Hookup) -> bool:
    """Return whether a standard has two ports: its target names the other one."""
    return any(" " in target for target in hookup.connections.values())


def _drop_stale(journal: archive.Journal, max_age_hours: float, progress: Progress) -> None:
    """Drop standards that were measured so long ago that a calibration made of them would be too old."""
    taken = [_moment(raw.sweep.taken_at) for raw in journal.finished().values()]
    if taken and datetime.now(UTC) - min(taken) > timedelta(hours=max_age_hours):
        progress(f"an interrupted calibration is older than {max_age_hours:g} h: its standards are dropped")
        journal.discard()


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def plan_text(hookups: tuple[Hookup, ...]) -> str:
    """Return one line that tells two plans apart."""
    return "; ".join(
        ",".join(f"{port}={target}" for port, target in hookup.connections.items()) for hookup in hookups
    )
