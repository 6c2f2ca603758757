"""The verifications of a station: kept, read, and demanded before a measurement where the station says so."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchsweep.archive import AppendedFile
from benchsweep.errors import ArchiveError, CalibrationError, CalibrationExpired, CalibrationMissing
from benchsweep.qualification._station import Station
from benchsweep.records import Calibration

if TYPE_CHECKING:
    from benchsweep.qualification._verification import Verification

__all__ = ["append_verification", "history_file", "last_words", "read_verifications", "refuse_unverified"]


def _nothing(_: str) -> None:
    return None


def history_file(folder: Path, station: str) -> Path:
    """Return where the verifications of that station are kept: a text file beside its calibrations."""
    return folder / f"verifications-{re.sub(r'[^A-Za-z0-9._-]+', '-', station)}.txt"


def read_verifications(folder: Path, station: str) -> tuple[dict[str, Any], ...]:
    """Return all verifications of that station, oldest first.

    Raises
    ------
    ArchiveError
        The file is damaged; the message names the line.
    """
    return AppendedFile(history_file(folder, station)).read()


def append_verification(folder: Path, station: str, found: Verification) -> None:
    """Keep what a verification found; it is on the disc when this returns.

    Raises
    ------
    ArchiveError
    """
    drift = found.drift
    entry = {
        "at": found.created_at,
        "calibration": found.calibration.created_at,
        "decision": found.decision,
        "words": found.words,
        "artefacts": sorted({one.artefact for one in found.comparisons}),
        "largest_ratio": max((one.ratio for one in found.comparisons), default=None),
        "drift": None if drift is None else [drift.gain_db, drift.delay_ps],
        "values": {one.name: [one.value, one.uncertainty] for one in found.followed},
    }
    AppendedFile(history_file(folder, station)).append(entry)


def refuse_unverified(
    station: Station,
    solved: Calibration,
    *,
    folder: Path | None = None,
    progress: Callable[[str], None] = _nothing,
) -> None:
    """Raise unless `solved` was verified lately and found fit for use, where the station asks for that.

    Where it does not, `progress` is told of a refusal.

    Raises
    ------
    CalibrationMissing
        It was not verified.
    CalibrationExpired
        The verification is older than the station allows.
    CalibrationError
        It was refused: the reasons are told.
    ArchiveError
        The history is damaged.
    """
    keys = station.verification
    if not keys.needed:
        words = last_words(station, solved, folder=folder)
        if " refuse: " in words:
            progress(f"warning: the last verification refused this calibration: {words}")
        return
    last = _last(station, solved, folder)
    again = f"Run `benchsweep verify --station {station.called}`"
    if last is None:
        raise CalibrationMissing(
            f"station {station.name}: the calibration of {solved.created_at} has not been verified",
            hint=f"{again} first.",
        )
    hours = (datetime.now(UTC) - datetime.fromisoformat(last["at"])).total_seconds() / 3600.0
    if last["decision"] == "refuse":
        raise CalibrationError(
            f"station {station.name}: the calibration of {solved.created_at} was refused when verified at "
            f"{last['at']}: {last['words'].removeprefix('refuse: ')}",
            hint=f"Put that right, calibrate again where it says so. {again} then.",
        )
    if hours > keys.max_age_hours:
        raise CalibrationExpired(
            f"station {station.name}: the last verification is {hours:.1f} h old, allowed are "
            f"{keys.max_age_hours:g} h",
            hint=f"{again} again.",
        )


def last_words(station: Station, solved: Calibration, *, folder: Path | None = None) -> str:
    """Return what the last verification of `solved` found, with its time; empty when there was none.

    Of a history that cannot be read that is what is returned: it must not keep a specimen from its record.
    """
    try:
        last = _last(station, solved, folder)
    except ArchiveError as error:
        return f"the verifications cannot be read: {error.message}"
    return "" if last is None else f"{last['at']} {last['words']}"


def _last(station: Station, solved: Calibration, folder: Path | None) -> Mapping[str, Any] | None:
    place = folder if folder is not None else station.calibration_folder()
    entries: Sequence[Mapping[str, Any]] = read_verifications(place, station.name)
    return next((entry for entry in reversed(entries) if entry["calibration"] == solved.created_at), None)
