"""Verify a calibration: measure standards and check standards, compare, decide whether it may be used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from benchsweep import archive, calibration
from benchsweep.calibration import verification
from benchsweep.calibration.verification import Finding, LoadChange, ThruChange
from benchsweep.errors import UnknownName, UsageError
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._calibrate import plan_text
from benchsweep.qualification._job import begin_job, run_job
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._verification import Verification
from benchsweep.qualification._verified import append_verification, read_verifications
from benchsweep.qualification._verify_history import follow
from benchsweep.qualification._verify_plan import Placed, VerificationPlan, verification_plan
from benchsweep.qualification._verify_reduce import reduce_artefacts, residuals_of
from benchsweep.records import Calibration, RawHookup

__all__ = ["verify"]

_LONGEST_PAUSE = timedelta(hours=1)
"""Standards that were measured longer ago say nothing of the present."""


def verify(
    bench: Bench,
    *,
    solved: Calibration,
    artefacts: Sequence[str] = (),
    folder: Path | None = None,
    afresh: bool = False,
    progress: Progress,
) -> Verification:
    """Measure the load, the thru and the check standards on an open bench, and decide.

    An interrupted verification continues where it stopped when it was begun less than an hour ago. What was
    found is added to the history of the station before this returns.

    Parameters
    ----------
    solved
        The calibration to verify.
    artefacts
        Names or paths; those of the station when empty.
    folder
        Where calibrations and the history are; the station's own when None.
    afresh
        Forget an interrupted verification.

    Raises
    ------
    UnknownName, DefinitionError, UsageError
        An artefact, the kit of the calibration, or nothing to measure.
    AcquisitionError, InstrumentError, CalibrationError, FixtureError, ArchiveError
    """
    station = bench.station
    target = folder if folder is not None else station.calibration_folder()
    kit, doubt = _kit_of(bench, solved)
    planned = verification_plan(station, bench.places, kit, artefacts or station.verification.artefacts)
    for words in planned.left_out:
        progress(f"note: {words}")
    if not planned.plan.hookups:
        raise UsageError(
            f"station {station.name}: nothing to verify with: kit {kit.name} has no load and no thru, and no "
            "check standard fits",
            hint="Name check standards in --artefact, or `artefacts` under [verification].",
        )
    read_verifications(target, station.name)  # a damaged history must not show after all the work
    hookups = _measured(bench, planned, solved, target, afresh=afresh, progress=progress)
    found = _judged(bench, planned, solved, kit, hookups)
    if doubt and any(finding.kind in ("artefact", "standard") for finding in found.findings):
        refused = found.decision == "refuse" or "kit" in station.verification.refuse_when
        found = replace(
            found,
            findings=(*(Finding("kit", words) for words in doubt), *found.findings),
            decision="refuse" if refused else found.decision,
        )
        doubt = ()
    found = replace(found, warnings=(*doubt, *planned.left_out, *found.warnings))
    followed, told = follow(
        found.followed, read_verifications(target, station.name), artefacts=bool(found.comparisons)
    )
    found = replace(found, followed=followed, warnings=(*found.warnings, *told))
    if found.decision == "use" and found.warnings:
        found = replace(found, decision="use-with-warning")
    append_verification(target, station.name, found)
    return found


def _kit_of(bench: Bench, solved: Calibration) -> tuple[calibration.Kit, tuple[str, ...]]:
    """Return the kit that `solved` was made with, and whether that is doubtful."""
    own = calibration.load_kit(bench.station.calibration.kit)
    if own.name == solved.kit:
        return own, ()
    words = (
        f"wrong kit? The calibration was made with kit {solved.kit}, the kit of this station is {own.name}",
    )
    try:
        return calibration.load_kit(solved.kit), words
    except UnknownName as error:
        error.hint = f"The calibration was made with it; calibrate with kit {own.name}. {error.hint}"
        raise


def _measured(
    bench: Bench,
    planned: VerificationPlan,
    solved: Calibration,
    target: Path,
    *,
    afresh: bool,
    progress: Progress,
) -> tuple[RawHookup, ...]:
    job = {
        "job": "verification",
        "idn": bench.analyzer.identity.idn,
        "settings": repr(bench.used),
        "calibration": f"{solved.identifier} {solved.created_at}",
        "fixture": bench.fixture_toml,
        "plan": plan_text(planned.plan.hookups),
        "reached": bench.reached,
    }
    with archive.Journal(target / "unfinished-verification", job, afresh=afresh) as journal:
        taken = [_moment(raw.sweep.taken_at) for raw in journal.finished().values()]
        if taken and datetime.now(UTC) - min(taken) > _LONGEST_PAUSE:
            progress("an interrupted verification is too old to be continued: its sweeps are dropped")
            journal.discard()
        begin_job(bench, journal, len(planned.plan.hookups), progress)
        hookups = run_job(bench, planned.plan, journal, progress=progress)
        journal.discard()
    return hookups


def _judged(
    bench: Bench,
    planned: VerificationPlan,
    solved: Calibration,
    kit: calibration.Kit,
    hookups: Sequence[RawHookup],
) -> Verification:
    keys = bench.station.verification
    rules = replace(keys.rules(), known_thru=solved.method.startswith("short-open-load"))
    loads, thrus = _standards(planned, solved, kit, hookups)
    hours = max((_moment(utc_now()) - _moment(solved.created_at)).total_seconds() / 3600.0, 0.0)
    scatter = {"scatter_db": keys.repeatability_db, "scatter_ps": keys.repeatability_ps}
    drift = verification.joint_drift(thrus, hours, **scatter) if thrus else None
    placed = [
        (raw, purpose)
        for raw in hookups
        if isinstance(purpose := planned.purposes[raw.hookup.number], Placed)
    ]
    reduced = reduce_artefacts(bench, solved, placed, rules)
    findings = verification.find(
        rules,
        readings=reduced.readings,
        comparisons=reduced.comparisons,
        values=reduced.values,
        loads=loads,
        thrus=thrus,
        drift=drift,
    )
    residuals, told = residuals_of(reduced, rules)
    findings = (*findings, *told.findings)
    refused = any(finding.kind in keys.refuse_when for finding in findings)
    return Verification(
        created_at=utc_now("milliseconds"),
        station=bench.station.name,
        calibration=solved,
        decision="refuse" if refused else "use-with-warning" if findings else "use",
        findings=findings,
        warnings=told.warnings,
        comparisons=reduced.comparisons,
        largest_ratio=rules.ratio_for(reduced.values),
        loads=loads,
        thrus=thrus,
        drift=drift,
        residuals=residuals,
        followed=reduced.followed,
        against=reduced.against,
    )


def _standards(
    planned: VerificationPlan,
    solved: Calibration,
    kit: calibration.Kit,
    hookups: Sequence[RawHookup],
) -> tuple[tuple[LoadChange, ...], tuple[ThruChange, ...]]:
    """Correct the load and the thru with the calibration and compare them with their definitions."""
    frequency_hz = hookups[0].sweep.frequency_hz
    load = verification.defined_load(kit, frequency_hz)
    thru = verification.defined_thru(kit, frequency_hz)
    loads: list[LoadChange] = []
    thrus: list[ThruChange] = []
    for raw in hookups:
        purpose = planned.purposes[raw.hookup.number]
        if isinstance(purpose, Placed):
            continue
        corrected = calibration.apply(solved.terms, raw.sweep)
        at = {port: index for index, port in enumerate(raw.sweep.analyzer_ports)}
        if purpose == "load" and load is not None:
            change = partial(verification.load_change, defined=load)
            loads += [change(port, corrected[:, at[port], at[port]]) for port in raw.hookup.connections]
        elif thru is not None:
            for one, other in _joined(raw.hookup.connections):
                ends = [at[one], at[other]]
                pair = corrected[:, ends][:, :, ends]
                thrus.append(verification.thru_change((one, other), frequency_hz, pair, thru))
    return tuple(loads), tuple(thrus)


def _joined(connections: Mapping[int, str]) -> list[tuple[int, int]]:
    """Return the two ports of every through connection of a hookup."""
    ends = {port: int(target.split()[1]) for port, target in connections.items()}
    return sorted((port, other) for port, other in ends.items() if port < other)


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
