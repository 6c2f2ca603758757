from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive, calibration
from benchsweep.acquisition import make_calibration_plan, run_plan
from benchsweep.qualification._bench import Bench, Progress, tell_resumed, utc_now
from benchsweep.records import Calibration, Hookup, RawHookup

__all__ = ["CalibrationResult", "calibrate"]


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationResult:
    """A stored calibration and where it is."""

    calibration: Calibration
    path: Path


def calibrate(
    bench: Bench, *, kit: str | None = None, folder: Path | None = None, progress: Progress
) -> CalibrationResult:
    """Measure all standards on an open bench, solve, store.

    Parameters
    ----------
    kit
        Kit name or path; the station's own when None.
    folder
        Where to store it; the station's own folder when None.

    Raises
    ------
    CalibrationError, AcquisitionError, InstrumentError, ArchiveError
    """
    station = bench.station
    definition = calibration.load_kit(kit or station.calibration.kit)
    target = folder if folder is not None else station.calibration_folder()
    plan = make_calibration_plan(bench.ports)
    job = {
        "job": "calibration",
        "idn": bench.analyzer.identity.idn,
        "kit": definition.model_dump_json(),
        "settings": repr(bench.used),
        "plan": plan_text(plan.hookups),
    }
    journal = archive.Journal(target / "unfinished", job)
    tell_resumed(journal, len(plan.hookups), progress)
    hookups = run_plan(plan, bench.analyzer, bench.switch, journal, progress=progress)
    solved = _solve(bench, definition, hookups)
    path = archive.write_calibration(solved, target)
    journal.discard()
    return CalibrationResult(solved, path)


def _solve(bench: Bench, kit: calibration.Kit, hookups: tuple[RawHookup, ...]) -> Calibration:
    return calibration.solve(
        kit,
        hookups,
        identifier=bench.station.name,
        created_at=utc_now(timespec="milliseconds"),
        idn=bench.analyzer.identity.idn,
        settings=bench.used,
    )


def plan_text(hookups: tuple[Hookup, ...]) -> str:
    """Return one line that tells two plans apart."""
    return "; ".join(
        ",".join(f"{port}={target}" for port, target in hookup.connections.items()) for hookup in hookups
    )
