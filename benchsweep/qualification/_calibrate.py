from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive, calibration
from benchsweep.acquisition import make_calibration_plan, run_plan
from benchsweep.errors import CalibrationError
from benchsweep.qualification._bench import Bench, Progress, tell_resumed, utc_now
from benchsweep.records import Calibration, Hookup, RawHookup

__all__ = ["CalibrationResult", "calibrate"]

# Open, short and load come first in a calibration plan, each at all ports.
_REFLECTIONS = 3


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationResult:
    """A stored calibration, where it is, and the largest residual of a through that its kit takes."""

    calibration: Calibration
    path: Path
    refused_above_db: float


def calibrate(
    bench: Bench,
    *,
    kit: str | None = None,
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
    plan = make_calibration_plan(bench.ports)
    job = {
        "job": "calibration",
        "idn": bench.analyzer.identity.idn,
        "kit": definition.model_dump_json(),
        "settings": repr(bench.used),
        "plan": plan_text(plan.hookups),
    }

    def judged_early(measured: Sequence[RawHookup]) -> None:
        if len(measured) == _REFLECTIONS:  # before anybody connects the throughs
            calibration.check_reflections(definition, measured)

    with archive.Journal(target / "unfinished", job, afresh=afresh) as journal:
        tell_resumed(journal, len(plan.hookups), progress)
        try:
            hookups = run_plan(
                plan, bench.analyzer, bench.switch, journal, progress=progress, review=judged_early
            )
            solved = calibration.solve(
                definition,
                hookups,
                identifier=station.name,
                created_at=utc_now(timespec="milliseconds"),
                idn=bench.analyzer.identity.idn,
                settings=bench.used,
            )
        except CalibrationError:
            journal.discard()
            raise
        path = archive.write_calibration(solved, target)
        journal.discard()
    return CalibrationResult(solved, path, definition.acceptance.largest_thru_residual_db)


def plan_text(hookups: tuple[Hookup, ...]) -> str:
    """Return one line that tells two plans apart."""
    return "; ".join(
        ",".join(f"{port}={target}" for port, target in hookup.connections.items()) for hookup in hookups
    )
