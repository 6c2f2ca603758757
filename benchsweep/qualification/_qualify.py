from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from benchsweep import archive, limits
from benchsweep.calibration import load_kit
from benchsweep.errors import BenchsweepError, CalibrationError
from benchsweep.qualification._bench import Bench, Progress, find_calibration
from benchsweep.qualification._bundle import (
    of_the_specimen,
    reduce_couplings,
    remind_of_terminations,
    termination_doubt,
)
from benchsweep.qualification._cable_check import CableCheck
from benchsweep.qualification._calibrate import calibrate, plan_text
from benchsweep.qualification._graded import Qualified, grade_all
from benchsweep.qualification._job import archiving_time, begin_job, remember_ambient, run_job
from benchsweep.qualification._keep import keep_grading, told_of
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._places import Places
from benchsweep.qualification._reduction import (
    assembly_notes,
    evaluate,
    reduce_hookups,
    software_versions,
)
from benchsweep.qualification._switching import check_plan
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.qualification._verified import last_words, refuse_unverified
from benchsweep.records import (
    Calibration,
    Measurement,
    Plan,
    RawHookup,
    Specimen,
    balanced_ports,
)

__all__ = ["plan_for", "qualify", "unfinished_folder", "usable_calibration"]


def plan_for(places: Places, disturbing: int | None = None) -> Plan:
    """Return the hookups for all four pairs at both ends, as every shipped requirement needs them.

    Those of a bundle follow where `disturbing` cables lie beside the specimen.

    Raises
    ------
    HookupImpossible
        Fewer than two places to attach a balanced port.
    UsageError
        A number of disturbing cables that is none.
    """
    return places.plan(balanced_ports()) if disturbing is None else places.bundle_plan(disturbing)


def usable_calibration(
    bench: Bench, *, folder: Path | None, progress: Progress, verified: bool = True
) -> Calibration:
    """Return a calibration that may be used, making one where the station allows that.

    Unless `verified` is false it must have been verified, too, where the station asks for that.

    Raises
    ------
    CalibrationError
    """
    try:
        stored, path = find_calibration(
            bench.station,
            frequency_hz=bench.analyzer.frequency_hz,
            analyzer_ports=bench.ports,
            idn=bench.analyzer.identity.idn,
            settings=bench.used,
            reached=bench.reached,
        )
    except CalibrationError as reason:
        if bench.station.calibration.when_missing != "calibrate":
            raise
        progress(f"{reason.message}: calibrating now")
        stored = calibrate(bench, folder=folder, progress=progress).calibration
    else:
        progress(f"calibration of {stored.created_at} with kit {stored.kit}, from {path}")
        kit = load_kit(bench.station.calibration.kit).name
        if stored.kit != kit:
            progress(f"note: the station names kit {kit}; the newest calibration was made with {stored.kit}")
    if verified:
        refuse_unverified(bench.station, stored, folder=folder, progress=progress)
    return stored


def qualify(  # noqa: PLR0913 - all but three are named, and each is a thing of its own
    bench: Bench,
    specimen: Specimen,
    requirements: Sequence[limits.Requirement],
    *,
    solved: Calibration,
    folder: Path,
    operator: str = "",
    decision_rule: str = "simple",
    conditions: limits.Conditions | None = None,
    by_pattern: Collection[str] = (),
    disturbing: int | None = None,
    ambient: Mapping[str, float] | None = None,
    afresh: bool = False,
    then: Callable[[Path], object] = lambda _: None,
    progress: Progress,
) -> Qualified:
    """Measure a specimen on an open bench, archive it, grade it against each requirement (`grade_all`).

    The verdicts are kept in the archive, too. An interrupted run continues where it stopped when the same
    call is made again: finished hookups are kept in ``<folder>/unfinished`` until the record is written and
    graded. `afresh` forgets them and begins anew.

    Where so many `disturbing` cables lie beside the specimen, their couplings are measured, too; a hookup
    that saw another cable than it should ends the run (`CableCheck`).

    `ambient` readings, by name with unit (``temperature_degc``), go into the record, those of an interrupted
    run too.

    `then` is called with the record before an interrupted run is forgotten, so that whatever it does is done
    after a kill, too: perhaps for the second time.

    Raises
    ------
    AcquisitionError, InstrumentError, CalibrationError, FixtureError, ArchiveError, UsageError
    """
    plan = plan_for(bench.places, disturbing)
    check_plan(bench.station, plan)
    review: Callable[[Sequence[RawHookup]], None] = _nothing
    if disturbing is not None:
        progress(remind_of_terminations(bench.switch, disturbing))
        if doubt := termination_doubt(bench.fixture, bench.analyzer.frequency_hz):
            progress(f"note: {doubt}")
        review = CableCheck(solved, bench.fixture)
    archive.make_folder(folder)
    job = _job(bench, specimen, solved, plan)
    place = unfinished_folder(folder, bench.station.name, specimen.identifier)
    with archive.Journal(place, job, afresh=afresh) as journal:
        begin_job(bench, journal, len(plan.hookups), progress)
        remember_ambient(journal, ambient or {})
        hookups = run_job(bench, plan, journal, progress=progress, review=review)
        measurement = replace(
            _measurement(bench, specimen, solved, hookups, operator),
            created_at=archiving_time(journal, hookups),
            safety=journal.notes.safety,
            incidents=journal.notes.incidents,
            ambient=journal.notes.ambient,
        )
        record, measurement = _archived_once(measurement, folder, progress)
        try:
            # The length is that of this call, also when an earlier one wrote the record, which may have been
            # corrected since.
            evaluation = evaluate(measurement, length_m=specimen.length_m, notes=notes_about(record))
            graded = grade_all(
                evaluation,
                requirements,
                record=str(record),
                decision_rule=decision_rule,
                conditions=conditions,
                by_pattern=by_pattern,
            )
            result = Qualified(record, evaluation, graded)
            if requirements:
                told = told_of(conditions=conditions)
                named = archive.content_hash(record)
                result = keep_grading(result, named, requirements, by=operator, told=told, once=True)
            then(record)
        except BenchsweepError:
            journal.discard()  # the record stays, and `grade` reads it: nothing is to be measured again
            raise
        # Only now: a run that is killed while grading finds its record again instead of measuring anew.
        journal.discard()
    with suppress(OSError):  # another specimen may be unfinished
        journal.folder.parent.rmdir()
    return result


def _nothing(_: Sequence[RawHookup]) -> None:
    return None


def _archived_once(measurement: Measurement, folder: Path, progress: Progress) -> tuple[Path, Measurement]:
    """Archive a measurement unless a run that was killed did so; return where it is, and what is there."""
    written = archive.find_record(
        folder,
        created_at=measurement.created_at,
        specimen=measurement.specimen.identifier,
        sweeps=tuple(raw.sweep.taken_at for raw in measurement.hookups),
    )
    if written is None:
        return archive.write_record(measurement, folder), measurement
    progress(f"these sweeps were archived before the interruption: {written}")
    archived = archive.read_record(written)
    if archived.ambient != measurement.ambient:
        progress(
            "note: its ambient readings are those told before; `benchsweep archive correct` changes them"
        )
    return written, archived


def _measurement(
    bench: Bench, specimen: Specimen, solved: Calibration, hookups: tuple[RawHookup, ...], operator: str
) -> Measurement:
    assembled = reduce_hookups(of_the_specimen(hookups), solved, bench.fixture)
    couplings = reduce_couplings(hookups, solved, bench.fixture)
    doubt = termination_doubt(bench.fixture, assembled.matrix.frequency_hz) if couplings else ""
    return Measurement(
        specimen=specimen,
        created_at=utc_now(),
        origin="bench",
        station=bench.station.name,
        operator=operator,
        corrected=assembled.matrix,
        hookups=hookups,
        calibration=solved,
        analyzer=bench.analyzer.identity,
        settings=bench.used,
        fixture_toml=bench.fixture_toml,
        budget_toml=budget_text(budget) if (budget := bench.station.uncertainty.budget) else "",
        consistency_db=assembled.consistency_db,
        assembly_notes=(*assembly_notes(assembled), *([doubt] if doubt else [])),
        software=software_versions(),
        verification=last_words(bench.station, solved),
        couplings=couplings,
    )


def unfinished_folder(folder: Path, station: str, specimen: str) -> Path:
    """Return where an archive keeps the finished hookups of an interrupted run, by name of the station."""
    # Any text may name a specimen; a digest of it is a safe folder name, the same on every run.
    key = hashlib.sha256(f"{station}\0{specimen}".encode()).hexdigest()[:16]
    return folder / "unfinished" / key


def _job(bench: Bench, specimen: Specimen, solved: Calibration, plan: Plan) -> dict[str, str]:
    """What must be the same for hookups of an interrupted run to be used again."""
    return {
        "job": "qualification",
        "station": bench.station.name,
        "specimen": specimen.identifier,
        "idn": bench.analyzer.identity.idn,
        "settings": repr(bench.used),
        "calibration": f"{solved.identifier} {solved.created_at}",
        "fixture": bench.fixture_toml,
        "plan": plan_text(plan.hookups),
        "reached": bench.reached,
    }
